"""Finds owners, patients and signed records again by any of their words, and a patient's earlier examinations and values."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from datetime import date
from typing import Any, Literal

from sqlalchemy import (
    ColumnElement,
    Connection,
    Integer,
    Select,
    column,
    delete,
    func,
    insert,
    literal_column,
    select,
    table,
    text,
    update,
)

from pipeline.extraction.model import Measurement
from pipeline.record import ExamRecord, Patient
from pipeline.record.model import VisitKind
from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.model import Actor, Client, Identifier, PastValue, RecordState, SignedVersion
from pipeline.store.tables import findable, measured, record, visit

Kind = Literal["client", "patient", "record"]
_MOST_WORDS = 12
_SCATTERED = text("SET LOCAL random_page_cost = 1.1")
"""To the server: rows lie in memory or on a disk without moving parts. By its default it would rather go through them all."""

_NEWEST = 3000
"""So many rows are looked through one by one, some ten microseconds each."""

_INDEX = table("findable_words", column("rowid", Integer))


class Hit(Frozen):
    """Something found: an owner, a patient or a signed record, by its identifier."""

    kind: Kind
    id: Identifier


class PastVisit(Frozen):
    """A visit of a patient, with its record where one was kept."""

    visit_id: Identifier
    on: date
    kind: VisitKind
    record_id: Identifier | None
    state: RecordState | None
    version: int | None


def search(
    database: Database, actor: Actor, words: str, kind: Kind | None = None, limit: int = 50
) -> tuple[Hit, ...]:
    """What holds all of the words, or words that begin so; the newest first, at most `limit`. Accents and case do not count.

    Empty when no word was given.
    """
    wanted = plain_words(words)[:_MOST_WORDS]
    if not wanted:
        return ()
    chosen = select(findable.c.kind, findable.c.subject).where(findable.c.practice_id == actor.practice_id)
    if kind is not None:
        # Written out: the server uses its index of people's words only where it sees which kind is asked for.
        chosen = chosen.where(findable.c.kind == literal_column(f"'{kind}'"))
    newest: ColumnElement[int] = findable.c.number
    if database.is_sqlite:
        # In the order of the index itself, so that a word that all have is not read to its end.
        newest = _INDEX.c.rowid
        asked = " ".join(f'"{word}"*' for word in wanted)
        chosen = chosen.join(_INDEX, newest == findable.c.number).where(
            literal_column("findable_words").op("MATCH")(asked)
        )
    else:
        asked = " & ".join(f"{word}:*" for word in wanted)
        vector: ColumnElement[str] = literal_column("findable.findable_words_vector")
        query = func.to_tsquery(literal_column("'simple'::regconfig"), asked)
        chosen = chosen.where(vector.op("@@")(query))
    newest_first = chosen.order_by(newest.desc()).limit(limit)
    with database.reading() as connection:
        if not database.is_sqlite:
            return _found_by_server(connection, chosen, kind, limit)
        return _hits(connection.execute(newest_first).all())


def _found_by_server(
    connection: Connection, chosen: Select[tuple[str, str]], kind: Kind | None, limit: int
) -> tuple[Hit, ...]:
    """What a server finds, the newest first. It cannot tell beforehand whether a beginning of a word is rare or common.

    A common one is found among the newest rows; for one that is not, the index of words is asked for all that have it. Left to
    itself the server would look for a rare one through all records from the newest back.
    """
    connection.execute(_SCATTERED)
    newest_first = chosen.order_by(findable.c.number.desc()).limit(limit)
    if kind in ("client", "patient"):
        return _hits(connection.execute(newest_first).all())
    last = select(func.max(findable.c.number)).scalar_subquery()
    found = connection.execute(newest_first.where(findable.c.number > last - _NEWEST)).all()
    if len(found) == limit:
        return _hits(found)
    every = chosen.add_columns(findable.c.number).cte("every").prefix_with("MATERIALIZED")
    every_first = select(every.c.kind, every.c.subject).order_by(every.c.number.desc()).limit(limit)
    return _hits(connection.execute(every_first).all())


def _hits(rows: Iterable[Any]) -> tuple[Hit, ...]:
    return tuple(Hit(kind=row.kind, id=row.subject) for row in rows)


def visits_of(database: Database, actor: Actor, patient_id: str, limit: int = 100) -> tuple[PastVisit, ...]:
    """A patient's visits, the last first; empty for a patient of another practice."""
    with database.reading() as connection:
        rows = connection.execute(
            select(
                visit.c.id,
                visit.c.on_day,
                visit.c.kind,
                record.c.id.label("record_id"),
                record.c.state,
                record.c.version,
            )
            .select_from(
                visit.outerjoin(record, (record.c.visit_id == visit.c.id) & record.c.set_aside_at.is_(None))
            )
            .where(visit.c.patient_id == patient_id, visit.c.practice_id == actor.practice_id)
            .order_by(visit.c.on_day.desc(), visit.c.id.desc())
            .limit(limit)
        ).all()
    return tuple(
        PastVisit(
            visit_id=row.id,
            on=row.on_day,
            kind=row.kind,
            record_id=row.record_id,
            state=row.state,
            version=row.version,
        )
        for row in rows
    )


def values_of(
    database: Database, actor: Actor, patient_id: str, kind: str, limit: int = 100
) -> tuple[PastValue, ...]:
    """The values of one kind in a patient's signed records, each record's last version, the first measured first."""
    with database.reading() as connection:
        rows = connection.execute(
            select(measured.c.on_day, measured.c.value, measured.c.unit, measured.c.out_of)
            .select_from(
                measured.join(
                    record, (record.c.id == measured.c.record_id) & (record.c.version == measured.c.version)
                )
            )
            .where(
                measured.c.patient_id == patient_id,
                measured.c.kind == kind,
                record.c.practice_id == actor.practice_id,
            )
            .order_by(measured.c.on_day.desc(), measured.c.record_id.desc(), measured.c.number.desc())
            .limit(limit)
        ).all()
    return tuple(
        PastValue(on=row.on_day, value=row.value, unit=row.unit, out_of=row.out_of) for row in reversed(rows)
    )


# --- kept in step by the functions that write ---------------------------------------------------------


def make_client_findable(
    connection: Connection, practice_id: str, client: Client, *, new: bool = False
) -> None:
    """By name, telephone, e-mail and address; an erased owner by nothing. `new`: nothing stands there yet."""
    if client.erased:
        connection.execute(delete(findable).where(findable.c.subject == client.id))
        return
    words = (client.name, client.phone, client.email, client.address)
    said = " ".join(word for word in words if word)
    _make_findable(connection, practice_id, "client", client.id, said, new=new)


def make_patient_findable(
    connection: Connection, practice_id: str, patient_id: str, animal: Patient, *, new: bool = False
) -> None:
    """By name, species, breed and microchip. `new`: nothing stands there yet."""
    words = (animal.name, animal.species, animal.breed, animal.microchip)
    said = " ".join(word for word in words if word)
    _make_findable(connection, practice_id, "patient", patient_id, said, new=new)


def make_record_findable(
    connection: Connection, practice_id: str, patient_id: str, on: date, version: SignedVersion
) -> None:
    """By what was found and all that was said; its values by kind and day."""
    signed = version.record
    labels = (finding.label for finding in signed.findings if finding.assertion != "absent")
    words = " ".join((*labels, signed.transcript.text))
    _make_findable(connection, practice_id, "record", version.record_id, words)
    rows = [
        {
            "record_id": version.record_id,
            "version": version.version,
            "number": number,
            "patient_id": patient_id,
            "on_day": on,
            "kind": value.kind,
            "value": value.value,
            "unit": value.unit,
            "out_of": value.out_of,
        }
        for number, value in enumerate(_standing(signed))
    ]
    if rows:
        connection.execute(insert(measured), rows)


def _standing(signed: ExamRecord) -> list[Measurement]:
    return [
        value
        for value in signed.measurements
        if value.when == "now" and not value.superseded and isinstance(value.value, float)
    ]


def _make_findable(
    connection: Connection, practice_id: str, kind: Kind, subject: str, said: str, *, new: bool = False
) -> None:
    words = " ".join(plain_words(said))
    change = update(findable).where(findable.c.subject == subject).values(words=words)
    if new or not connection.execute(change).rowcount:
        connection.execute(
            insert(findable).values(practice_id=practice_id, kind=kind, subject=subject, words=words)
        )


def plain_words(said: str) -> list[str]:
    """Letters and digits, lower case, without accents: the same on both databases."""
    plain = unicodedata.normalize("NFKD", said.casefold())
    return re.findall(r"[^\W_]+", "".join(c for c in plain if not unicodedata.combining(c)))
