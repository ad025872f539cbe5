"""A page of text, laid out line by line: headings, rows with a hanging body, and the shapes beside words."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.text import Text

from pipeline.cli.screen import printable
from pipeline.extraction.model import Evidence

BODY_COLUMN = 19
"""Where the text of a row begins, after its shape and name."""

_LONGEST_QUOTE = 48


@dataclass(frozen=True)
class Shapes:
    """The characters beside the words; all one column wide."""

    abnormal: str = "▲"
    normal: str = "●"
    not_examined: str = "◇"
    not_mentioned: str = "○"
    doubt: str = "?"
    bullet: str = "•"
    line: str = "─"
    dot: str = "·"
    opening: str = "“"
    closing: str = "”"


ASCII = Shapes("!", "+", "x", ".", "?", "-", "-", "-", '"', '"')
"""For terminals that cannot write more."""


class Page:
    """Lines of at most `width` columns, without blanks at their ends."""

    def __init__(self, width: int, shapes: Shapes) -> None:
        self.lines: list[Text] = []
        self.width = width
        self.shapes = shapes
        self._ruler = Console(file=io.StringIO(), width=width)

    def parts(self, *parts: Text) -> None:
        """Put parts side by side, as many as a line takes, without breaking one."""
        line = Text()
        for part in parts:
            if line and line.cell_len + 3 + part.cell_len > self.width:
                self.flow(0, line)
                line = Text()
            if line:
                line.append(f" {self.shapes.dot} ", style="dim")
            line.append_text(part)
        self.flow(0, line)

    def heading(self, title: str, count: int | None = None) -> None:
        """Begin a block: its title, how many things it holds, and a line."""
        self.blank()
        text = Text(f"{title.upper()}{f' {count}' if count else ''} ", style="bold")
        text.append(self.shapes.line * (self.width - len(text)), style="dim not bold")
        self.lines.append(text)

    def blank(self) -> None:
        """Add an empty line."""
        self.lines.append(Text())

    def row(self, shape: str, style: str, name: str, body: Text, column: int = BODY_COLUMN) -> None:
        """Add a shape, a name and a body."""
        lead = Text(f"{shape} ", style=style).append(name, style="default")
        self.hang(lead, body, column)

    def flow(self, indent: int, body: Text) -> None:
        """Add text from column `indent` on."""
        self.hang(Text(), body, indent)

    def hang(self, lead: Text, body: Text, column: int) -> None:
        """Put `lead` on the left and `body` from `column` on, over as many lines as it takes."""
        wrapped = list(body.wrap(self._ruler, self.width - column)) if body.plain else []
        if not wrapped:
            lead.rstrip()
            self.lines.append(lead)
            return
        gap = " " * max(1 if lead.plain else 0, column - lead.cell_len)
        for number, line in enumerate(wrapped):
            line.rstrip()
            first = Text(end="").append_text(lead).append(gap, style="default not bold not strike")
            start = first if number == 0 else Text(" " * column)
            self.lines.append(start.append_text(line))

    def quote(self, text: Text, evidence: Sequence[Evidence]) -> None:
        """Add to `text` the words that a fact came from, what they were misheard as, and the second they were said."""
        if not evidence:
            return
        first = evidence[0]
        words = one_line(first.text)
        if len(words) > _LONGEST_QUOTE:
            words = f"{words[: _LONGEST_QUOTE - 2]} …"
        at = f" at {clock(first.start_s)}" if first.start_s is not None else ""
        heard = (
            f", heard as {self.shapes.opening}{one_line(first.heard)}{self.shapes.closing}"
            if first.heard
            else ""
        )
        quoted = f"{self.shapes.opening}{words}{self.shapes.closing}{heard}{at}"
        text.append(f"  {quoted}", style="dim not bold not strike")


def one_line(text: str) -> str:
    """Write any text as one line that is safe to show."""
    return printable(" ".join(text.split()))


def clock(seconds: float) -> str:
    """Write a time in a recording: 75 s is 1:15."""
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes}:{rest:02d}"
