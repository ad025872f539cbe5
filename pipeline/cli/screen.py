"""Where the commands write: results to standard output, everything else to standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn
from rich.text import Text

MOST_COLUMNS = 120
"""Lines longer than this are hard to read, however wide the window."""


def output() -> Console:
    """Give the console on standard output; without colours in a pipe and where NO_COLOR is set."""
    return _console(stderr=False)


def messages() -> Console:
    """Give the console on standard error."""
    return _console(stderr=True)


def _console(*, stderr: bool) -> Console:
    # A terminal that cannot write a character gets a question mark instead of an error.
    stream = sys.stderr if stderr else sys.stdout
    if hasattr(stream, "reconfigure"):
        stream.reconfigure(errors="replace")
    console = Console(stderr=stderr, highlight=False, markup=False, emoji=False)
    console.width = min(console.width, MOST_COLUMNS)
    return console


def writes_unicode(console: Console) -> bool:
    """Tell whether shapes and lines beyond ASCII can be written."""
    return console.encoding.lower().replace("-", "").startswith("utf")


def complain(message: str) -> None:
    """Write one line about an error to standard error."""
    _line("rostral: ", message, "bold red")


def remark(message: str) -> None:
    """Write one line to standard error that is no error."""
    _line("note: ", message, "yellow")


def _line(head: str, message: str, style: str) -> None:
    text = Text(head, style=style).append(printable(" ".join(message.split())), style="default not bold")
    messages().print(text, soft_wrap=True)


def printable(text: str) -> str:
    """Take out control characters: a text file must not steer the terminal it is shown on."""
    return "".join(
        " " if character < " " or "\x7f" <= character <= "\x9f" else character for character in text
    )


def write_lines(console: Console, lines: Iterable[Text]) -> None:
    """Write lines that were laid out already."""
    for line in lines:
        console.print(line, no_wrap=True, overflow="ignore", crop=False)


def write_json(document: Any) -> None:
    """Write one JSON document, and nothing else, to standard output."""
    console = output()
    text = json.dumps(document, indent=2, ensure_ascii=not writes_unicode(console), allow_nan=False)
    console.file.write(f"{text}\n")


@dataclass(frozen=True)
class Bars:
    """Progress of the two things that take time; both methods fit the callbacks of the stages."""

    progress: Progress
    model_task: TaskID
    speech_task: TaskID

    def model(self, done: int, total: int) -> None:
        """Show bytes of the speech model joined so far."""
        self.progress.update(self.model_task, completed=done, total=total, visible=done < total)

    def speech(self, done: float, total: float) -> None:
        """Show seconds of the recording heard so far."""
        self.progress.update(self.speech_task, completed=done, total=total, visible=True)


@contextmanager
def progress_bars() -> Iterator[Bars]:
    """Show bars on standard error while work runs; nothing where that is no terminal."""
    console = messages()
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        yield Bars(
            progress,
            progress.add_task("Preparing the speech model", total=None, visible=False),
            progress.add_task("Listening", total=None, visible=False),
        )
