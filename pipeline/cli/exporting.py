"""The command `rostral export`: signed records, or a draft from a file, as documents and exchange files."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import get_args

from pydantic import ValidationError
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from lexicon import load_lexicon
from pipeline.cli.border import CallError, WorkError
from pipeline.cli.choosing import choose_record
from pipeline.cli.export_folder import ExportFolder
from pipeline.cli.inputs import read_text
from pipeline.cli.keeping import Books, open_books
from pipeline.cli.screen import messages, output, remark
from pipeline.filing import (
    PaperName,
    clinical_record_pdf,
    draft_pdf,
    load_language,
    take_home_sheet_pdf,
)
from pipeline.filing.calendar import calendar
from pipeline.filing.fhir import Release, fhir_document
from pipeline.filing.letterhead import Letterhead
from pipeline.filing.outgoing import Outgoing, outgoing_draft
from pipeline.filing.tables import csv_head, csv_rows, data_dictionary, json_lines
from pipeline.filing.typesetting import Printed
from pipeline.jobs.papers import Papers, papers_of
from pipeline.record import ExamRecord
from pipeline.settings import Settings
from pipeline.store import note_export, record_line, signed_between
from pipeline.store.stamps import now

ENDINGS = {
    "pdf": ".pdf",
    "sheet": ".sheet.pdf",
    "fhir": ".fhir.json",
    "json": ".json",
    "csv": ".csv",
    "jsonl": ".jsonl",
    "ics": ".ics",
}
"""The forms of an export, and how the names of their files end."""

_PRINTED = ("pdf", "sheet")
_UNSIGNED = "Nobody signed this record: it is a draft."


@dataclass(frozen=True)
class Wanted:
    """What is to be exported: forms, days, where to, the release of FHIR; for documents, the paper and a file of own words."""

    forms: tuple[str, ...]
    since: date | None
    until: date | None
    to: Path | None
    release: str
    paper: PaperName = "a4"
    words: Path | None = None


def export(settings: Settings, which: list[str], wanted: Wanted) -> None:
    """Write records, one by one; a folder is gone on with where an earlier call left it."""
    _check(which, wanted)
    files = [Path(one) for one in which if Path(one).is_file()]
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
                partial(forms_of, books, one, wanted),
            )
            for one in ids
        ]
        _write(lines, wanted, books)


def _check(which: list[str], wanted: Wanted) -> None:
    for form in wanted.forms:
        if form not in ENDINGS:
            raise CallError(f"There is no form {form!r}: give --as one of {', '.join(ENDINGS)}.")
    if wanted.release not in get_args(Release):
        raise CallError(f"There is no release {wanted.release!r} here: give --release R4B or R5.")
    if bool(which) == bool(wanted.since or wanted.until):
        raise CallError("Say which records: identifiers, or the days of the visits with --since and --until.")
    if wanted.since and wanted.until and wanted.since > wanted.until:
        raise CallError(f"--since {wanted.since} is after --until {wanted.until}: exchange them.")
    if wanted.to is None:
        if len(which) != 1 or len(wanted.forms) != 1:
            raise CallError("Name the folder for the files: --to FOLDER")
        if wanted.forms[0] in _PRINTED and sys.stdout.isatty():
            raise CallError("A PDF is no text for a screen: name a folder with --to FOLDER, or send it on.")


Maker = Callable[[], Iterator[tuple[str, bytes]]]


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


def _key(form: str, wanted: Wanted) -> str:
    """What the folder's list calls a form: the two releases of FHIR are two."""
    return f"{form}.{wanted.release.lower()}" if form == "fhir" else form


def _file_name(name: str, version: int, form: str, wanted: Wanted) -> str:
    release = f".{wanted.release.lower()}" if form == "fhir" else ""
    return f"{name}-v{version}{release}{ENDINGS[form]}"


def _note(books: Books | None, record_id: str, version: int, form: str) -> None:
    if books is not None:
        note_export(books.database, books.actor, record_id, version, form, books.at())


def forms_of(books: Books, record_id: str, wanted: Wanted) -> Iterator[tuple[str, bytes]]:
    """Make the forms of a signed record, one by one. Raises NotFoundError, NotAllowedError, FilingError."""
    papers = papers_of(books.database, books.actor, record_id, books.at())
    for form in wanted.forms:
        if form in _PRINTED:
            yield form, _told(record_id, _printed(papers, form, wanted))
        elif form == "json":
            last = papers.versions[-1].model_dump(mode="json")
            yield form, _json({"state": "signed", **last})
        else:
            yield form, _exchanged(papers.outgoing, form, wanted)


def _printed(papers: Papers, form: str, wanted: Wanted) -> Printed:
    head = papers.outgoing.practice
    if head is None:
        raise WorkError("The practice has no name to print: rostral practice change")
    lexicon, language = load_lexicon(), load_language(wanted.words)
    if form == "sheet":
        last = papers.versions[-1]
        return take_home_sheet_pdf(
            last, head, lexicon, past=papers.past, paper=wanted.paper, language=language
        )
    return clinical_record_pdf(
        papers.versions,
        head,
        lexicon,
        client=papers.outgoing.client,
        past=papers.past,
        paper=wanted.paper,
        language=language,
    )


def _told(name: str, printed: Printed) -> bytes:
    for warning in printed.warnings:
        remark(f"{name}: {warning}")
    return printed.pdf


def _draft_forms(draft: Outgoing, wanted: Wanted) -> Iterator[tuple[str, bytes]]:
    if "sheet" in wanted.forms:
        raise WorkError(f"{_UNSIGNED} A sheet for the owner holds only what a vet signed.")
    record = draft.record
    remark(f"{_UNSIGNED} Its files say so.")
    for form in wanted.forms:
        if form == "pdf":
            head = Letterhead(name="Draft")
            language = load_language(wanted.words)
            printed = draft_pdf(record, head, load_lexicon(), draft.at, paper=wanted.paper, language=language)
            yield form, _told("draft", printed)
        elif form == "json":
            yield (
                form,
                _json({"state": "draft", "caution": _UNSIGNED, "record": record.model_dump(mode="json")}),
            )
        else:
            yield form, _exchanged(draft, form, wanted)


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


def _exchanged(document: Outgoing, form: str, wanted: Wanted) -> bytes:
    if form == "fhir":
        release: Release = "R5" if wanted.release == "R5" else "R4B"
        return fhir_document(document, release, load_lexicon()).encode()
    if form == "ics":
        return calendar([document])
    if form == "jsonl":
        return json_lines(document).encode()
    return (csv_head() + csv_rows(document)).encode()


def _json(value: object) -> bytes:
    return f"{json.dumps(value, indent=2, ensure_ascii=False)}\n".encode()


@contextmanager
def _bar(total: int) -> Iterator[Callable[[], None]]:
    console = messages()
    columns = (TextColumn("Writing"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task("", total=total)
        yield lambda: progress.advance(task)
