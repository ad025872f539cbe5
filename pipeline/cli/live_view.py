"""An examination while it goes on, as a screen: what was heard last, what is missing still, and the record so far."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from threading import Lock

from rich.console import Group, RenderableType
from rich.text import Text

from lexicon import Lexicon
from pipeline.capture.levels import Levels
from pipeline.cli.page import Shapes, clock, one_line
from pipeline.cli.record_view import record_lines
from pipeline.listening import Load, Said, Speaking
from pipeline.record import ExamRecord

_METER_FLOOR_DBFS = -60.0
_METER_COLUMNS = 24
_UTTERANCES_SHOWN = 4
_DROPPED_SHOWN = 2
# The time before an utterance, and the room that broken lines leave at their ends.
_TIME_COLUMNS = 24

_FAULTS = {
    "silent": "NOTHING IS HEARD: is the microphone muted?",
    "clipping": "TOO LOUD: the tops are cut off; move the microphone away or turn its level down",
    "too quiet": "TOO QUIET: bring the microphone nearer or turn its level up",
    "noisy": "NOISY: speech hardly stands out; bring the microphone nearer",
}


@dataclass
class Live:
    """What there is to show, filled from the recogniser's thread and read from the screen's."""

    record: ExamRecord
    speaking: Speaking | None = None
    said: deque[Said] = field(default_factory=lambda: deque(maxlen=_UTTERANCES_SHOWN))
    dropped: deque[str] = field(default_factory=lambda: deque(maxlen=_DROPPED_SHOWN))
    closing_at_s: float | None = None
    lock: Lock = field(default_factory=Lock)

    def take(self, event: Speaking | Said) -> None:
        """Add what was heard."""
        with self.lock:
            if isinstance(event, Speaking):
                self.speaking = event
                return
            self.speaking = None
            if event.transcript.text:
                self.said.append(event)
            for one in event.transcript.dropped:
                words = f'"{one_line(one.text)}" ' if one.text else ""
                self.dropped.append(f"{clock(one.start_s)} {words}({one.reason})")


@dataclass(frozen=True)
class State:
    """How the listening goes: see `pipeline.listening.Session`."""

    heard_s: float
    levels: Levels
    load: Load
    trouble: str
    ending: bool


def screen(
    live: Live, state: State, lexicon: Lexicon, width: int, height: int, shapes: Shapes
) -> RenderableType:
    """Lay out the whole screen."""
    with live.lock:
        above = [
            _status(state, shapes),
            *_warnings(live, state),
            Text(),
            *_heard(live, 2 * width),
            Text(),
            _missing(live.record),
        ]
        lines = record_lines(live.record, lexicon, width, shapes)
    for line in lines:
        # Some are made to be continued; here each is a line.
        line.end = "\n"
    # The record begins with who it is about, which the first lines of it say; its end has room when there is.
    room = max(0, height - _height(above, width) - 1)
    return Group(*above, *lines[:room])


def _status(state: State, shapes: Shapes) -> Text:
    text = Text(f"{shapes.normal} ", style="bold red")
    text.append("ENDING " if state.ending else "LISTENING ", style="default")
    text.append(f"{clock(state.heard_s)}  ", style="bold default")
    share = (max(state.levels.now_dbfs, _METER_FLOOR_DBFS) - _METER_FLOOR_DBFS) / -_METER_FLOOR_DBFS
    filled = min(_METER_COLUMNS, round(share * _METER_COLUMNS))
    text.append("[", style="dim")
    text.append("#" * filled, style="red" if state.levels.fault == "clipping" else "green")
    text.append(f"{'-' * (_METER_COLUMNS - filled)}] ", style="dim")
    text.append(f"{state.levels.now_dbfs:4.0f} dBFS", style="dim not bold")
    if state.load.utterances:
        waiting = f"  {state.load.utterances} waiting, {state.load.sound_s:.0f} s of sound"
        text.append(waiting, style="yellow not bold" if state.load.utterances > 1 else "dim not bold")
    return text


def _warnings(live: Live, state: State) -> Iterable[Text]:
    if state.trouble:
        yield Text(one_line(state.trouble), style="bold red")
    if state.levels.fault is not None:
        yield Text(_FAULTS[state.levels.fault], style="bold yellow")
    if live.closing_at_s is not None and not state.ending:
        left_s = max(0.0, live.closing_at_s - state.heard_s)
        yield Text(f"End of examination heard: ending in {left_s:.0f} s. Talk on to go on.", style="bold")


def _heard(live: Live, most: int) -> Iterable[Text]:
    if not live.said and live.speaking is None:
        yield Text("Nothing said yet. Ctrl-C ends the examination.", style="dim")
    for said in live.said:
        yield Text(f"{clock(said.start_s)}  ", style="dim").append(
            _end_of(said.transcript.text, most), style="default"
        )
    if live.speaking is not None:
        yield Text(f"{clock(live.speaking.start_s)}  ", style="dim").append(
            f"{_end_of(live.speaking.text, most)} …", style="italic"
        )
    for one in live.dropped:
        yield Text(f"not believed: {one}", style="dim")


def _missing(record: ExamRecord) -> Text:
    names = [
        n.about.replace("_", " ")
        for n in record.notices
        if n.kind in ("missing_system", "missing_measurement")
    ]
    if not names:
        return Text("Nothing that this visit asks for is missing.", style="green")
    return Text("STILL MISSING  ", style="bold yellow").append(", ".join(names), style="default")


def _end_of(text: str, most: int) -> str:
    """The last words of a text, at most so many columns with the time before them."""
    line = one_line(text)
    room = most - _TIME_COLUMNS
    return line if len(line) <= room else f"… {line[-room:].partition(' ')[2]}"


def _height(lines: Iterable[Text], width: int) -> int:
    return sum(max(1, -(-line.cell_len // width)) for line in lines)
