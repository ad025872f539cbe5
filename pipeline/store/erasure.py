"""Erasing an owner's personal data: what goes, what has to stay, and where it was said aloud.

The clinical record is the animal's and is kept as law and local rules ask; it names no owner but for what was said aloud in the
examination. So the owner's own data go, the records stay, and whoever decides is told which of them speak of the owner.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime

from sqlalchemy import Connection, literal, select, text

from pipeline.record import ExamRecord
from pipeline.review import Review
from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.errors import NotFoundError
from pipeline.store.model import Actor, Client, Identifier
from pipeline.store.patients import erase_client, kept_client
from pipeline.store.records import read_body
from pipeline.store.tables import client, patient, record, record_version, recording, visit

_SHORTEST_WORD = 3
_AROUND = 30


class Spoken(Frozen):
    """A place in a record where words of the owner's name, number or e-mail were said; of a draft `version` is 0."""

    record_id: Identifier
    version: int
    words: str
    start_s: float | None


class Remains(Frozen):
    """What stays when an owner's data go."""

    owner: Client
    patients: tuple[Identifier, ...]
    records: int
    recordings: int
    spoken: tuple[Spoken, ...]


def remains_of(database: Database, actor: Actor, client_id: str) -> Remains:
    """What would stay, and where the owner is spoken of. Raises NotFoundError."""
    with database.reading() as connection:
        row = connection.execute(
            select(client).where(client.c.id == client_id, client.c.practice_id == actor.practice_id)
        ).one_or_none()
        if row is None:
            raise NotFoundError("There is no such owner in this practice.")
        owner = kept_client(row)
        animals = tuple(
            connection.execute(select(patient.c.id).where(patient.c.client_id == client_id)).scalars()
        )
        visits = list(connection.execute(select(visit.c.id).where(visit.c.patient_id.in_(animals))).scalars())
        records = list(connection.execute(select(record.c.id).where(record.c.visit_id.in_(visits))).scalars())
        sounds = (
            connection.execute(select(recording.c.id).where(recording.c.visit_id.in_(visits))).scalars().all()
        )
        return Remains(
            owner=owner,
            patients=animals,
            records=len(records),
            recordings=len(sounds),
            spoken=tuple(_spoken(connection, owner, records)),
        )


def erase_owner(database: Database, actor: Actor, client_id: str, reason: str, at: datetime) -> None:
    """Remove an owner's personal data, and their traces in the free room of the database.

    Raises NotFoundError, EntryError, DatabaseError.
    """
    erase_client(database, actor, client_id, reason, at)
    scrub(database)


def scrub(database: Database) -> None:
    """Take out of the files what was deleted in the tables: a deleted row's bytes stay where they were until then.

    SQLite: the index of words is made anew, freed pages are overwritten (`secure_delete`) and the log is emptied. PostgreSQL:
    the room is given free and overwritten in time; its own log and backups follow their own rules.
    """
    if database.is_sqlite:
        with database.writing() as connection:
            connection.execute(text("INSERT INTO findable_words(findable_words) VALUES ('optimize')"))
        with database.engine.connect() as connection:
            connection.connection.driver_connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # type: ignore[union-attr]
        return
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("VACUUM client, findable"))


def _spoken(connection: Connection, owner: Client, records: list[str]) -> Iterator[Spoken]:
    wanted = _words(owner)
    if wanted is None:
        return
    drafts = select(record.c.id, literal(0).label("version"), record.c.review).where(
        record.c.id.in_(records), record.c.review.is_not(None)
    )
    versions = (
        select(record_version.c.record_id, record_version.c.version, record_version.c.body)
        .where(record_version.c.record_id.in_(records))
        .order_by(record_version.c.record_id, record_version.c.version)
    )
    for record_id, version, body in (*connection.execute(drafts), *connection.execute(versions)):
        name = f"Version {version} of record {record_id}"
        said = read_body(ExamRecord, body, name) if version else read_body(Review, body, name).original
        text_said, words = said.transcript.text, said.transcript.words
        for found in wanted.finditer(text_said):
            around = text_said[max(0, found.start() - _AROUND) : found.end() + _AROUND]
            at = next((word.start_s for word in words if word.end_char > found.start()), None)
            yield Spoken(record_id=record_id, version=version, words=" ".join(around.split()), start_s=at)


def _words(owner: Client) -> re.Pattern[str] | None:
    """What to look for: each longer word of the name, the e-mail, and the digits of the number however they are grouped."""
    parts = [re.escape(word) for word in re.findall(r"\w+", owner.name or "") if len(word) >= _SHORTEST_WORD]
    if owner.email:
        parts.append(re.escape(owner.email))
    digits = re.sub(r"\D", "", owner.phone or "")
    if len(digits) > 2 * _SHORTEST_WORD:
        parts.append(r"\D?".join(digits))
    return re.compile(rf"\b(?:{'|'.join(parts)})\b", re.IGNORECASE) if parts else None
