"""Clients (the owners of animals) and patients."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row, insert, select, update
from sqlalchemy.exc import IntegrityError

from pipeline.record import Owner, Patient
from pipeline.record.microchip import compact
from pipeline.store.database import Database
from pipeline.store.errors import ConflictError, EntryError, NotFoundError
from pipeline.store.model import Actor, Client, KeptPatient
from pipeline.store.search import make_client_findable, make_patient_findable
from pipeline.store.stamps import new_id, stamp
from pipeline.store.tables import client, patient
from pipeline.store.trail import Change, change

_OWNER_FIELDS = ("name", "phone", "email", "address")
_LONGEST = 200
_NOTHING_KNOWN = "Give at least a name, telephone number, e-mail or postal address of the owner."


def add_client(database: Database, actor: Actor, owner: Owner, at: datetime) -> Client:
    """Keep an owner. Raises EntryError when nothing is known of them, or what is given cannot be."""
    with change(database, actor, at) as made:
        return insert_client(made, owner)


def insert_client(made: Change, owner: Owner) -> Client:
    """The same, within a change that is under way."""
    known = _known_of(owner)
    kept = Client(id=new_id(), **known)
    practice_id = made.actor.practice_id
    made.connection.execute(insert(client).values(id=kept.id, practice_id=practice_id, **known))
    make_client_findable(made.connection, practice_id, kept, new=True)
    made.note("add_client", kept.id)
    return kept


def _known_of(owner: Owner) -> dict[str, str | None]:
    """What is known of an owner. Raises EntryError for nothing, for what is no e-mail address, and for what is too long."""
    known = {name: getattr(owner, name) for name in _OWNER_FIELDS}
    if not any(known.values()):
        raise EntryError(_NOTHING_KNOWN)
    if owner.email is not None and not re.fullmatch(r"[^@\s]+@[^@\s]+", owner.email.strip()):
        raise EntryError(
            f"{owner.email!r} is no e-mail address: it needs a name, an @ and a place, without blanks."
        )
    for name, value in known.items():
        _must_fit(value, f"owner's {name}")
    return known


def _must_fit(value: str | None, what: str) -> None:
    if value is not None and len(value) > _LONGEST:
        raise EntryError(
            f"The {what} has {len(value):,} characters; at most {_LONGEST} are kept: shorten it."
        )


def change_client(database: Database, actor: Actor, kept: Client, owner: Owner, at: datetime) -> Client:
    """Keep what is known now of an owner that was read as `kept`.

    Raises ConflictError when somebody changed it since, EntryError when nothing is known any more, NotFoundError.
    """
    known = _known_of(owner)
    changed = Client(id=kept.id, **known)
    with change(database, actor, at) as made:
        row = made.connection.execute(
            select(client).where(
                client.c.id == kept.id,
                client.c.practice_id == actor.practice_id,
                client.c.erased_at.is_(None),
            )
        ).one_or_none()
        if row is None:
            raise NotFoundError("There is no such owner in this practice.")
        if kept_client(row) != kept:
            raise ConflictError("Somebody changed this owner meanwhile. Read it again and enter your change.")
        made.connection.execute(update(client).where(client.c.id == kept.id).values(**known))
        make_client_findable(made.connection, actor.practice_id, changed)
        fields = [name for name in _OWNER_FIELDS if known[name] != getattr(kept, name)]
        made.note("change_client", kept.id, fields=fields)
    return changed


def client_of(database: Database, actor: Actor, client_id: str) -> Client:
    """The owner of that identifier. Raises NotFoundError."""
    with database.reading() as connection:
        row = connection.execute(
            select(client).where(client.c.id == client_id, client.c.practice_id == actor.practice_id)
        ).one_or_none()
    if row is None:
        raise NotFoundError("There is no such owner in this practice.")
    return kept_client(row)


def kept_client(row: Row[Any]) -> Client:
    """The value of a row of the table `client`."""
    return Client(
        id=row.id,
        name=row.name,
        phone=row.phone,
        email=row.email,
        address=row.address,
        erased=row.erased_at is not None,
    )


def erase_client(database: Database, actor: Actor, client_id: str, reason: str, at: datetime) -> None:
    """Remove an owner's personal data. The clinical records stay: they are of the animal and name no owner.

    What was said aloud in an examination is part of the record and stays. Raises NotFoundError, EntryError.
    """
    if not reason.strip():
        raise EntryError("Say why the owner's data are erased.")
    with change(database, actor, at) as made:
        done = made.connection.execute(
            update(client)
            .where(client.c.id == client_id, client.c.practice_id == actor.practice_id)
            .values(erased_at=stamp(at), **dict.fromkeys(_OWNER_FIELDS))
        )
        _found(done.rowcount, "owner")
        make_client_findable(made.connection, actor.practice_id, Client(id=client_id, erased=True))
        made.note("erase_client", client_id, reason=reason.strip())


def add_patient(
    database: Database, actor: Actor, animal: Patient, owner: str | Owner | None, at: datetime
) -> KeptPatient:
    """Keep an animal. `owner` is a client's identifier, or an owner that is kept with it: both, or neither.

    What the animal's own value says of an owner is not kept. Raises EntryError (the microchip is another patient's, the birth
    lies ahead, nothing is known of the owner) and NotFoundError (no such client).
    """
    with _writing_patient(database, actor, at) as made:
        return insert_patient(made, animal, _client_of_patient(made, owner))


def insert_patient(made: Change, animal: Patient, client_id: str | None) -> KeptPatient:
    """The same, within a change that is under way, of a client that is known to be there."""
    kept = KeptPatient(id=new_id(), client_id=client_id, patient=_plain(animal, made.at), revision=1)
    practice_id = made.actor.practice_id
    made.connection.execute(
        insert(patient).values(
            id=kept.id, practice_id=practice_id, client_id=client_id, revision=1, **_columns(kept.patient)
        )
    )
    make_patient_findable(made.connection, practice_id, kept.id, kept.patient, new=True)
    made.note("add_patient", kept.id)
    return kept


def change_patient(
    database: Database,
    actor: Actor,
    kept: KeptPatient,
    animal: Patient,
    owner: str | Owner | None,
    at: datetime,
) -> KeptPatient:
    """Keep what is known now of an animal that was read as `kept`; `owner` as when it is added.

    Raises ConflictError when somebody changed it since, EntryError, NotFoundError.
    """
    plain = _plain(animal, at)
    with _writing_patient(database, actor, at) as made:
        client_id = _client_of_patient(made, owner)
        new = KeptPatient(id=kept.id, client_id=client_id, patient=plain, revision=kept.revision + 1)
        found = made.connection.execute(
            select(patient.c.revision).where(
                patient.c.id == kept.id, patient.c.practice_id == actor.practice_id
            )
        ).scalar_one_or_none()
        if found is None:
            raise NotFoundError("There is no such patient in this practice.")
        if found != kept.revision:
            raise ConflictError(
                "Somebody changed this patient meanwhile. Read it again and enter your change."
            )
        made.connection.execute(
            update(patient)
            .where(patient.c.id == kept.id)
            .values(client_id=client_id, revision=new.revision, **_columns(new.patient))
        )
        make_patient_findable(made.connection, actor.practice_id, kept.id, new.patient)
        before, after = _columns(kept.patient), _columns(new.patient)
        fields = [name for name in after if after[name] != before[name]]
        fields += ["owner"] if client_id != kept.client_id else []
        made.note("change_patient", kept.id, fields=fields)
    return new


def patient_of(database: Database, actor: Actor, patient_id: str) -> KeptPatient:
    """The animal of that identifier. Raises NotFoundError."""
    with database.reading() as connection:
        row = connection.execute(
            select(patient).where(patient.c.id == patient_id, patient.c.practice_id == actor.practice_id)
        ).one_or_none()
    if row is None:
        raise NotFoundError("There is no such patient in this practice.")
    return kept_patient(row)


def patient_by_microchip(database: Database, actor: Actor, number: str) -> KeptPatient | None:
    """The animal that carries a transponder, null when none does."""
    with database.reading() as connection:
        row = connection.execute(
            select(patient).where(
                patient.c.practice_id == actor.practice_id, patient.c.microchip == compact(number)
            )
        ).one_or_none()
    return kept_patient(row) if row is not None else None


def kept_patient(row: Row[tuple[object, ...]]) -> KeptPatient:
    """The value of a row of the table `patient`."""
    named = row._mapping
    fields = {name: named[name] for name in _PATIENT_FIELDS}
    return KeptPatient(
        id=named["id"],
        client_id=named["client_id"],
        revision=named["revision"],
        patient=Patient.model_validate(fields),
    )


_PATIENT_FIELDS = ("name", "species", "breed", "sex", "neutered", "birth_date", "weight_kg", "microchip")


def _columns(animal: Patient) -> dict[str, object]:
    return {name: getattr(animal, name) for name in _PATIENT_FIELDS}


def _plain(animal: Patient, at: datetime) -> Patient:
    """The animal without its owner, an age in months turned into a day of birth, the microchip without blanks."""
    update: dict[str, object] = {"owner": None, "age_months": None}
    if animal.age_months is not None:
        update["birth_date"] = _born(at.date(), animal.age_months)
    elif animal.birth_date is not None and animal.birth_date > at.date():
        raise EntryError(f"The birth date {animal.birth_date} lies ahead: correct it.")
    for what in ("name", "species", "breed"):
        _must_fit(getattr(animal, what), f"patient's {what}")
    if animal.microchip is not None:
        update["microchip"] = compact(animal.microchip) or None
    return animal.model_copy(update=update)


def _born(today: date, months: int) -> date:
    """The first of the month that lies so many months back: an age says no day."""
    years, month = divmod(today.year * 12 + today.month - 1 - months, 12)
    return date(years, month + 1, 1)


def _client_of_patient(made: Change, owner: str | Owner | None) -> str | None:
    """The identifier of a patient's owner, who is kept first where they are new."""
    if isinstance(owner, Owner):
        return insert_client(made, owner).id
    if owner is None:
        return None
    found = made.connection.execute(
        select(client.c.id).where(client.c.id == owner, client.c.practice_id == made.actor.practice_id)
    ).one_or_none()
    if found is None:
        raise NotFoundError("There is no such owner in this practice.")
    return owner


def _found(count: int, what: str) -> None:
    if not count:
        raise NotFoundError(f"There is no such {what} in this practice.")


@contextmanager
def _writing_patient(database: Database, actor: Actor, at: datetime) -> Iterator[Change]:
    """A change of the table `patient`: a microchip that is taken is a refusal in words."""
    try:
        with change(database, actor, at) as made:
            yield made
    except IntegrityError as error:
        if "microchip" not in str(error.orig):
            raise
        raise EntryError(
            "This microchip number is another patient's. Look that patient up, or correct the number."
        ) from None
