"""Practices and their people."""

from __future__ import annotations

from datetime import datetime
from typing import cast, get_args

from sqlalchemy import Connection, insert, select, update

from pipeline.store.database import Database
from pipeline.store.errors import EntryError, NotAllowedError, NotFoundError
from pipeline.store.model import Actor, Role
from pipeline.store.stamps import new_id
from pipeline.store.tables import person, practice
from pipeline.store.trail import BEGINNING, begin, change


def found_practice(database: Database, name: str, manager: str, at: datetime) -> Actor:
    """Begin a practice with its first person, a manager. Raises EntryError for an empty name."""
    practice_id, person_id = new_id(), new_id()
    name, manager = _named(name, "practice"), _named(manager, "person")
    actor = Actor(practice_id=practice_id, person_id=person_id, name=manager, role="manager")
    with database.writing() as connection:
        connection.execute(
            insert(practice).values(id=practice_id, name=name, trail_seq=0, trail_sha256=BEGINNING)
        )
        _insert_person(connection, actor)
        made = begin(connection, actor, at)
        made.note("found_practice", practice_id)
        made.note("add_person", person_id, role="manager", name=manager)
        made.close()
    return actor


def add_person(database: Database, actor: Actor, name: str, role: str, at: datetime) -> Actor:
    """Add a vet, a nurse or another manager. Raises NotAllowedError for all but managers, EntryError."""
    _must_manage(actor)
    if role not in get_args(Role):
        raise EntryError(f"There is no role {role!r}: give one of {', '.join(get_args(Role))}.")
    added = Actor(
        practice_id=actor.practice_id,
        person_id=new_id(),
        name=_named(name, "person"),
        role=cast("Role", role),
    )
    with change(database, actor, at) as made:
        _insert_person(made.connection, added)
        made.note("add_person", added.person_id, role=role, name=added.name)
    return added


def retire_person(database: Database, actor: Actor, person_id: str, at: datetime) -> None:
    """End a person's access; what they did and signed stays. Raises NotAllowedError, NotFoundError."""
    _must_manage(actor)
    if person_id == actor.person_id:
        raise NotAllowedError("Nobody can retire themselves: ask another manager.")
    with change(database, actor, at) as made:
        done = made.connection.execute(
            update(person)
            .where(
                person.c.id == person_id, person.c.practice_id == actor.practice_id, person.c.active.is_(True)
            )
            .values(active=False)
        )
        if not done.rowcount:
            raise NotFoundError("There is no such active person in this practice.")
        made.note("retire_person", person_id)


def actor_of(database: Database, practice_id: str, person_id: str) -> Actor:
    """The active person of that identifier. Raises NotFoundError."""
    with database.reading() as connection:
        row = connection.execute(
            select(person).where(
                person.c.id == person_id, person.c.practice_id == practice_id, person.c.active.is_(True)
            )
        ).one_or_none()
    if row is None:
        raise NotFoundError("There is no such active person in this practice.")
    return Actor(practice_id=practice_id, person_id=person_id, name=row.name, role=row.role)


def _insert_person(connection: Connection, actor: Actor) -> None:
    connection.execute(
        insert(person).values(
            id=actor.person_id,
            practice_id=actor.practice_id,
            name=actor.name,
            role=actor.role,
            active=True,
        )
    )


def _must_manage(actor: Actor) -> None:
    if actor.role != "manager":
        raise NotAllowedError("Only a manager can change who works in the practice.")


def _named(name: str, what: str) -> str:
    if not name.strip():
        raise EntryError(f"The name of the {what} is empty: give one.")
    return name.strip()
