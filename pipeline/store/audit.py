"""Checks the trail and what it speaks of: finds events, signed versions and records that were altered, removed or put in.

The trail says what there must be: this follows it event by event, holds it against the anchors outside the database, and then
holds the tables against it. What it says of no table is not checked: owners' and patients' data may change and be erased.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from typing import Any

from sqlalchemy import Connection, LargeBinary, Result, Row, Select, String, select, type_coerce

from pipeline.speech.model import Frozen
from pipeline.store.anchors import deed_words
from pipeline.store.database import Database
from pipeline.store.records import signature_of, stored_sha256
from pipeline.store.stamps import sha256
from pipeline.store.tables import event, patient, person, practice, record, record_version, unpack, visit
from pipeline.store.told import Signed, Told
from pipeline.store.trail import BEGINNING, event_sha256


class Audited(Frozen):
    """What an audit went through, and every fault as a sentence; `anchored` counts lines outside the database."""

    faults: tuple[str, ...]
    practices: int
    events: int
    versions: int
    anchored: int


def audit(database: Database) -> tuple[str, ...]:
    """Every fault found, as a sentence; empty when all is as it was written."""
    return audited(database).faults


def audited(database: Database) -> Audited:
    """Audit a database. Raises DatabaseError when it cannot be read."""
    with closing(Told()) as told:
        faults: list[str] = []
        # The anchors first: what is anchored meanwhile is in the database then.
        for line in database.anchors.lines(faults):
            told.anchor(line)
        with database.reading() as connection:
            practices = tuple(connection.execute(select(practice).order_by(practice.c.id)))
            faults += _faults(connection, practices, told)
        return Audited(
            faults=tuple(faults),
            practices=len(practices),
            events=told.events,
            versions=told.versions,
            anchored=told.anchored,
        )


def _faults(connection: Connection, practices: tuple[Row[Any], ...], told: Told) -> Iterator[str]:
    for row in practices:
        yield from _chain(connection, row, told)
    there = {row.id for row in practices}
    strangers = set(connection.execute(select(event.c.practice_id).distinct()).scalars()) - there
    for practice_id in sorted(strangers):
        yield f"The trail of practice {practice_id} has events, but the practice itself is gone."
    for practice_id in sorted(told.anchored_practices() - there - strangers):
        yield f"Practice {practice_id} was anchored and is not in this database."
    yield from _people(connection, told)
    yield from _visits(connection, told)
    yield from _versions(connection, told)
    yield from _records(connection, told)


def _chain(connection: Connection, of: Row[Any], told: Told) -> Iterator[str]:
    expected, previous, anew = 1, BEGINNING, False
    rows = connection.execute(
        select(event)
        .where(event.c.practice_id == of.id)
        .order_by(event.c.seq)
        .execution_options(yield_per=1000)
    )
    for row in rows.mappings():
        told.events += 1
        seq = row["seq"]
        place = f"Event {seq} of practice {of.id}"
        if not isinstance(seq, int):
            yield f"{place} has no number: it was altered."
            continue
        if seq != expected:
            yield f"{place} follows on event {expected - 1}: events between them were removed."
        elif row["previous"] != previous:
            yield f"{place} is not bound to the event before it: one of them was altered or put in."
        try:
            if event_sha256(dict(row)) != row["sha256"]:
                yield f"{place} ({row['action']}) was altered."
            told.take(row, json.loads(row["detail"]))
        except (ValueError, KeyError, TypeError, OverflowError, sqlite3.Error):
            yield f"{place} ({row['action']}) cannot be read."
        anchor = None if anew else told.anchor_at(of.id, seq)
        if anchor is not None and anchor[0] != row["sha256"]:
            anew = True
            yield f"{place} is not the one that was anchored at {anchor[1]}: the trail was written anew."
        expected, previous = seq + 1, row["sha256"]
    if (expected - 1, previous) != (of.trail_seq, of.trail_sha256):
        yield (
            f"The trail of practice {of.id} ends at event {expected - 1}, and the practice's own row says"
            f" {of.trail_seq}: events at the end were removed or put in, or the row was altered."
        )
    yield from _cut_off(of.id, expected, told)


def _cut_off(practice_id: str, expected: int, told: Told) -> Iterator[str]:
    """What was anchored and lies behind the end of the trail."""
    last, deeds = None, dict[tuple[str, str], None]()
    for seq, at, did in told.anchors_from(practice_id, expected):
        last = f"{seq} ({at})"
        deeds.update(dict.fromkeys(did))
    if last is not None:
        yield (
            f"The trail of practice {practice_id} ends at event {expected - 1}, and events until {last} were"
            f" anchored: the end was cut off, or an older backup was restored. What is missing: {deed_words(deeds)}."
        )


def _people(connection: Connection, told: Told) -> Iterator[str]:
    missing = set(told.people)
    for row in connection.execute(select(person)):
        missing.discard(row.id)
        if row.id not in told.people:
            yield f"Person {row.id} is not in the trail: they were put in."
        elif (row.practice_id, row.name, row.role, row.active) != told.people[row.id]:
            yield f"Name, role or access of person {row.id} is not what the trail says: it was altered."
    for person_id in sorted(missing):
        yield f"Person {person_id} is in the trail and is gone."


def _visits(connection: Connection, told: Told) -> Iterator[str]:
    for patient_id in _streamed(connection, select(patient.c.id)).scalars():
        told.off_patient(patient_id)
    for patient_id in told.left_patients():
        yield f"Patient {patient_id} is in the trail and is gone."
    columns = [column for column in visit.c if column.name != "on_day"]
    day = type_coerce(visit.c.on_day, String).label("on_day")  # as it stands: what is no day is a fault, too
    for row in _streamed(connection, select(*columns, day)):
        said = told.off_visit(row.id)
        if said is None:
            yield f"Visit {row.id} is not in the trail: it was put in."
        elif (row.practice_id, row.patient_id, row.kind, str(row.on_day)) != said:
            yield f"Patient, kind or day of visit {row.id} is not what the trail says: it was altered."
    for visit_id in told.left_visits():
        yield f"Visit {visit_id} is in the trail and is gone."


def _versions(connection: Connection, told: Told) -> Iterator[str]:
    columns = [column for column in record_version.c if column.name not in ("body", "review")]
    raw = (
        type_coerce(record_version.c.body, LargeBinary).label("body"),
        type_coerce(record_version.c.review, LargeBinary).label("review"),
    )
    for row in _streamed(connection, select(*columns, *raw)):
        name = f"Version {row.version} of record {row.record_id}"
        said = told.off_version(row.record_id, row.version)
        if said is None:
            yield f"{name} has no signature in the trail: it was put in."
            continue
        if not _as_signed(row, said):
            yield f"{name} is not what was signed: it was altered."
        by = told.people.get(said.by)
        if (row.signed_by, row.signed_name, row.signed_at, row.reason or "") != (
            said.by,
            by.name if by is not None else None,
            said.at,
            said.reason,
        ):
            yield f"{name}: who signed it, when, or why is not what the trail says: it was altered."
    for record_id, version in told.left_versions():
        yield f"Version {version} of record {record_id} was signed and is gone."


def _as_signed(row: Row[Any], said: Signed) -> bool:
    """Whether a version is, byte by byte, what its signature in the trail covers."""
    if not isinstance(row.body, bytes) or not isinstance(row.review, bytes):
        return False
    if stored_sha256(row.body, row.review) != said.stored:
        return False
    return bool(row.sha256 == said.sha256 == signature_of(unpack(row.body), unpack(row.review)))


def _records(connection: Connection, told: Told) -> Iterator[str]:
    for row in _streamed(connection, select(record)):
        said = told.off_record(row.id)
        if said is None:
            yield f"Record {row.id} is not in the trail: it was put in."
            continue
        if row.state != said.state:
            yield f"Record {row.id} is {row.state} and by the trail {said.state}: it was altered."
        elif (sha256(row.review) if row.review is not None else None) != said.draft:
            yield f"The draft of record {row.id} is not what was written last: it was altered."
        if (row.practice_id, row.visit_id, row.version) != (said.practice, said.visit, said.version):
            yield f"Visit or version of record {row.id} is not what the trail says: it was altered."
        if row.set_aside_at != said.aside:
            yield f"Since when record {row.id} is set aside is not what the trail says: it was altered."
    for record_id in told.left_records():
        yield f"Record {record_id} is in the trail and is gone."


def _streamed(connection: Connection, chosen: Select[Any]) -> Result[Any]:
    """Rows some at a time: records are many, and each is long."""
    return connection.execute(chosen.execution_options(yield_per=200))
