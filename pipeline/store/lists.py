"""Lists of what there is: records by how far they are, an owner's patients, the trail of one thing; and full identifiers."""

from __future__ import annotations

import json
import re
from datetime import date, datetime
from typing import Any, Literal

from sqlalchemy import Select, distinct, func, select

from pipeline.review import Review
from pipeline.store.database import Database
from pipeline.store.errors import EntryError, NotFoundError
from pipeline.store.model import (
    Actor,
    DuePatient,
    KeptPatient,
    KeptVisit,
    RecordLine,
    RecordState,
    TrailEvent,
)
from pipeline.store.patients import kept_patient
from pipeline.store.records import signed_review
from pipeline.store.tables import client, event, patient, person, record, visit

Thing = Literal["owner", "patient", "visit", "record", "person"]
"""What an identifier can be of."""

_TABLES = {"owner": client, "patient": patient, "visit": visit, "record": record, "person": person}
_LENGTH = 32
_FEWEST = 4


def full_id(database: Database, actor: Actor, thing: Thing, beginning: str) -> str:
    """The identifier that begins so, among those of the practice.

    Raises EntryError for what is no beginning of one or of several, NotFoundError.
    """
    begun = beginning.strip().lower()
    if not re.fullmatch(rf"[0-9a-f]{{{_FEWEST},{_LENGTH}}}", begun):
        raise EntryError(
            f"{beginning!r} is no identifier: give its first hexadecimal digits, {_FEWEST} at least."
        )
    table = _TABLES[thing]
    with database.reading() as connection:
        found = (
            connection.execute(
                select(table.c.id)
                .where(
                    table.c.practice_id == actor.practice_id,
                    table.c.id >= begun.ljust(_LENGTH, "0"),
                    table.c.id <= begun.ljust(_LENGTH, "f"),
                )
                .limit(2)
            )
            .scalars()
            .all()
        )
    if not found:
        raise NotFoundError(f"There is no {thing} {begun} in this practice.")
    if len(found) > 1:
        raise EntryError(f"Several identifiers of a {thing} begin with {begun}: give more of its digits.")
    return str(found[0])


def records_of(
    database: Database,
    actor: Actor,
    state: RecordState | None = None,
    patient_id: str | None = None,
    limit: int = 50,
) -> tuple[RecordLine, ...]:
    """Records of the practice, the newest first; of one state or one patient where given. None that was set aside."""
    chosen = _lines(actor).where(record.c.set_aside_at.is_(None))
    if state is not None:
        chosen = chosen.where(record.c.state == state)
    if patient_id is not None:
        chosen = chosen.where(visit.c.patient_id == patient_id).order_by(visit.c.on_day.desc())
    with database.reading() as connection:
        rows = connection.execute(chosen.order_by(record.c.id.desc()).limit(limit)).all()
    return tuple(_line(row) for row in rows)


def signed_records(
    database: Database, actor: Actor, after: str | None = None, limit: int = 500
) -> tuple[str, ...]:
    """Identifiers of records that stand signed or filed, in their order, those after one where it is given."""
    chosen = select(record.c.id).where(
        record.c.practice_id == actor.practice_id, record.c.state.in_(("signed", "filed"))
    )
    if after is not None:
        chosen = chosen.where(record.c.id > after)
    with database.reading() as connection:
        return tuple(connection.execute(chosen.order_by(record.c.id).limit(limit)).scalars())


def signed_between(
    database: Database, actor: Actor, since: date | None, until: date | None
) -> tuple[str, ...]:
    """Identifiers of records with a signed version, by the day of their visit: both days count, either may be open."""
    chosen = (
        select(record.c.id)
        .select_from(record.join(visit, visit.c.id == record.c.visit_id))
        .where(record.c.practice_id == actor.practice_id, record.c.version > 0)
    )
    if since is not None:
        chosen = chosen.where(visit.c.on_day >= since)
    if until is not None:
        chosen = chosen.where(visit.c.on_day <= until)
    with database.reading() as connection:
        return tuple(connection.execute(chosen.order_by(visit.c.on_day, record.c.id)).scalars())


def last_signed_review(database: Database, actor: Actor, record_id: str) -> Review:
    """The review that a record's last signed version came from, for work that shows it to nobody. Raises NotFoundError."""
    with database.reading() as connection:
        version = connection.execute(
            select(record.c.version).where(
                record.c.id == record_id, record.c.practice_id == actor.practice_id
            )
        ).scalar_one_or_none()
        if version is None:
            raise NotFoundError("There is no such record in this practice.")
        return signed_review(connection, record_id, version)


def visit_of(database: Database, actor: Actor, visit_id: str) -> KeptVisit:
    """The visit of that identifier. Raises NotFoundError."""
    with database.reading() as connection:
        row = connection.execute(
            select(visit).where(visit.c.id == visit_id, visit.c.practice_id == actor.practice_id)
        ).one_or_none()
    if row is None:
        raise NotFoundError("There is no such visit in this practice.")
    return KeptVisit(id=row.id, patient_id=row.patient_id, kind=row.kind, on=row.on_day)


def record_line(database: Database, actor: Actor, record_id: str) -> RecordLine:
    """Whose record it is, of which day, and how far it is. Raises NotFoundError."""
    with database.reading() as connection:
        row = connection.execute(_lines(actor).where(record.c.id == record_id)).one_or_none()
    if row is None:
        raise NotFoundError("There is no such record in this practice.")
    return _line(row)


def patients_of(database: Database, actor: Actor, client_id: str) -> tuple[KeptPatient, ...]:
    """An owner's animals, in the order they came."""
    with database.reading() as connection:
        rows = connection.execute(
            select(patient)
            .where(patient.c.client_id == client_id, patient.c.practice_id == actor.practice_id)
            .order_by(patient.c.id)
        ).all()
    return tuple(kept_patient(row) for row in rows)


def records_due(database: Database, actor: Actor, before: date, limit: int = 1000) -> tuple[DuePatient, ...]:
    """Patients whose last visit was before a day, those longest ago first: what the practice may want to part with."""
    last = func.max(visit.c.on_day).label("last_visit")
    with database.reading() as connection:
        rows = connection.execute(
            select(
                patient.c.id,
                patient.c.name.label("patient"),
                patient.c.species,
                last,
                func.count(distinct(record.c.id)).label("records"),
            )
            .select_from(
                patient.join(visit, visit.c.patient_id == patient.c.id).outerjoin(
                    record, record.c.visit_id == visit.c.id
                )
            )
            .where(patient.c.practice_id == actor.practice_id)
            .group_by(patient.c.id, patient.c.name, patient.c.species)
            .having(last < before)
            .order_by(last)
            .limit(limit)
        ).all()
    return tuple(DuePatient.model_validate(dict(row._mapping)) for row in rows)


def events_of(
    database: Database, actor: Actor, subject: str | None = None, limit: int = 200
) -> tuple[TrailEvent, ...]:
    """The last events of the practice's trail, or of one thing in it, the first of them first."""
    chosen = (
        select(event, func.coalesce(person.c.name, event.c.person_id).label("by"))
        .select_from(event.outerjoin(person, person.c.id == event.c.person_id))
        .where(event.c.practice_id == actor.practice_id)
        .order_by(event.c.seq.desc())
        .limit(limit)
    )
    if subject is not None:
        chosen = chosen.where(event.c.subject == subject)
    with database.reading() as connection:
        rows = connection.execute(chosen).all()
    return tuple(
        TrailEvent(
            seq=row.seq,
            at=datetime.fromisoformat(row.at),
            by=row.by,
            action=row.action,
            subject=row.subject,
            detail=json.loads(row.detail),
        )
        for row in reversed(rows)
    )


def _lines(actor: Actor) -> Select[Any]:
    return (
        select(
            record.c.id,
            record.c.state,
            record.c.version,
            visit.c.id.label("visit_id"),
            visit.c.kind,
            visit.c.on_day.label("on"),
            patient.c.id.label("patient_id"),
            patient.c.name.label("patient"),
            patient.c.species,
        )
        .select_from(
            record.join(visit, visit.c.id == record.c.visit_id).join(
                patient, patient.c.id == visit.c.patient_id
            )
        )
        .where(record.c.practice_id == actor.practice_id)
    )


def _line(row: Any) -> RecordLine:
    return RecordLine.model_validate(dict(row._mapping))
