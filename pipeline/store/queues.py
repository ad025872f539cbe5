"""What waits at the desk and since when: drafts for a signature, signed records for the file. The longest wait comes first."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import cast

from pydantic import AwareDatetime
from sqlalchemy import and_, case, func, literal, or_, select

from pipeline.record.model import VisitKind
from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.model import Actor, Identifier, RecordLine, RecordState
from pipeline.store.tables import client, patient, record, record_version, visit


class Waiting(RecordLine):
    """A record that waits; `since` is when it was written down, or signed. `signed_by` is null for a first draft."""

    since: AwareDatetime
    signed_by: str | None
    owner: str | None
    microchip: str | None


def waiting(
    database: Database,
    actor: Actor,
    state: RecordState,
    *,
    kind: VisitKind | None = None,
    name: str = "",
    limit: int = 50,
    offset: int = 0,
    aside: bool = False,
) -> tuple[Waiting, ...]:
    """Records of a state; filed ones with the last first.

    Drafts that were set aside only where `aside`, and they alone. `name` narrows to patients or owners whose name begins so.
    """
    chosen = (
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
            patient.c.microchip,
            client.c.name.label("owner"),
            record_version.c.signed_name.label("signed_by"),
            record_version.c.signed_at,
        )
        .select_from(
            record.join(visit, visit.c.id == record.c.visit_id)
            .join(patient, patient.c.id == visit.c.patient_id)
            .outerjoin(client, client.c.id == patient.c.client_id)
            .outerjoin(
                record_version,
                and_(record_version.c.record_id == record.c.id, record_version.c.version == record.c.version),
            )
        )
        .where(
            record.c.practice_id == actor.practice_id,
            record.c.state == state,
            record.c.set_aside_at.is_not(None) if aside else record.c.set_aside_at.is_(None),
        )
    )
    if kind is not None:
        chosen = chosen.where(visit.c.kind == kind)
    if name.strip():
        begun = f"{_literal(name.strip().lower())}%"
        chosen = chosen.where(
            or_(
                func.lower(patient.c.name).like(begun, escape="\\"),
                func.lower(client.c.name).like(begun, escape="\\"),
                func.lower(client.c.name).like(f"% {begun}", escape="\\"),
                patient.c.microchip.like(begun, escape="\\"),
            )
        )
    since = case((record.c.state == "draft", literal("")), else_=record_version.c.signed_at)
    order = (since.desc(), record.c.id.desc()) if state == "filed" else (since, record.c.id)
    with database.reading() as connection:
        rows = connection.execute(chosen.order_by(*order).limit(limit).offset(offset)).all()
    return tuple(
        Waiting.model_validate(
            {
                **{name: value for name, value in row._mapping.items() if name != "signed_at"},
                "since": _made_at(row.id) if state == "draft" else datetime.fromisoformat(row.signed_at),
            }
        )
        for row in rows
    )


class OpenVisit(Frozen):
    """A visit of which no record is kept yet."""

    id: Identifier
    patient_id: Identifier
    kind: VisitKind
    on: date
    patient: str
    species: str
    owner: str | None


def open_visits(
    database: Database, actor: Actor, since: date, patient_id: str | None = None, limit: int = 100
) -> tuple[OpenVisit, ...]:
    """Visits from that day on without a record, the last first; of one patient where it is named."""
    chosen = (
        select(
            visit.c.id,
            visit.c.patient_id,
            visit.c.kind,
            visit.c.on_day.label("on"),
            patient.c.name.label("patient"),
            patient.c.species,
            client.c.name.label("owner"),
        )
        .select_from(
            visit.join(patient, patient.c.id == visit.c.patient_id)
            .outerjoin(client, client.c.id == patient.c.client_id)
            .outerjoin(record, record.c.visit_id == visit.c.id)
        )
        .where(visit.c.practice_id == actor.practice_id, visit.c.on_day >= since, record.c.id.is_(None))
    )
    if patient_id is not None:
        chosen = chosen.where(visit.c.patient_id == patient_id)
    last_first = chosen.order_by(visit.c.on_day.desc(), visit.c.id.desc()).limit(limit)
    with database.reading() as connection:
        rows = connection.execute(last_first).all()
    return tuple(OpenVisit.model_validate(dict(row._mapping)) for row in rows)


def counts(database: Database, actor: Actor) -> dict[RecordState, int]:
    """How many records of each state there are, without drafts that were set aside."""
    with database.reading() as connection:
        rows = connection.execute(
            select(record.c.state, func.count())
            .where(record.c.practice_id == actor.practice_id, record.c.set_aside_at.is_(None))
            .group_by(record.c.state)
        ).all()
    found: dict[RecordState, int] = {"draft": 0, "signed": 0, "filed": 0}
    for state, count in rows:
        found[cast("RecordState", state)] = int(count)
    return found


def _made_at(identifier: str) -> datetime:
    """When a row was made: its identifier begins with the milliseconds since 1970."""
    return datetime.fromtimestamp(int(identifier[:12], 16) / 1000, UTC)


def _literal(text: str) -> str:
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
