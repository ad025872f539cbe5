"""Checks the trail and what it speaks of: finds events and signed versions that were altered, removed or put in by other hands."""

from __future__ import annotations

import json
from collections.abc import Iterator

from sqlalchemy import Connection, select

from pipeline.store.database import Database
from pipeline.store.records import signature_of
from pipeline.store.stamps import sha256
from pipeline.store.tables import event, practice, record, record_version
from pipeline.store.trail import BEGINNING, event_sha256


def audit(database: Database) -> tuple[str, ...]:
    """Every fault found, as a sentence; empty when all is as it was written."""
    with database.reading() as connection:
        return tuple(_faults(connection))


def _faults(connection: Connection) -> Iterator[str]:
    told = _Told()
    for row in connection.execute(select(practice).order_by(practice.c.id)):
        yield from _chain(connection, row.id, row.trail_seq, row.trail_sha256, told)
    known = set(connection.execute(select(practice.c.id)).scalars())
    strangers = set(connection.execute(select(event.c.practice_id).distinct()).scalars()) - known
    for practice_id in sorted(strangers):
        yield f"The trail of practice {practice_id} has events, but the practice itself is gone."
    yield from _versions(connection, told)
    yield from _records(connection, told)


class _Told:
    """What the trail says there must be."""

    def __init__(self) -> None:
        self.signed: dict[tuple[str, int], str] = {}
        self.state: dict[str, str] = {}
        self.draft: dict[str, str | None] = {}

    def take(self, action: str, subject: str, detail: dict[str, object]) -> None:
        """Follow one event."""
        if action in ("keep_record", "keep_draft", "amend"):
            self.state[subject], self.draft[subject] = "draft", str(detail["review"])
        elif action == "sign":
            self.signed[subject, int(str(detail["version"]))] = str(detail["sha256"])
            self.state[subject], self.draft[subject] = "signed", None
        elif action == "file":
            self.state[subject] = "filed"


def _chain(
    connection: Connection, practice_id: str, last: int, last_sha256: str, told: _Told
) -> Iterator[str]:
    expected, previous = 1, BEGINNING
    rows = connection.execute(
        select(event).where(event.c.practice_id == practice_id).order_by(event.c.seq)
    ).yield_per(1000)
    for row in rows.mappings():
        seq = row["seq"]
        place = f"Event {seq} of practice {practice_id}"
        if seq != expected:
            yield f"{place} follows on event {expected - 1}: events between them were removed."
        elif row["previous"] != previous:
            yield f"{place} is not bound to the event before it: one of them was altered or put in."
        if event_sha256(dict(row)) != row["sha256"]:
            yield f"{place} ({row['action']}) was altered."
        expected, previous = seq + 1, row["sha256"]
        try:
            told.take(row["action"], row["subject"], json.loads(row["detail"]))
        except (ValueError, KeyError, TypeError):
            yield f"{place} ({row['action']}) cannot be read."
    if (expected - 1, previous) != (last, last_sha256):
        yield (
            f"The trail of practice {practice_id} ends at event {expected - 1}, and the practice's own row says"
            f" {last}: events at the end were removed or put in, or the row was altered."
        )


def _versions(connection: Connection, told: _Told) -> Iterator[str]:
    missing = dict(told.signed)
    for row in connection.execute(select(record_version)).yield_per(200):
        name = f"Version {row.version} of record {row.record_id}"
        signed = missing.pop((row.record_id, row.version), None)
        if signed is None:
            yield f"{name} has no signature in the trail: it was put in."
        elif signature_of(row.body, row.review) != signed or row.sha256 != signed:
            yield f"{name} is not what was signed: it was altered."
    for record_id, version in sorted(missing):
        yield f"Version {version} of record {record_id} was signed and is gone."


def _records(connection: Connection, told: _Told) -> Iterator[str]:
    missing = set(told.state)
    for row in connection.execute(select(record)).yield_per(200):
        missing.discard(row.id)
        if row.id not in told.state:
            yield f"Record {row.id} is not in the trail: it was put in."
        elif row.state != told.state[row.id]:
            yield f"Record {row.id} is {row.state} and by the trail {told.state[row.id]}: it was altered."
        elif (sha256(row.review) if row.review is not None else None) != told.draft[row.id]:
            yield f"The draft of record {row.id} is not what was written last: it was altered."
    for record_id in sorted(missing):
        yield f"Record {record_id} is in the trail and is gone."
