"""Tables of figures, as the commands that measure show them."""

from __future__ import annotations

from rich import box
from rich.table import Table


def figures_table(*columns: str, title: str | None = None) -> Table:
    """Give an empty table whose first column names what the others count."""
    table = Table(title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)
    for number, column in enumerate(columns):
        table.add_column(column, justify="left" if number == 0 else "right")
    return table


def percent(share: float) -> str:
    """Write a share of one as per cent."""
    return f"{100 * share:.1f} %"
