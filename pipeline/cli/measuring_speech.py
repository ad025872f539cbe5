"""The command that measures hearing: word errors, trade words and time, each step apart and beside other recognisers."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import partial
from importlib import resources
from pathlib import Path
from typing import Any

from rich.table import Table

from lexicon import load_lexicon
from pipeline import exam as chain
from pipeline.capture import Recording, read_audio
from pipeline.cli.border import CallError
from pipeline.cli.examining import sample_file, sample_names, sample_sound
from pipeline.cli.figures import figures_table, percent
from pipeline.cli.inputs import read_patient
from pipeline.cli.measuring import peak_memory
from pipeline.cli.measuring_live import listen_to
from pipeline.cli.screen import output, progress_bars, remark
from pipeline.evaluation import WordErrorsError, WordScore
from pipeline.record import Patient
from pipeline.settings import Settings
from pipeline.speech import Recogniser, Transcript
from pipeline.speech.windows import speech_spans, windows

_SOUNDS = (".flac", ".ogg", ".wav", ".mp3", ".m4a", ".opus", ".webm")
_OURS = "repaired"
_OTHER = "library"

_EXPLAINED = (
    "plain: windows of speech, no terms. repaired: biased, and doubtful words weighed and repaired."
    " library: faster-whisper in its own way with its defaults, the same model. time: of real time. ratio: of the"
    " library's time. errors: word errors. trade: trade words heard. false: trade words put in that nobody said, of"
    " 1,000 words. memory: most so far in this process. How texts are compared: pipeline/evaluation/hearing.py."
)

Hears = Callable[["_Spoken"], Transcript]


@dataclass(frozen=True)
class _Spoken:
    """A recording and what is said in it."""

    sound: Path
    recording: Recording
    text: str
    patient: Patient | None


@dataclass
class _Heard:
    """What one recogniser made of all recordings, and what it took."""

    seconds: float = 0.0
    memory: str = ""
    score: WordScore = field(default_factory=WordScore)


def bench_speech(folder: Path | None, settings: Settings) -> None:
    """Measure hearing on recordings with their texts. Raises CallError, CaptureError, ModelError, SpeechError."""
    with ExitStack() as files:
        spoken = list(_bundled(files) if folder is None else _in_folder(folder))
        _show(spoken, settings)


def _show(spoken: list[_Spoken], settings: Settings) -> None:
    load_lexicon()
    with progress_bars() as bars:
        recogniser = chain.make_recogniser(settings, bars.model)
        # Ours comes first: memory is the most that the process has had so far.
        ways = {_OURS: _repaired, "biased": _biased, "plain": _plain, _OTHER: _by_library}
        hears: dict[str, Hears] = {name: partial(way, recogniser) for name, way in ways.items()}
        floor = _pocketsphinx()
        if floor is not None:
            hears["pocketsphinx"] = floor
        heard = {}
        for number, (name, way) in enumerate(hears.items()):
            heard[name] = _hear_all(spoken, way)
            bars.speech(number + 1, len(hears))
        live = listen_to(spoken[0].sound, recogniser, bars.speech)
    length_s = sum(one.recording.duration_s for one in spoken)
    output().print(_table(heard, length_s, f"{len(spoken)} recordings, {length_s:.0f} s, {settings.model}"))
    table = figures_table("live", "value", title=f"{spoken[0].sound.name}, played in real time")
    for row in live.rows():
        table.add_row(*row)
    output().print(table)


def _table(heard: dict[str, _Heard], length_s: float, title: str) -> Table:
    table = figures_table(
        "heard", "time", "ratio", "errors", "trade", "repairs", "false", "memory", title=title
    )
    other_s = heard[_OTHER].seconds
    for name, one in heard.items():
        score = one.score
        table.add_row(
            name,
            f"{one.seconds / length_s:.3f}",
            f"{one.seconds / other_s:.2f}",
            f"{score.word_error_rate:.3f}",
            percent(score.trade_recall),
            str(score.repairs),
            f"{score.false_repairs_per_thousand:.2f}",
            one.memory,
        )
    table.caption = _EXPLAINED
    table.caption_justify = "left"
    return table


def _hear_all(spoken: list[_Spoken], hear: Hears) -> _Heard:
    heard = _Heard()
    for one in spoken:
        start = time.perf_counter()
        transcript = hear(one)
        heard.seconds += time.perf_counter() - start
        try:
            heard.score.add(one.text, transcript)
        except WordErrorsError as error:
            raise CallError(str(error)) from None
    heard.memory = peak_memory()
    return heard


def _repaired(recogniser: Recogniser, one: _Spoken) -> Transcript:
    return chain.hear(one.recording, recogniser, one.patient)


def _biased(recogniser: Recogniser, one: _Spoken) -> Transcript:
    return recogniser.transcribe(one.recording, terms=partial(chain.terms_for, one.patient, None))


def _plain(recogniser: Recogniser, one: _Spoken) -> Transcript:
    return recogniser.transcribe(one.recording)


def _by_library(recogniser: Recogniser, one: _Spoken) -> Transcript:
    return Transcript.from_text(recogniser.decoder.plain(one.recording.samples))


def _pocketsphinx() -> Hears | None:
    """A recogniser of an older kind as a floor, with the model of its wheel; none where it is not installed."""
    try:
        # Late: for development only.
        import pocketsphinx  # noqa: PLC0415
    except ModuleNotFoundError:
        remark("pocketsphinx is not installed and left out. To have it: pip install pocketsphinx")
        return None
    decoder: Any = pocketsphinx.Decoder(samprate=16_000, loglevel="FATAL")

    def hear(one: _Spoken) -> Transcript:
        texts = []
        for window in windows(speech_spans(one.recording)):
            for span in window.spans:
                decoder.start_utt()
                decoder.process_raw(
                    one.recording.pcm[span.start : span.stop].astype("<i2").tobytes(), full_utt=True
                )
                decoder.end_utt()
                found = decoder.hyp()
                texts.append(found.hypstr if found is not None else "")
        return Transcript.from_text(" ".join(texts))

    return hear


def _bundled(files: ExitStack) -> Iterator[_Spoken]:
    for name in sample_names():
        sound = files.enter_context(resources.as_file(sample_sound(name)))
        patient = files.enter_context(resources.as_file(sample_file(name, ".patient.json")))
        text = sample_file(name, ".txt").read_text(encoding="utf-8")
        yield _Spoken(sound, read_audio(sound), text, read_patient(patient))


def _in_folder(folder: Path) -> Iterator[_Spoken]:
    if not folder.is_dir():
        raise CallError(
            f"{folder} is no folder. Give one with recordings, each with its text beside it (.txt)."
        )
    sounds = [path for path in sorted(folder.iterdir()) if path.suffix.lower() in _SOUNDS]
    if not sounds:
        raise CallError(
            f"{folder} holds no recordings. Give a folder with sound files and their texts (.txt)."
        )
    for sound in sounds:
        text = sound.with_suffix(".txt")
        try:
            said = text.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            raise CallError(
                f"{text} cannot be read. Write what is said in {sound.name} there, in UTF-8."
            ) from None
        yield _Spoken(sound, read_audio(sound), said, None)
