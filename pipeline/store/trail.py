"""The audit trail: every change of a practice's data is an event, each bound to the one before by SHA-256.

An event's checksum covers the checksum of the event before it, so that none can be altered, removed or put in between without
every later one failing (a hash chain, as in ISO 27789's tamper evidence and older notarial journals; the form is ours). The
practice's row keeps the last number and checksum, which tells when events are cut off at the end; being locked by every
writer, it also puts the writers of one practice in order.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from pipeline.store.database import Database
from pipeline.store.errors import NotFoundError
from pipeline.store.model import Actor
from pipeline.store.stamps import canonical, sha256, stamp
from pipeline.store.tables import event, practice

BEGINNING = "0" * 64
"""What the first event of a practice is bound to."""


def event_sha256(values: dict[str, object]) -> str:
    """Checksum of an event: of its canonical JSON, all columns but the checksum itself."""
    return sha256(canonical({name: value for name, value in values.items() if name != "sha256"}))


@dataclass
class Change:
    """One transaction of one person: what is written through `connection`, and the events that tell of it."""

    connection: Connection
    actor: Actor
    at: datetime
    _seq: int
    _previous: str
    events: list[dict[str, object]] = field(default_factory=list)

    def note(self, action: str, subject: str, **detail: object) -> None:
        """Add an event. `detail` is kept for ever: identifiers, checksums and reasons, never an owner's data."""
        self._seq += 1
        values: dict[str, object] = {
            "practice_id": self.actor.practice_id,
            "seq": self._seq,
            "at": stamp(self.at),
            "person_id": self.actor.person_id,
            "action": action,
            "subject": subject,
            "detail": canonical(detail),
            "previous": self._previous,
        }
        self._previous = event_sha256(values)
        self.events.append({**values, "sha256": self._previous})

    def close(self) -> None:
        """Write the events and the practice's new last one."""
        if not self.events:
            return
        self.connection.execute(insert(event), self.events)
        self.connection.execute(
            update(practice)
            .where(practice.c.id == self.actor.practice_id)
            .values(trail_seq=self._seq, trail_sha256=self._previous)
        )


@contextmanager
def change(database: Database, actor: Actor, at: datetime) -> Iterator[Change]:
    """A transaction whose changes and events are kept together or not at all. Writers of one practice come one by one.

    Raises NotFoundError when there is no such practice.
    """
    with database.writing() as connection:
        made = begin(connection, actor, at)
        yield made
        made.close()
    database.anchors.keep(made.events)


def begin(connection: Connection, actor: Actor, at: datetime) -> Change:
    """A change within a transaction that the caller ends; its `close` writes the events. Raises NotFoundError."""
    row = connection.execute(
        select(practice.c.trail_seq, practice.c.trail_sha256)
        .where(practice.c.id == actor.practice_id)
        .with_for_update()
    ).one_or_none()
    if row is None:
        raise NotFoundError("There is no such practice in this database.")
    return Change(connection, actor, at, row.trail_seq, row.trail_sha256)
