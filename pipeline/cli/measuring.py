"""The command that measures how fast the chain is, and in how much memory."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from importlib import resources
from itertools import cycle, islice, pairwise
from pathlib import Path
from typing import TypeVar

from rich.table import Table

from lexicon import load_lexicon
from pipeline import exam as chain
from pipeline.capture import read_audio
from pipeline.cli.examining import FIRST_SAMPLE, sample_file, sample_names, sample_sound
from pipeline.cli.figures import figures_table
from pipeline.cli.inputs import read_patient, read_visit, require_file
from pipeline.cli.screen import output, progress_bars
from pipeline.extraction import extract
from pipeline.record import Patient, Visit
from pipeline.settings import Settings
from pipeline.speech import Transcript

T = TypeVar("T")

_READ = "sound file read"
_HEARD = "speech recognised"
_UNDERSTOOD = "record made of the words"

_TWO_MINUTES_WORDS = 300
"""Words of two minutes: 150 a minute is a usual pace of speech (common practice, no source)."""
_LENGTHS = (1_000, 2_000, 4_000, 8_000)


def bench(audio: Path | None, settings: Settings, runs: int) -> None:
    """Measure the chain on one recording: medians of `runs`. Raises CaptureError, ModelError, SpeechError."""
    if audio is None:
        with (
            resources.as_file(sample_sound(FIRST_SAMPLE)) as sound,
            resources.as_file(sample_file(FIRST_SAMPLE, ".patient.json")) as patient,
        ):
            table = _measure(sound, read_patient(patient), settings, runs)
    else:
        require_file(audio)
        table = _measure(audio, None, settings, runs)
    output().print(table)


def _measure(audio: Path, patient: Patient | None, settings: Settings, runs: int) -> Table:
    visit = read_visit("health_check", None)
    times = _Times()
    for _ in range(runs):
        times.take("command start", partial(_run_command, "--version"))
        times.take("typed sample to record, whole command", partial(_run_command, "extract", "-"))
    with progress_bars() as bars:
        times.take("lexicon loaded, once", load_lexicon)
        times.take("first text understood, once", partial(extract, Transcript.from_text("Ears are clean.")))
        recogniser = times.take(
            "speech model loaded, once", partial(chain.make_recogniser, settings, bars.model)
        )
        for run in range(runs):
            recording = times.take(_READ, partial(read_audio, audio))
            transcript = times.take(_HEARD, partial(chain.hear, recording, recogniser, patient, visit))
            times.take(_UNDERSTOOD, partial(chain.understand, transcript, patient, visit))
            bars.speech(run + 1, runs)
    medians = times.medians()
    table = figures_table(
        "figure", "value", title=f"{audio.name}, {recording.duration_s:.1f} s, median of {runs}"
    )
    for name, seconds in medians.items():
        table.add_row(name, f"{seconds * 1000:,.1f} ms" if seconds < 1 else f"{seconds:,.2f} s")
    whole_s = medians[_READ] + medians[_HEARD] + medians[_UNDERSTOOD]
    table.add_row("whole chain, share of real time", f"{whole_s / recording.duration_s:.3f}")
    _add_text_figures(table, patient, visit, runs)
    table.add_row("peak memory of this process", peak_memory())
    table.add_row("speech model", f"{settings.model}, device {settings.device}, {settings.compute_type}")
    return table


class _Times:
    """Wall-clock seconds by name, in the order first taken."""

    def __init__(self) -> None:
        self._seconds: dict[str, list[float]] = {}

    def take(self, name: str, work: Callable[[], T]) -> T:
        """Run `work` and keep how long it took."""
        start = time.perf_counter()
        result = work()
        self._seconds.setdefault(name, []).append(time.perf_counter() - start)
        return result

    def medians(self) -> dict[str, float]:
        """Give the median of each name."""
        return {name: statistics.median(seconds) for name, seconds in self._seconds.items()}


def _run_command(*arguments: str) -> None:
    """Run the command with a sample on its standard input, in a process of its own."""
    command = [sys.executable, "-m", "pipeline.cli", *arguments]
    text = sample_file(FIRST_SAMPLE, ".txt").read_bytes()
    subprocess.run(command, check=True, capture_output=True, input=text)  # noqa: S603 - a command of our own


def _add_text_figures(table: Table, patient: Patient | None, visit: Visit, runs: int) -> None:
    """Show the speed of everything after recognition: a usual dictation, a second's words, growth with the length."""

    def fastest_ms(words: int) -> float:
        transcript = Transcript.from_text(_sample_text(words))
        times = []
        for _ in range(max(runs, 3)):
            start = time.process_time()
            chain.understand(transcript, patient, visit)
            times.append(time.process_time() - start)
        return min(times) * 1000

    table.add_row(
        "dictation of two minutes understood, one core", f"{fastest_ms(_TWO_MINUTES_WORDS):,.1f} ms"
    )
    rate = _words_per_second(patient, visit, runs)
    table.add_row("words per second after recognition, one core", f"{rate:,.0f}")
    taken = [fastest_ms(words) for words in _LENGTHS]
    growth = ["", *(f" (x {later / earlier:.2f})" for earlier, later in pairwise(taken))]
    for words, milliseconds, factor in zip(_LENGTHS, taken, growth, strict=True):
        table.add_row(f"{words:,} words in one recording, one core", f"{milliseconds:,.0f} ms{factor}")


def _sample_text(words: int) -> str:
    """So many words of the samples, said again and again."""
    spoken = " ".join(
        sample_file(name, ".txt").read_text(encoding="utf-8") for name in sample_names()
    ).split()
    return " ".join(islice(cycle(spoken), words))


def _words_per_second(patient: Patient | None, visit: Visit, runs: int) -> float:
    """Give the words of all samples by the processor time (not wall time) of extraction and assembly."""
    texts = [sample_file(name, ".txt").read_text(encoding="utf-8") for name in sample_names()]
    transcripts = [Transcript.from_text(text) for text in texts]
    rates = []
    for _ in range(runs):
        start = time.process_time()
        for transcript in transcripts:
            chain.understand(transcript, patient, visit)
        rates.append(sum(len(text.split()) for text in texts) / (time.process_time() - start))
    return statistics.median(rates)


def peak_memory() -> str:
    """Give the most memory that this process has had so far, in words."""
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return "cannot be measured on this system"
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    # getrusage(2): kibibytes on Linux; bytes on macOS, by its own manual page (from memory).
    return f"{peak / (2**30 if sys.platform == 'darwin' else 2**20):.2f} GiB"
