"""The command that takes in owners and patients from a list of another program."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import cast, get_args

import typer
from rich.text import Text

from pipeline.cli.border import WORK_FAILED, CallError
from pipeline.cli.columns import show_rows
from pipeline.cli.inputs import read_file
from pipeline.cli.keeping import open_books
from pipeline.cli.screen import complain, output, printable, remark, write_json
from pipeline.settings import Settings
from pipeline.store.intake import Intake, Sheet, read_sheet, take_in
from pipeline.store.intake.rows import DayOrder

_TABS = {"tab": "\t", "\\t": "\t"}


def take(
    settings: Settings,
    file: Path,
    *,
    encoding: str | None,
    delimiter: str | None,
    dates: str | None,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Take in a list, all of it; where a row is wrong name every such row, take nothing, and end with code 1."""
    if dates is not None and dates not in get_args(DayOrder):
        raise CallError(f"{dates!r} is no order of dates: give --dates {' or '.join(get_args(DayOrder))}.")
    data = read_file(file, "list")
    sheet = read_sheet(data, encoding, _TABS.get(delimiter, delimiter) if delimiter else None)
    with open_books(settings) as books:
        done = take_in(
            books.database,
            books.actor,
            sheet,
            books.at(),
            source=hashlib.sha256(data).hexdigest(),
            write=not dry_run,
            order=cast("DayOrder | None", dates),
        )
    if as_json:
        write_json({**done.model_dump(mode="json"), "encoding": sheet.encoding, "ignored": sheet.ignored})
    else:
        _tell(sheet, done, dry_run=dry_run)
    if done.faults:
        bad = len({fault.line for fault in done.faults})
        complain(
            f"{bad} of {done.rows} rows of {file} {'is' if bad == 1 else 'are'} wrong: nothing was taken in. Mend them in"
            " the list, and try again with --dry-run."
        )
        raise typer.Exit(WORK_FAILED)


def _tell(sheet: Sheet, done: Intake, *, dry_run: bool) -> None:
    if sheet.encoding == "cp1252":
        remark(
            "The list is not UTF-8 and was read as Windows-1252: look at a name with an accent, or give --encoding."
        )
    if sheet.ignored:
        remark(f"No place for these columns, they are left out: {', '.join(sheet.ignored)}.")
    console = output()
    if done.faults:
        show_rows(("line", "what is wrong"), [(fault.line, fault.reason) for fault in done.faults])
        return
    if done.notes:
        show_rows(("line", "worth a look"), [(note.line, note.reason) for note in done.notes])
        console.print()
    known = f" ({done.owners_known} others are known already)" if done.owners_known else ""
    verb = "would be taken in" if dry_run else "were taken in"
    line = f"{done.patients} patients and {done.owners} new owners{known} {verb} from {done.rows} rows."
    console.print(Text(printable(line)), soft_wrap=True)
