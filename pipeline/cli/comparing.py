"""The commands that look back: two examinations side by side, and how a patient's values went."""

from __future__ import annotations

from itertools import pairwise
from typing import get_args

from rich.text import Text

from lexicon import load_lexicon
from pipeline.cli.border import CallError, WorkError
from pipeline.cli.choosing import choose_patient, choose_record, patient_words
from pipeline.cli.columns import show_rows
from pipeline.cli.finding_words import FindingWords
from pipeline.cli.keeping import Books, open_books
from pipeline.cli.records import standing_of
from pipeline.cli.screen import output, printable, write_json
from pipeline.extraction.model import Measurement, MeasurementKind
from pipeline.record.comparison import Comparison, FindingCourse, compare
from pipeline.record.dates import dates_said
from pipeline.record.wording import value_text
from pipeline.settings import Settings
from pipeline.store import (
    PastValue,
    RecordLine,
    record_line,
    records_of,
    signed_version,
    values_of,
    visits_of,
)

_COURSES = {"not_named": "not named"}
_LOOKED_BACK = 200


def compare_records(settings: Settings, which: str, other: str | None, *, as_json: bool) -> None:
    """Compare a record with the patient's examination before it, or with another one of theirs."""
    with open_books(settings) as books:
        now = record_line(books.database, books.actor, choose_record(books, which))
        before = _other(books, now, other) if other is not None else _before(books, now)
        lexicon = load_lexicon()
        compared = compare(standing_of(books, before), standing_of(books, now), lexicon)
    if as_json:
        write_json(
            {
                "earlier": before.model_dump(mode="json"),
                "now": now.model_dump(mode="json"),
                **compared.model_dump(mode="json"),
            }
        )
        return
    head = f"{now.patient}, {now.species}: {before.on} and {now.on}"
    output().print(Text(printable(head), style="bold"), soft_wrap=True)
    _show(compared, FindingWords(lexicon))


def history(settings: Settings, which: str, of: str | None, *, as_json: bool) -> None:
    """Show a patient's visits, and how the values of their signed records went."""
    kinds: tuple[MeasurementKind, ...] = get_args(MeasurementKind)
    if of is not None:
        if of not in kinds:
            raise CallError(f"There is no value {of!r}: give --of one of {', '.join(kinds)}.")
        kinds = tuple(kind for kind in kinds if kind == of)
    with open_books(settings) as books:
        kept = choose_patient(books, which)
        visits = visits_of(books.database, books.actor, kept.id, limit=_LOOKED_BACK)
        values = {kind: values_of(books.database, books.actor, kept.id, kind) for kind in kinds}
        signed = [
            signed_version(books.database, books.actor, one.record_id, None, books.at()).record
            for one in visits
            if one.record_id is not None and one.version and of is None
        ]
        said = dates_said(signed, books.at().date())
    values = {kind: past for kind, past in values.items() if past}
    if as_json:
        write_json(
            {
                "patient": kept.model_dump(mode="json"),
                "visits": [one.model_dump(mode="json") for one in visits],
                "values": {
                    kind: [one.model_dump(mode="json") for one in past] for kind, past in values.items()
                },
                "dates_said": [one.model_dump(mode="json") for one in said],
            }
        )
        return
    console = output()
    console.print(Text(printable(patient_words(kept.patient)), style="bold"), soft_wrap=True)
    rows = [(one.on, one.kind, one.state or "no record", one.record_id or one.visit_id) for one in visits]
    show_rows(("day", "visit", "state", "record"), rows)
    if values:
        console.print()
        lexicon = load_lexicon()
        show_rows(
            ("value", "day", "", "since"),
            [
                row
                for kind, past in values.items()
                for row in _course(kind, lexicon.measurements[kind].label, past)
            ],
        )
    if said:
        console.print()
        show_rows(("due", "as said", "on"), [(one.due, printable(one.text), one.said_on) for one in said])


def _other(books: Books, now: RecordLine, given: str) -> RecordLine:
    other = record_line(books.database, books.actor, choose_record(books, given))
    if other.patient_id != now.patient_id:
        raise CallError(
            f"These are records of two patients, {other.patient} and {now.patient}: give two of one."
        )
    if other.id == now.id:
        raise CallError("A record is compared with another one: give two.")
    return other


def _before(books: Books, now: RecordLine) -> RecordLine:
    past = records_of(books.database, books.actor, patient_id=now.patient_id, limit=_LOOKED_BACK)
    for line in past:
        if line.version and line.visit_id != now.visit_id and (line.on, line.id) < (now.on, now.id):
            return line
    raise WorkError(f"No earlier signed record of {now.patient} is kept: there is nothing to compare with.")


def _show(compared: Comparison, words: FindingWords) -> None:
    rows = [
        (
            _COURSES.get(one.course, one.course),
            one.system.replace("_", " "),
            _sides(one, words),
        )
        for one in compared.findings
    ]
    if rows:
        show_rows(("", "system", "finding"), rows)
    else:
        output().print("Nothing abnormal was found on either day.")
    if compared.values:
        output().print()
        show_rows(
            ("value", "before", "now", "change"),
            [
                (one.label, value_text(one.earlier), value_text(one.now), _change(one.change, one.percent))
                for one in compared.values
            ],
        )


def _sides(one: FindingCourse, words: FindingWords) -> str:
    said = [words.phrase(finding).plain for finding in (one.earlier, one.now) if finding is not None]
    return " → ".join(dict.fromkeys(said))


def _course(
    kind: MeasurementKind, label: str, past: tuple[PastValue, ...]
) -> list[tuple[str, object, str, str]]:
    """Rows of one kind of value; the change since the one before where both are on one scale."""
    rows: list[tuple[str, object, str, str]] = [(label, past[0].on, _past_text(kind, past[0]), "")]
    for before, now in pairwise(past):
        alike = (before.unit, before.out_of) == (now.unit, now.out_of)
        percent = (
            100 * (now.value - before.value) / before.value if now.unit == "kg" and before.value else None
        )
        rows.append(
            ("", now.on, _past_text(kind, now), _change(now.value - before.value, percent) if alike else "")
        )
    return rows


def _past_text(kind: MeasurementKind, past: PastValue) -> str:
    return value_text(Measurement(kind=kind, value=past.value, unit=past.unit, out_of=past.out_of))


def _change(change: float, percent: float | None) -> str:
    if not change:
        return "the same"
    return f"{round(change, 3):+g}" + (f" ({percent:+.1f} %)" if percent is not None else "")
