"""Checks the trail and what it speaks of: finds events, signed versions and records that were altered, removed or put in.

The trail says what there must be: this follows it event by event, holds it against the anchors outside the database, and then
holds the tables against it. What it says of no table is not checked: owners' and patients' data may change and be erased.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, LargeBinary, String, select, type_coerce

from pipeline.speech.model import Frozen
from pipeline.store.anchors import Anchored, after_restores, deed_words
from pipeline.store.database import Database
from pipeline.store.records import signature_of, stored_sha256
from pipeline.store.stamps import sha256
from pipeline.store.tables import event, patient, person, practice, record, record_version, unpack, visit
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
    lines, faults = database.anchors.read()
    told = _Told(after_restores(lines))
    with database.reading() as connection:
        faults += _faults(connection, told)
    return Audited(
        faults=tuple(faults),
        practices=len(told.practices),
        events=told.events,
        versions=len(told.signed),
        anchored=len(lines),
    )


def _faults(connection: Connection, told: _Told) -> Iterator[str]:
    for row in connection.execute(select(practice).order_by(practice.c.id)):
        told.practices.add(row.id)
        yield from _chain(connection, row.id, row.trail_seq, row.trail_sha256, told)
    strangers = set(connection.execute(select(event.c.practice_id).distinct()).scalars()) - told.practices
    for practice_id in sorted(strangers):
        yield f"The trail of practice {practice_id} has events, but the practice itself is gone."
    for practice_id in sorted({line.practice for line in told.lines} - told.practices - strangers):
        yield f"Practice {practice_id} was anchored and is not in this database."
    yield from _people(connection, told)
    yield from _visits(connection, told)
    yield from _versions(connection, told)
    yield from _records(connection, told)


class _Told:
    """What the trail says there must be."""

    def __init__(self, lines: list[Anchored]) -> None:
        self.lines = lines
        self.events = 0
        self.practices: set[str] = set()
        self.people: dict[str, tuple[str, str, bool]] = {}
        self.patients: set[str] = set()
        self.visits: dict[str, dict[str, object]] = {}
        self.signed: dict[tuple[str, int], dict[str, object]] = {}
        self.state: dict[str, str] = {}
        self.of_visit: dict[str, str] = {}
        self.draft: dict[str, str | None] = {}
        self.aside: dict[str, str] = {}

    def take(self, row: Any, detail: dict[str, Any]) -> None:
        """Follow one event."""
        if not isinstance(detail, dict):
            raise TypeError("the detail of an event is an object")
        action, subject = row["action"], row["subject"]
        match action:
            case "add_person":
                self.people[subject] = (str(detail["name"]), str(detail["role"]), True)
            case "retire_person":
                self.people[subject] = (*self.people[subject][:2], False)
            case "add_patient":
                self.patients.add(subject)
            case "open_visit":
                self.visits[subject] = detail
            case "keep_record" | "keep_draft" | "amend":
                self.state[subject], self.draft[subject] = "draft", str(detail["review"])
                if action == "keep_record":
                    self.of_visit[subject] = str(detail["visit"])
            case "sign":
                signed = {**detail, "at": row["at"], "by": row["person_id"]}
                self.signed[subject, int(detail["version"])] = signed
                self.state[subject], self.draft[subject] = "signed", None
            case "file":
                self.state[subject] = "filed"
            case "leave_amendment":
                self.state[subject], self.draft[subject] = str(detail["state"]), None
            case "set_aside":
                self.aside[subject] = str(row["at"])
            case "take_up":
                self.aside.pop(subject, None)


def _chain(
    connection: Connection, practice_id: str, last: int, last_sha256: str, told: _Told
) -> Iterator[str]:
    anchored = {line.seq: line for line in told.lines if line.practice == practice_id}
    expected, previous, anew = 1, BEGINNING, False
    rows = connection.execute(
        select(event).where(event.c.practice_id == practice_id).order_by(event.c.seq)
    ).yield_per(1000)
    for row in rows.mappings():
        told.events += 1
        seq = row["seq"]
        place = f"Event {seq} of practice {practice_id}"
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
        except (ValueError, KeyError, TypeError):
            yield f"{place} ({row['action']}) cannot be read."
        if not anew and seq in anchored and anchored[seq].sha256 != row["sha256"]:
            anew = True
            yield f"{place} is not the one that was anchored at {anchored[seq].at}: the trail was written anew."
        expected, previous = seq + 1, row["sha256"]
    if (expected - 1, previous) != (last, last_sha256):
        yield (
            f"The trail of practice {practice_id} ends at event {expected - 1}, and the practice's own row says"
            f" {last}: events at the end were removed or put in, or the row was altered."
        )
    gone = [line for seq, line in sorted(anchored.items()) if seq >= expected]
    if gone:
        yield (
            f"The trail of practice {practice_id} ends at event {expected - 1}, and events until {gone[-1].seq}"
            f" ({gone[-1].at}) were anchored: the end was cut off, or an older backup was restored. What is"
            f" missing: {deed_words(deed for line in gone for deed in line.did)}."
        )


def _people(connection: Connection, told: _Told) -> Iterator[str]:
    missing = set(told.people)
    for row in connection.execute(select(person)):
        missing.discard(row.id)
        if row.id not in told.people:
            yield f"Person {row.id} is not in the trail: they were put in."
        elif (row.name, row.role, row.active) != told.people[row.id]:
            yield f"Name, role or access of person {row.id} is not what the trail says: it was altered."
    for person_id in sorted(missing):
        yield f"Person {person_id} is in the trail and is gone."


def _visits(connection: Connection, told: _Told) -> Iterator[str]:
    missing, animals = set(told.visits), set(told.patients)
    animals.difference_update(connection.execute(select(patient.c.id)).scalars())
    for patient_id in sorted(animals):
        yield f"Patient {patient_id} is in the trail and is gone."
    columns = [column for column in visit.c if column.name != "on_day"]
    day = type_coerce(visit.c.on_day, String).label("on_day")  # as it stands: what is no day is a fault, too
    for row in connection.execute(select(*columns, day)).yield_per(1000):
        missing.discard(row.id)
        said = told.visits.get(row.id)
        if said is None:
            yield f"Visit {row.id} is not in the trail: it was put in."
        elif (row.patient_id, row.kind, str(row.on_day)) != (
            said.get("patient"),
            said.get("kind"),
            said.get("on"),
        ):
            yield f"Patient, kind or day of visit {row.id} is not what the trail says: it was altered."
    for visit_id in sorted(missing):
        yield f"Visit {visit_id} is in the trail and is gone."


def _versions(connection: Connection, told: _Told) -> Iterator[str]:
    missing = set(told.signed)
    columns = [column for column in record_version.c if column.name not in ("body", "review")]
    raw = (
        type_coerce(record_version.c.body, LargeBinary).label("body"),
        type_coerce(record_version.c.review, LargeBinary).label("review"),
    )
    for row in connection.execute(select(*columns, *raw)).yield_per(200):
        name = f"Version {row.version} of record {row.record_id}"
        said = told.signed.get((row.record_id, row.version))
        missing.discard((row.record_id, row.version))
        if said is None:
            yield f"{name} has no signature in the trail: it was put in."
            continue
        if not _as_signed(row, said):
            yield f"{name} is not what was signed: it was altered."
        by = told.people.get(str(said.get("by")))
        if (row.signed_by, row.signed_name, row.signed_at, row.reason or "") != (
            said.get("by"),
            by[0] if by is not None else None,
            said.get("at"),
            said.get("reason"),
        ):
            yield f"{name}: who signed it, when, or why is not what the trail says: it was altered."
    for record_id, version in sorted(missing):
        yield f"Version {version} of record {record_id} was signed and is gone."


def _as_signed(row: Any, said: dict[str, object]) -> bool:
    """Whether a version is, byte by byte, what its signature in the trail covers."""
    if not isinstance(row.body, bytes) or not isinstance(row.review, bytes):
        return False
    if stored_sha256(row.body, row.review) != said.get("stored"):
        return False
    return bool(row.sha256 == said.get("sha256") == signature_of(unpack(row.body), unpack(row.review)))


def _records(connection: Connection, told: _Told) -> Iterator[str]:
    missing = set(told.state)
    last: dict[str, int] = {}
    for record_id, version in told.signed:
        last[record_id] = max(version, last.get(record_id, 0))
    for row in connection.execute(select(record)).yield_per(200):
        missing.discard(row.id)
        if row.id not in told.state:
            yield f"Record {row.id} is not in the trail: it was put in."
            continue
        if row.state != told.state[row.id]:
            yield f"Record {row.id} is {row.state} and by the trail {told.state[row.id]}: it was altered."
        elif (sha256(row.review) if row.review is not None else None) != told.draft.get(row.id):
            yield f"The draft of record {row.id} is not what was written last: it was altered."
        if (row.visit_id, row.version) != (told.of_visit.get(row.id), last.get(row.id, 0)):
            yield f"Visit or version of record {row.id} is not what the trail says: it was altered."
        if row.set_aside_at != told.aside.get(row.id):
            yield f"Since when record {row.id} is set aside is not what the trail says: it was altered."
    for record_id in sorted(missing):
        yield f"Record {record_id} is in the trail and is gone."
