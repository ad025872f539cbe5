"""The command `rostral export`: signed records, or a draft from a file, as documents and exchange files."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import cast, get_args

from pydantic import ValidationError
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from pipeline.cli.border import CallError, WorkError
from pipeline.cli.choosing import choose_record
from pipeline.cli.export_folder import ExportFolder
from pipeline.cli.inputs import read_text
from pipeline.cli.keeping import Books, open_books
from pipeline.cli.screen import messages, output, remark
from pipeline.filing.fhir import Release
from pipeline.filing.outgoing import Outgoing, outgoing_draft
from pipeline.filing.tables import csv_head, data_dictionary
from pipeline.jobs.forms import (
    ENDINGS,
    FORMS,
    PRINTED,
    UNSIGNED,
    Form,
    Look,
    Made,
    draft_form_of,
    form_of,
    look_of,
)
from pipeline.jobs.papers import papers_of
from pipeline.record import ExamRecord
from pipeline.settings import Settings
from pipeline.store import note_export, record_line, signed_between
from pipeline.store.stamps import now


@dataclass(frozen=True)
class Wanted:
    """What is to be exported: forms, days, where to, and how the forms look."""

    forms: tuple[Form, ...]
    since: date | None
    until: date | None
    to: Path | None
    look: Look


def wanted(
    settings: Settings,
    forms: Sequence[str],
    release: str,
    days: tuple[date | None, date | None],
    to: Path | None,
) -> Wanted:
    """What the options of a call ask for. Raises CallError."""
    chosen = tuple(read_form(form) for form in dict.fromkeys(forms))
    since, until = days
    return Wanted(chosen, since, until, to, look_of(settings, read_release(release)))


def export(settings: Settings, which: list[str], wanted: Wanted) -> None:
    """Write records, one by one; a folder is gone on with where an earlier call left it."""
    _check(which, wanted)
    files = [Path(one) for one in which if os.path.isfile(one)]  # noqa: PTH113 — false also where no file can have that name
    if files:
        if len(which) > 1 or wanted.since or wanted.until:
            raise CallError("A draft from a file is exported alone: give the one file and no days.")
        draft = outgoing_draft(read_record(files[0]), now())
        name = f"{files[0].stem}-{draft.record_id[:8]}"
        _write([(name, 0, partial(_draft_forms, draft, wanted))], wanted, None)
        return
    with open_books(settings) as books:
        ids = [choose_record(books, one) for one in which]
        if not ids:
            ids = list(signed_between(books.database, books.actor, wanted.since, wanted.until))
        if not ids:
            raise WorkError("No signed record is of these days. See what there is: rostral record list")
        lines = [
            (
                one,
                record_line(books.database, books.actor, one).version,
                partial(_forms_of, books, one, wanted),
            )
            for one in ids
        ]
        _write(lines, wanted, books)


def _check(which: list[str], wanted: Wanted) -> None:
    if bool(which) == bool(wanted.since or wanted.until):
        raise CallError("Say which records: identifiers, or the days of the visits with --since and --until.")
    if wanted.since and wanted.until and wanted.since > wanted.until:
        raise CallError(f"--since {wanted.since} is after --until {wanted.until}: exchange them.")
    if wanted.to is None:
        if len(which) != 1 or len(wanted.forms) != 1:
            raise CallError("Name the folder for the files: --to FOLDER")
        if wanted.forms[0] in PRINTED and sys.stdout.isatty():
            raise CallError("A PDF is no text for a screen: name a folder with --to FOLDER, or send it on.")


Maker = Callable[[], Iterator[tuple[Form, bytes]]]


def _write(lines: Sequence[tuple[str, int, Maker]], wanted: Wanted, books: Books | None) -> None:
    if wanted.to is None:
        name, version, make = lines[0]
        for form, data in make():
            _note(books, name, version, form)
            sys.stdout.buffer.write(data)
            sys.stdout.flush()
        return
    with ExportFolder(wanted.to) as folder, _bar(len(lines)) as done:
        for name, version, make in lines:
            missing = {form for form in wanted.forms if not folder.has(name, version, _key(form, wanted))}
            if missing:
                for form, data in make():
                    if form in missing:
                        _note(books, name, version, form)
                        folder.put(
                            name, version, _key(form, wanted), _file_name(name, version, form, wanted), data
                        )
            done()
        joined = folder.join(wanted.forms, {name for name, _, _ in lines}, csv_head().encode())
        if joined:
            folder.add("columns.csv", data_dictionary().encode())
        written, kept = folder.counts
    said = f"{written} file{'s' if written != 1 else ''} written to {wanted.to}"
    output().print(said + (f", {kept} were there already." if kept else "."), soft_wrap=True)


def _key(form: Form, wanted: Wanted) -> str:
    """What the folder's list calls a form: the two releases of FHIR are two."""
    return f"{form}.{wanted.look.release.lower()}" if form == "fhir" else form


def _file_name(name: str, version: int, form: Form, wanted: Wanted) -> str:
    release = f".{wanted.look.release.lower()}" if form == "fhir" else ""
    return f"{name}-v{version}{release}{ENDINGS[form]}"


def _note(books: Books | None, record_id: str, version: int, form: str) -> None:
    if books is not None:
        note_export(books.database, books.actor, record_id, version, form, books.at())


def _forms_of(books: Books, record_id: str, wanted: Wanted) -> Iterator[tuple[Form, bytes]]:
    papers = papers_of(books.database, books.actor, record_id, books.at())
    for form in wanted.forms:
        yield form, _told(record_id, form_of(papers, form, wanted.look))


def _draft_forms(draft: Outgoing, wanted: Wanted) -> Iterator[tuple[Form, bytes]]:
    made = [(form, draft_form_of(draft, form, wanted.look)) for form in wanted.forms]
    remark(f"{UNSIGNED} Its files say so.")
    for form, one in made:
        yield form, _told("draft", one)


def _told(name: str, made: Made) -> bytes:
    for warning in made.warnings:
        remark(f"{name}: {warning}")
    return made.data


def read_form(text: str) -> Form:
    """A form in which records leave the practice. Raises CallError."""
    if text not in FORMS:
        raise CallError(f"There is no form {text!r}: give --as one of {', '.join(FORMS)}.")
    return text


def read_release(text: str) -> Release:
    """A release of FHIR that is written. Raises CallError."""
    if text.upper() not in get_args(Release):
        raise CallError(f"There is no release {text!r} here: give --release R4B or R5.")
    return cast("Release", text.upper())


def read_record(file: Path) -> ExamRecord:
    """Read a record as `rostral exam --json` writes it. Raises CallError that names the field."""
    try:
        return ExamRecord.model_validate_json(read_text(str(file)))
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"]) or "it"
        raise CallError(
            f"{file} is no record as 'rostral exam --json' writes it: {field}: {first['msg']}."
        ) from None


@contextmanager
def _bar(total: int) -> Iterator[Callable[[], None]]:
    console = messages()
    columns = (TextColumn("Writing"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("", total=total)
        yield lambda: progress.advance(task)
