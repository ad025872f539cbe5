"""Tables for analysis and the calendar, read again by others."""

from __future__ import annotations

import csv
import io
import json

import pytest
from icalendar import Calendar
from signed import OWNER, PRACTICE, RECORD_ID, sample, signed

from pipeline.filing.calendar import calendar
from pipeline.filing.outgoing import Outgoing, Signature, outgoing, outgoing_draft
from pipeline.filing.tables import columns, csv_head, csv_rows, data_dictionary, fact_rows, json_lines

SAMPLE = outgoing([sample("dog_chatty")], client=OWNER, practice=PRACTICE, patient_id="ab" * 16)


def with_breed(document: Outgoing, breed: str) -> Outgoing:
    patient = document.record.patient
    assert patient is not None
    record = document.record.model_copy(update={"patient": patient.model_copy(update={"breed": breed})})
    return document.model_copy(update={"record": record})


def test_a_csv_holds_every_fact_once() -> None:
    """RFC 4180: lines end with CRLF, all have as many fields as the head."""
    text = csv_head() + csv_rows(SAMPLE)
    assert text.count("\r\n") == text.count("\n")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    record = SAMPLE.record
    assert len(rows) == len(record.measurements) + len(record.findings)
    assert [float(row["value"]) for row in rows if row["value"]] == [
        m.value for m in record.measurements if isinstance(m.value, float)
    ]
    assert all(None not in row and None not in row.values() for row in rows)


def test_every_column_is_told_in_the_dictionary() -> None:
    told = list(csv.DictReader(io.StringIO(data_dictionary(), newline="")))
    names = [column.name for column in columns()]
    assert [row["column"] for row in told] == names
    used = {name for row in fact_rows(SAMPLE) for name in row}
    assert used == set(names)


def test_json_lines_say_the_same() -> None:
    lines = [json.loads(line) for line in json_lines(SAMPLE).splitlines()]
    assert lines == [{n: v for n, v in row.items() if v is not None} for row in fact_rows(SAMPLE)]


@pytest.mark.parametrize("start", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_no_text_is_a_formula(start: str) -> None:
    """OWASP, CSV injection: no cell may begin with these, but for numbers of ours."""
    rows = list(csv.reader(io.StringIO(csv_rows(with_breed(SAMPLE, start)), newline="")))
    breed = [column.name for column in columns()].index("breed")
    assert {row[breed] for row in rows} == {f"'{start}"}


def test_quotes_and_lines_in_texts_survive() -> None:
    breed = 'a "b", c\r\nd'
    rows = list(csv.reader(io.StringIO(csv_rows(with_breed(SAMPLE, breed)), newline="")))
    assert {row[[c.name for c in columns()].index("breed")] for row in rows} == {breed}


def test_nobody_is_named() -> None:
    patient = SAMPLE.record.patient
    assert patient is not None
    for name in (patient.name, str(OWNER.name), str(OWNER.email)):
        assert name not in csv_rows(SAMPLE)


def moved(document: Outgoing, due: str) -> Outgoing:
    """The record amended: its step is due on another day."""
    item = document.record.plan[0].model_copy(update={"due": due})
    last = document.signatures[-1]
    second = Signature.model_validate({**last.model_dump(), "version": 2, "reason": "another day"})
    return document.model_copy(
        update={
            "record": document.record.model_copy(update={"plan": (item, *document.record.plan[1:])}),
            "signatures": (last, second),
        }
    )


def test_a_moved_day_updates_its_event() -> None:
    """RFC 5545: a whole day is VALUE=DATE, the UID stays, SEQUENCE counts up; lines end with CRLF and hold 75 octets at most."""
    first = outgoing([signed("Ears red. Recheck in ten days.")])
    one, two = (calendar([document]) for document in (first, moved(first, "2026-03-25")))
    assert b"DTSTART;VALUE=DATE:20260319\r\n" in one
    before, after = (Calendar.from_ical(data).walk("VEVENT")[0] for data in (one, two))
    assert before["UID"] == after["UID"]
    assert (before["SEQUENCE"], after["SEQUENCE"]) == (0, 1)
    assert str(after.decoded("DTSTART")) == "2026-03-25"
    assert RECORD_ID in str(before["UID"])
    assert max(len(line) for line in two.split(b"\r\n")) <= 75


def test_what_was_taken_out_is_cancelled() -> None:
    document = moved(outgoing([signed("Ears red. Recheck in ten days.")]), "2026-03-19")
    item = document.record.plan[0].model_copy(update={"superseded": True})
    record = document.record.model_copy(update={"plan": (item,)})
    event = Calendar.from_ical(calendar([document.model_copy(update={"record": record})])).walk("VEVENT")[0]
    assert event["STATUS"] == "CANCELLED"


def test_a_drafts_days_are_tentative() -> None:
    document = outgoing([signed("Ears red. Recheck in ten days.")])
    draft = outgoing_draft(document.record, document.at)
    assert b"STATUS:TENTATIVE" in calendar([draft])
