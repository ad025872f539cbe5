"""Lists and facts in plain columns, the same in a window and in a pipe."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.text import Text

from pipeline.cli.screen import output, printable

_GAP = "  "
_WIDEST = 40


def show_rows(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write rows under their heads; the last column is never cut or padded."""
    table = [[printable(str(cell if cell is not None else "")) for cell in row] for row in rows]
    widths = [
        min(_WIDEST, max(len(head), *(len(row[place]) for row in table))) if table else len(head)
        for place, head in enumerate(heads)
    ]
    console = output()
    console.print(Text(_line(heads, widths), style="bold"), soft_wrap=True)
    for row in table:
        console.print(Text(_line(row, widths)), soft_wrap=True)


def show_facts(facts: Iterable[tuple[str, object]]) -> None:
    """Write named facts one below the other; those without a value are left out."""
    given = [(name, printable(str(value))) for name, value in facts if value not in (None, "")]
    width = max((len(name) for name, _ in given), default=0)
    console = output()
    for name, value in given:
        console.print(
            Text(f"{name:<{width}}{_GAP}", style="dim").append(value, style="not dim"), soft_wrap=True
        )


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    *first, last = [f"{cell:<{width}}" for cell, width in zip(cells, widths, strict=True)]
    return _GAP.join((*first, last.rstrip()))
