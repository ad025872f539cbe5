"""The whole chain as functions: a sound file or a text in, an exam record out."""

from __future__ import annotations

from pathlib import Path

from lexicon import Lexicon, load_lexicon
from lexicon.bias import listening_terms
from models import Progress
from pipeline.capture import SAMPLE_RATE_HZ, Recording, hold
from pipeline.extraction import extract
from pipeline.listening import Said, SavedWords, read_words
from pipeline.record import ExamRecord, Patient, Visit, assemble
from pipeline.record.ranges import species_id
from pipeline.settings import Settings
from pipeline.speech import Recogniser, SpeechOptions, SpeechProgress, Transcript
from pipeline.speech.joining import join

TERMS_LISTENED_FOR = 20
"""How many trade words the recogniser is given, though its prompt holds three times as many.

Word error rates measured with the model base and no list, 20 words, all (about 55): dog_noisy
0.102, 0.106, 0.121; cat_senior 0.123, 0.123, 0.130 (any list brought back the one trade word
that was misheard without); cat_terse 0.135, 0.129, 0.147; dog_teaching 0.072, 0.082, 0.079;
rabbit_vaccination 0.079, 0.086, 0.090. A long list costs other words, and time.
"""


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
    """Write down what is said, listening for the trade words that suit the patient and the visit.

    Raises pipeline.speech.SpeechError.
    """
    return recogniser.transcribe(recording, terms=terms_for(patient, visit), progress=progress)


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


def terms_for(patient: Patient | None, visit: Visit | None) -> tuple[str, ...]:
    """Give the trade words to listen for, most important first."""
    systems = _asked_for(visit, load_lexicon()) if visit is not None else frozenset[str]()
    return tuple(listening_terms(species_id(patient), systems)[:TERMS_LISTENED_FOR])


def understand(transcript: Transcript, patient: Patient | None, visit: Visit) -> ExamRecord:
    """Make the record of what was said; due dates count from the day of the visit."""
    return assemble(extract(transcript, on=visit.on), transcript, patient, visit, load_lexicon())


def _asked_for(visit: Visit, lexicon: Lexicon) -> frozenset[str]:
    """Give the systems that any record of this kind of visit asks for."""
    return frozenset(
        system for row in lexicon.requirements if row.visit == visit.kind for system in row.systems
    )
