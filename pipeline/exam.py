"""The whole chain as functions: a sound file or a text in, an exam record out."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from lexicon import Lexicon, load_lexicon
from lexicon.bias import listening_terms, terms_in_view
from lexicon.schema import System
from models import Progress
from pipeline.capture import SAMPLE_RATE_HZ, Recording, hold
from pipeline.extraction import Doubts, extract, systems_in_view
from pipeline.listening import Said, SavedWords, read_words
from pipeline.record import ExamRecord, Patient, Visit, assemble
from pipeline.record.ranges import species_id
from pipeline.settings import Settings
from pipeline.speech import Mending, Recogniser, SpeechOptions, SpeechProgress, Transcript
from pipeline.speech.joining import join

TERMS_LISTENED_FOR = 40
"""How many trade words the recogniser is given at a time; its prompt holds about sixty.

Measured with base, int8, two readings at a time, before repair. Word error rates with none, 20, 40, 60: eight bundled
dictations 0.044, 0.039, 0.044, 0.050; twelve dictations full of trade words, by five synthetic voices that tables were
tuned on, 0.097, 0.092, 0.066, 0.077; twenty-one by five others 0.125, 0.109, 0.105, 0.115; ordinary talk 0.023, 0.022,
0.021, 0.022.
"""

_WORDS_IN_VIEW = 40
"""How many of the last words tell which system is examined."""


def make_recogniser(settings: Settings, model_progress: Progress | None = None) -> Recogniser:
    """Load the speech model that the settings name; `model_progress` is called while it is joined.

    Raises models.ModelError and pipeline.speech.SpeechError.
    """
    options = SpeechOptions(
        model=settings.model,
        device=settings.device,
        compute_type=settings.compute_type,
        beam_size=settings.beam_size,
        language=settings.language,
        cpu_threads=settings.threads,
    )
    return Recogniser(options, allow_download=settings.allow_download, model_progress=model_progress)


def hear(
    recording: Recording,
    recogniser: Recogniser,
    patient: Patient | None = None,
    visit: Visit | None = None,
    progress: SpeechProgress | None = None,
) -> Transcript:
    """Write down what is said, listening for trade words of what is examined; misheard ones are repaired.

    Raises pipeline.speech.SpeechError.
    """
    terms = partial(terms_for, patient, visit)
    return recogniser.transcribe(recording, terms=terms, mending=MENDING, progress=progress)


MENDING: Mending = Doubts
"""How misheard trade words are mended: what may have been said is weighed over the same sound."""


def hear_rest(
    recording: Recording,
    folder: Path,
    recogniser: Recogniser,
    patient: Patient | None = None,
    visit: Visit | None = None,
    progress: SpeechProgress | None = None,
) -> Transcript:
    """Write down a recording from the folder it was made in: words that were settled there stand as they are.

    Only the sound after them is heard, and its words are kept there too.

    Raises pipeline.capture.CaptureError when the recording still goes on, pipeline.speech.SpeechError, OSError.
    """
    lock = hold(folder)
    try:
        said = read_words(folder, model=Path(recogniser.options.model).name)
        from_s = said[-1].until_s if said else 0.0
        rest = Recording(pcm=recording.pcm[round(from_s * SAMPLE_RATE_HZ) :])
        parts = [(0.0, one.transcript) for one in said]
        if rest.duration_s:
            heard = hear(rest, recogniser, patient, visit, progress)
            last = join([(from_s, heard)], duration_s=recording.duration_s)
            words = SavedWords(folder, known=len(said))
            words.add(Said(from_s, recording.duration_s, last))
            words.close()
            parts.append((0.0, last))
        return join(parts, duration_s=recording.duration_s)
    finally:
        lock.release()


def terms_for(patient: Patient | None, visit: Visit | None, text: str = "") -> tuple[str, ...]:
    """Give the trade words to listen for in what follows `text`, the transcript so far, most important first.

    They are chosen anew as the examination moves on: those of the system last named before others.
    """
    species = species_id(patient)
    view = systems_in_view(" ".join(text.split()[-_WORDS_IN_VIEW:]))
    if view:
        return terms_in_view(species, view[0])[:TERMS_LISTENED_FOR]
    asked = _asked_for(visit, load_lexicon()) if visit is not None else frozenset[System]()
    return listening_terms(species, asked)[:TERMS_LISTENED_FOR]


def understand(transcript: Transcript, patient: Patient | None, visit: Visit) -> ExamRecord:
    """Make the record of what was said; due dates count from the day of the visit."""
    return assemble(extract(transcript, on=visit.on), transcript, patient, visit, load_lexicon())


def _asked_for(visit: Visit, lexicon: Lexicon) -> frozenset[System]:
    """Give the systems that any record of this kind of visit asks for."""
    return frozenset(
        system for row in lexicon.requirements if row.visit == visit.kind for system in row.systems
    )
