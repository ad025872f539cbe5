"""The commands about kept records: keep, list, show, sign, amend, file, compare; and finding things again."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import cast, get_args

from pydantic import ValidationError
from rich.text import Text

from lexicon import load_lexicon
from pipeline.cli.border import CallError, WorkError
from pipeline.cli.choosing import choose_patient, choose_record, owner_words, patient_words
from pipeline.cli.columns import show_rows
from pipeline.cli.examined import keep_of, must_be_same
from pipeline.cli.examining import show_record
from pipeline.cli.facts_view import facts_lines
from pipeline.cli.inputs import read_text
from pipeline.cli.keeping import Books, open_books
from pipeline.cli.page import ASCII, Shapes
from pipeline.cli.reviewing import waiting_line
from pipeline.cli.screen import output, printable, remark, write_json, write_lines, writes_unicode
from pipeline.record import ExamRecord
from pipeline.review import current
from pipeline.settings import Settings
from pipeline.store import (
    KeptRecord,
    RecordLine,
    amend_record,
    client_of,
    events_of,
    file_record,
    leave_amendment,
    patient_of,
    practice_of,
    record_line,
    record_of,
    records_due,
    records_of,
    search,
    sign_record,
    signed_version,
    view_record,
)
from pipeline.store.model import RecordState
from pipeline.store.search import Hit, Kind, plain_words

_KINDS: dict[str, Kind] = {"owner": "client", "patient": "patient", "record": "record"}
_NAMES = {kind: name for name, kind in _KINDS.items()}


def keep(settings: Settings, file: Path, patient: str) -> None:
    """Keep a record that was written as JSON, as a draft of its patient's visit."""
    text = read_text(str(file))
    try:
        record = ExamRecord.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"]) or "it"
        raise CallError(
            f"{file} is no record as 'rostral exam --json' writes it: {field}: {first['msg']}."
        ) from None
    with open_books(settings) as books:
        kept = choose_patient(books, patient)
        must_be_same(record.patient, kept)
        if record.patient is None:
            record = record.model_copy(update={"patient": kept.patient})
        output().print(keep_of(books, kept, record).id)


def listed(settings: Settings, state: str | None, patient: str | None, limit: int, *, as_json: bool) -> None:
    """List records, the newest first."""
    if state is not None and state not in get_args(RecordState):
        raise CallError(
            f"There is no state {state!r}: give --state one of {', '.join(get_args(RecordState))}."
        )
    with open_books(settings) as books:
        patient_id = choose_patient(books, patient).id if patient is not None else None
        lines = records_of(
            books.database, books.actor, cast("RecordState | None", state), patient_id, limit=limit
        )
        if as_json:
            write_json([line.model_dump(mode="json") for line in lines])
            return
        rows = [
            (line.on, f"{line.patient}, {line.species}", line.kind, _state(line), line.id) for line in lines
        ]
        show_rows(("day", "patient", "visit", "state", "record"), rows)


def show(settings: Settings, which: str, version: int | None, *, as_json: bool, talk: bool) -> None:
    """Show a record as it stands, or a signed version of it; that it was read is kept in the trail."""
    with open_books(settings) as books:
        line = record_line(books.database, books.actor, choose_record(books, which))
        if version is None and line.state == "draft":
            kept = view_record(books.database, books.actor, line.id, books.at())
            record = _standing(kept)
            about = {"id": kept.id, "state": kept.state, "revision": kept.revision, "version": kept.version}
            head = f"Draft, revision {kept.revision}: not signed" + (
                f" (an amendment of version {kept.version})" if kept.version else ""
            )
        else:
            signed = signed_version(books.database, books.actor, line.id, version, books.at())
            record = signed.record
            about = {"id": line.id, "state": line.state, **signed.model_dump(mode="json", exclude={"record"})}
            del about["record_id"]
            head = f"Version {signed.version} of {line.version}, signed by {signed.signed_by}, {_time(signed.signed_at)}"
            head += f". Amended: {signed.reason}" if signed.reason else ""
    if as_json:
        write_json({**about, "record": record.model_dump(mode="json")})
        return
    output().print(Text(printable(head), style="bold"), soft_wrap=True)
    show_record(record, as_json=False, talk=talk)


def facts(settings: Settings, which: str, *, as_json: bool) -> None:
    """Show a draft for review: every fact by its name, and what is to be answered."""
    with open_books(settings) as books:
        kept = view_record(books.database, books.actor, choose_record(books, which), books.at())
        line = record_line(books.database, books.actor, kept.id)
    if kept.review is None:
        raise WorkError(
            f"This record is {kept.state} and has no draft. Show it: rostral record show {kept.id}; a vet opens"
            f" a new draft of it with: rostral record amend {kept.id}"
        )
    if as_json:
        write_json(kept.model_dump(mode="json"))
        return
    console = output()
    shapes = Shapes() if writes_unicode(console) else ASCII
    console.print(Text(printable(f"{line.patient}, {line.species}, {line.on}"), style="bold"), soft_wrap=True)
    write_lines(console, facts_lines(kept.review, load_lexicon(), console.width, shapes))
    console.print()
    console.print(Text(waiting_line(kept)), soft_wrap=True)


def sign(settings: Settings, which: str, reason: str | None) -> None:
    """Sign a draft: it becomes the next version."""
    with open_books(settings) as books:
        kept = record_of(books.database, books.actor, choose_record(books, which))
        signed = sign_record(books.database, books.actor, kept, load_lexicon(), books.at(), reason)
        output().print(
            f"Version {signed.version} is signed by {books.actor.name}. {signed.id}", soft_wrap=True
        )


def amend(settings: Settings, which: str) -> None:
    """Open a new draft from the signed version, which stays as it is."""
    with open_books(settings) as books:
        kept = record_of(books.database, books.actor, choose_record(books, which))
        draft = amend_record(books.database, books.actor, kept, books.at())
        output().print(
            f"A draft of version {draft.version + 1} is open; version {draft.version} stays as it is."
            f' When it is right: rostral record sign {draft.id} --because "WHY"',
            soft_wrap=True,
        )


def leave(settings: Settings, which: str) -> None:
    """Give up the draft of an amendment."""
    with open_books(settings) as books:
        kept = record_of(books.database, books.actor, choose_record(books, which))
        left = leave_amendment(books.database, books.actor, kept, books.at())
        output().print(
            f"The amendment is left; version {left.version} stands, {left.state} as it was. {left.id}",
            soft_wrap=True,
        )


def file(settings: Settings, which: str, note: str) -> None:
    """Mark a signed record as filed, with a note of where."""
    with open_books(settings) as books:
        kept = record_of(books.database, books.actor, choose_record(books, which))
        filed = file_record(books.database, books.actor, kept, note, books.at())
        output().print(f"Version {filed.version} is filed. {filed.id}", soft_wrap=True)


def trail(settings: Settings, which: str, *, as_json: bool) -> None:
    """Show who did what to a record, and when."""
    with open_books(settings) as books:
        events = events_of(books.database, books.actor, choose_record(books, which))
    if as_json:
        write_json([one.model_dump(mode="json") for one in events])
        return
    rows = [
        (one.seq, _time(one.at), one.by, one.action.replace("_", " "), _detail(one.detail)) for one in events
    ]
    show_rows(("event", "time", "who", "did", "what"), rows)


def find(settings: Settings, words: str, of: str | None, limit: int, *, as_json: bool) -> None:
    """Find owners, patients and signed records by words, the newest first."""
    if of is not None and of not in _KINDS:
        raise CallError(f"There is no kind {of!r}: give --of one of {', '.join(_KINDS)}.")
    if not plain_words(words):
        raise CallError("Say what to find: words or numbers, or how they begin.")
    with open_books(settings) as books:
        hits = search(books.database, books.actor, words, _KINDS[of] if of else None, limit=limit)
        rows = [(_NAMES[hit.kind], _told(books, hit), hit.id) for hit in hits]
    if as_json:
        write_json([{"kind": kind, "words": told, "id": identifier} for kind, told, identifier in rows])
        return
    if rows:
        show_rows(("", "found", "identifier"), rows)
    else:
        remark(
            f"Nothing that is kept has all of these words: {words}. Drafts are found when they are signed."
        )


def due(settings: Settings, years: int | None, *, as_json: bool) -> None:
    """List patients that were not seen for as many years as records are kept. Removes nothing."""
    with open_books(settings) as books:
        kept = years or practice_of(books.database, books.actor).retention_years
        if kept is None:
            raise CallError(
                "No time is set for keeping: rostral practice retention --years N, or give --years here."
            )
        today = date.today()
        found = records_due(books.database, books.actor, _years_before(today, kept))
    if as_json:
        write_json([one.model_dump(mode="json") for one in found])
        return
    if not found:
        output().print(f"Every patient was seen in the last {kept} years.")
        return
    rows = [(one.last_visit, f"{one.patient}, {one.species}", one.records, one.id) for one in found]
    show_rows(("last visit", "patient", "records", "identifier"), rows)
    remark(
        "These were not seen for longer than records are kept. Nothing was removed: local rules and the practice decide."
    )


def _years_before(day: date, years: int) -> date:
    """The same day so many years ago; of 29 February the day before where there was none."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=28)


def standing_of(books: Books, line: RecordLine) -> ExamRecord:
    """A record as it stands: the draft where one is open, else the last signed version."""
    if line.state == "draft":
        return _standing(view_record(books.database, books.actor, line.id, books.at()))
    return signed_version(books.database, books.actor, line.id, None, books.at()).record


def _standing(kept: KeptRecord) -> ExamRecord:
    if kept.review is None:
        raise WorkError("Somebody signed this record just now. Look at it again.")
    return current(kept.review, load_lexicon())


def _told(books: Books, hit: Hit) -> str:
    if hit.kind == "client":
        return owner_words(client_of(books.database, books.actor, hit.id))
    if hit.kind == "patient":
        return patient_words(patient_of(books.database, books.actor, hit.id).patient)
    line = record_line(books.database, books.actor, hit.id)
    return f"{line.patient}, {line.species}, {line.on}, {_state(line)}"


def _state(line: RecordLine) -> str:
    if line.state == "draft":
        return f"draft of version {line.version + 1}" if line.version else "draft"
    return line.state if line.version == 1 else f"{line.state}, version {line.version}"


def _time(at: object) -> str:
    return str(at)[:16].replace("T", " ") + " UTC"


def _detail(detail: dict[str, object]) -> str:
    shown = {name: value for name, value in detail.items() if value not in ("", None, [])}
    return "  ".join(f"{name} {_short(value)}" for name, value in shown.items())


def _short(value: object) -> str:
    if isinstance(value, dict):
        return " ".join(str(part) if not isinstance(part, dict) else _short(part) for part in value.values())
    text = str(value)
    return f"{text[:12]}…" if len(text) == 64 and text.isalnum() else text
