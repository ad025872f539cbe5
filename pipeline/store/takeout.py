"""Everything that is kept of one patient, or of one owner, as values: for whoever asks for it, or takes it elsewhere."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, select

from pipeline.review import Review
from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.errors import NotFoundError
from pipeline.store.model import Actor, Client, Identifier, KeptPaper, KeptPatient, KeptVisit, SignedVersion
from pipeline.store.patients import kept_client, kept_patient
from pipeline.store.records import read_body, read_version, signed_review
from pipeline.store.tables import (
    client,
    document,
    event,
    patient,
    person,
    record,
    record_version,
    recording,
    visit,
)
from pipeline.store.trail import Change, change


class KeptSound(Frozen):
    """A recording of a visit: where its sound lies, and the checksum it had when it was kept."""

    id: Identifier
    visit_id: Identifier
    path: str
    sha256: str
    duration_s: float


class WholeVersion(Frozen):
    """A signed version with its review: what was understood, and what became of it."""

    signed: SignedVersion
    review: Review


class WholeRecord(Frozen):
    """A record: all its signed versions, and the draft where one is open."""

    id: Identifier
    visit_id: Identifier
    state: str
    versions: tuple[WholeVersion, ...]
    draft: Review | None


class PatientFile(Frozen):
    """All that is kept of a patient. `trail` holds the events about it, its visits and records, each with who did it."""

    patient: KeptPatient
    visits: tuple[KeptVisit, ...]
    records: tuple[WholeRecord, ...]
    sounds: tuple[KeptSound, ...]
    papers: tuple[KeptPaper, ...]
    trail: tuple[dict[str, Any], ...]


class OwnerFile(Frozen):
    """All that is kept of an owner."""

    owner: Client
    patients: tuple[PatientFile, ...]
    trail: tuple[dict[str, Any], ...]


def take_out_patient(database: Database, actor: Actor, patient_id: str, at: datetime) -> PatientFile:
    """Everything of a patient, as of one moment; that it was taken out is kept in the trail. Raises NotFoundError."""
    with change(database, actor, at) as made:
        whole = _patient_file(made, patient_id)
        made.note("export", patient_id, form="everything")
    return whole


def take_out_owner(database: Database, actor: Actor, client_id: str, at: datetime) -> OwnerFile:
    """Everything of an owner and their animals, as of one moment; the trail keeps it. Raises NotFoundError."""
    with change(database, actor, at) as made:
        row = made.connection.execute(
            select(client).where(client.c.id == client_id, client.c.practice_id == actor.practice_id)
        ).one_or_none()
        if row is None:
            raise NotFoundError("There is no such owner in this practice.")
        animals = made.connection.execute(
            select(patient.c.id).where(patient.c.client_id == client_id).order_by(patient.c.id)
        ).scalars()
        whole = OwnerFile(
            owner=kept_client(row),
            patients=tuple(_patient_file(made, one) for one in animals.all()),
            trail=_trail(made.connection, actor, [client_id]),
        )
        made.note("export", client_id, form="everything")
    return whole


def _patient_file(made: Change, patient_id: str) -> PatientFile:
    connection, actor = made.connection, made.actor
    row = connection.execute(
        select(patient).where(patient.c.id == patient_id, patient.c.practice_id == actor.practice_id)
    ).one_or_none()
    if row is None:
        raise NotFoundError("There is no such patient in this practice.")
    visits = tuple(
        KeptVisit(id=one.id, patient_id=one.patient_id, kind=one.kind, on=one.on_day)
        for one in connection.execute(
            select(visit).where(visit.c.patient_id == patient_id).order_by(visit.c.on_day, visit.c.id)
        )
    )
    of_visits = [one.id for one in visits]
    rows = connection.execute(
        select(record).where(record.c.visit_id.in_(of_visits)).order_by(record.c.id)
    ).all()
    records = tuple(_whole_record(made, one) for one in rows)
    of_records = [one.id for one in records]
    sounds = connection.execute(
        select(*_columns(recording, KeptSound)).where(recording.c.visit_id.in_(of_visits))
    )
    papers = connection.execute(
        select(*_columns(document, KeptPaper)).where(document.c.record_id.in_(of_records))
    )
    return PatientFile(
        patient=kept_patient(row),
        visits=visits,
        records=records,
        sounds=tuple(KeptSound.model_validate(dict(one._mapping)) for one in sounds),
        papers=tuple(KeptPaper.model_validate(dict(one._mapping)) for one in papers),
        trail=_trail(connection, actor, [patient_id, *of_visits, *of_records]),
    )


def _whole_record(made: Change, row: Any) -> WholeRecord:
    versions = made.connection.execute(
        select(record_version.c.version)
        .where(record_version.c.record_id == row.id)
        .order_by(record_version.c.version)
    ).scalars()
    return WholeRecord(
        id=row.id,
        visit_id=row.visit_id,
        state=row.state,
        versions=tuple(
            WholeVersion(
                signed=read_version(made, row.id, number),
                review=signed_review(made.connection, row.id, number),
            )
            for number in versions.all()
        ),
        draft=read_body(Review, row.review, f"The draft of record {row.id}")
        if row.review is not None
        else None,
    )


def _columns(table: Any, shape: type[Frozen]) -> list[Any]:
    return [table.c[name] for name in shape.model_fields]


def _trail(connection: Connection, actor: Actor, subjects: Iterable[str]) -> tuple[dict[str, Any], ...]:
    rows = connection.execute(
        select(event, person.c.name)
        .select_from(event.outerjoin(person, person.c.id == event.c.person_id))
        .where(event.c.practice_id == actor.practice_id, event.c.subject.in_(list(subjects)))
        .order_by(event.c.seq)
    )
    return tuple(
        {
            "seq": row.seq,
            "at": row.at,
            "by": row.name,
            "action": row.action,
            "subject": row.subject,
            "detail": json.loads(row.detail),
        }
        for row in rows
    )
