"""The command that measures live listening: from the pause to the words, and to the findings made of them."""

from __future__ import annotations

import os
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from importlib import resources
from pathlib import Path

from rich.table import Table

from lexicon import load_lexicon
from pipeline import exam as chain
from pipeline.capture import SoundFile
from pipeline.cli.examining import FIRST_SAMPLE, sample_sound
from pipeline.cli.figures import figures_table
from pipeline.cli.inputs import read_visit, require_file
from pipeline.cli.measuring import peak_memory
from pipeline.cli.screen import output, progress_bars
from pipeline.listening import Said, Session, Speaking, read_words
from pipeline.listening.hearing import MOST_BEAMS
from pipeline.settings import Settings
from pipeline.speech import Recogniser

_LOOK_EVERY_S = 0.1
_BEGINNING_S = 60.0


def bench_live(audio: Path | None, settings: Settings) -> None:
    """Play a recording as the microphone in real time. Raises CaptureError, ModelError, SpeechError."""
    if audio is None:
        with resources.as_file(sample_sound(FIRST_SAMPLE)) as sound:
            table = _measure(sound, settings)
    else:
        require_file(audio)
        table = _measure(audio, settings)
    output().print(table)


@dataclass(frozen=True)
class LiveFigures:
    """How soon a recording played in real time was heard: seconds from each pause, and how busy the recogniser was.

    `memory` is the most that the process had in its first minute of listening, and in all; `words` counts those settled,
    `words_kept` those of them that stand in the recording's folder.
    """

    duration_s: float
    words_s: list[float]
    findings_s: list[float]
    speaking: int
    most_waiting: int
    processor_s: float
    memory: tuple[str, str]
    words: int
    words_kept: int

    def rows(self) -> Iterator[tuple[str, str]]:
        """The delays as lines of a table."""
        for name, values in (("pause to words", self.words_s), ("pause to findings", self.findings_s)):
            yield f"{name}: median", f"{statistics.median(values):.2f} s" if values else "none"
            yield f"{name}: 95th percentile", f"{_percentile_95(values):.2f} s" if values else "none"
        yield "most utterances waiting", str(self.most_waiting)


def listen_to(audio: Path, recogniser: Recogniser, progress: Callable[[float, float], None]) -> LiveFigures:
    """Play a recording as the microphone in real time, and understand every utterance as live listening does."""
    load_lexicon()
    visit = read_visit(None, None)
    words_s: list[float] = []
    findings_s: list[float] = []
    speaking = 0

    def heard(event: Speaking | Said) -> None:
        nonlocal speaking
        if isinstance(event, Speaking):
            speaking += 1
        elif event.waited_s is not None and event.transcript.text:
            begun = time.perf_counter()
            chain.understand(session.transcript(), None, visit)
            words_s.append(event.waited_s)
            findings_s.append(event.waited_s + time.perf_counter() - begun)

    with tempfile.TemporaryDirectory() as folder:
        source = SoundFile(audio)
        session = Session(
            source,
            recogniser.decoder,
            Path(folder) / "recording",
            terms=partial(chain.terms_for, None, visit),
            mending=chain.MENDING,
            tell=heard,
        )
        processor_s = time.process_time()
        thread = threading.Thread(target=session.run)
        thread.start()
        most_waiting = 0
        memory = peak_memory()
        while thread.is_alive():
            if session.heard_s < _BEGINNING_S:
                memory = peak_memory()
            most_waiting = max(most_waiting, session.load.utterances)
            progress(session.heard_s, source.duration_s)
            thread.join(_LOOK_EVERY_S)
        processor_s = time.process_time() - processor_s
        kept = read_words(Path(folder) / "recording", model=Path(recogniser.options.model).name)
    return LiveFigures(
        duration_s=source.duration_s,
        words_s=words_s,
        findings_s=findings_s,
        speaking=speaking,
        most_waiting=most_waiting,
        processor_s=processor_s,
        memory=(memory, peak_memory()),
        words=len(session.transcript().words),
        words_kept=sum(len(said.transcript.words) for said in kept),
    )


def _measure(audio: Path, settings: Settings) -> Table:
    with progress_bars() as bars:
        figures = listen_to(audio, chain.make_recogniser(settings, bars.model), bars.speech)
    table = figures_table(
        "figure", "value", title=f"{audio.name}, {figures.duration_s:.1f} s, played in real time"
    )
    table.add_row("utterances", str(len(figures.words_s)))
    for row in figures.rows():
        table.add_row(*row)
    table.add_row("words settled, and kept on the disk", f"{figures.words:,}, {figures.words_kept:,}")
    table.add_row("memory, in the first minute and in all", ", ".join(figures.memory))
    table.add_row("words shown while speaking, times", str(figures.speaking))
    table.add_row("processor time, share of one core", f"{figures.processor_s / figures.duration_s:.2f}")
    if hasattr(os, "getloadavg"):
        table.add_row("load of the machine (1 min), cores", f"{os.getloadavg()[0]:.1f}, {os.cpu_count()}")
    table.add_row("speech model", f"{settings.model}, beam {min(settings.beam_size, MOST_BEAMS)}")
    return table


def _percentile_95(values: list[float]) -> float:
    """The smallest value that 95 of 100 do not exceed."""
    ordered = sorted(values)
    return ordered[max(0, -(-95 * len(ordered) // 100) - 1)]
