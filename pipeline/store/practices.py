"""Practices and their people."""

from __future__ import annotations

from datetime import datetime
from typing import Any, cast, get_args

from sqlalchemy import Connection, insert, select, update

from pipeline.store.database import Database
from pipeline.store.errors import EntryError, NotAllowedError, NotFoundError
from pipeline.store.model import Actor, Person, Practice, Role
from pipeline.store.stamps import new_id
from pipeline.store.tables import person, practice
from pipeline.store.trail import BEGINNING, begin, change

_LETTERHEAD = ("address", "phone", "email", "registration")


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
        made.note("found_practice", practice_id, name=name)
        made.note("add_person", person_id, role="manager", name=manager)
        made.close()
    database.anchors.keep(made.events)
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


def people(database: Database) -> tuple[Person, ...]:
    """Everybody who was ever added, of all practices of the database: to choose who acts, before anybody does."""
    with database.reading() as connection:
        return people_in(connection)


def people_in(connection: Connection) -> tuple[Person, ...]:
    """The same, of a connection that is open already."""
    rows = connection.execute(
        select(person, practice.c.name.label("practice"))
        .select_from(person.join(practice, practice.c.id == person.c.practice_id))
        .order_by(person.c.id)
    ).all()
    return tuple(
        Person(
            id=row.id,
            practice_id=row.practice_id,
            practice=row.practice,
            name=row.name,
            role=row.role,
            active=row.active,
        )
        for row in rows
    )


def practice_of(database: Database, actor: Actor) -> Practice:
    """The practice that somebody works in, with its letterhead. Raises NotFoundError."""
    columns = [practice.c[name] for name in Practice.model_fields]
    with database.reading() as connection:
        row = connection.execute(select(*columns).where(practice.c.id == actor.practice_id)).one_or_none()
    if row is None:
        raise NotFoundError("There is no such practice in this database.")
    return Practice.model_validate(dict(row._mapping))


def change_practice(database: Database, actor: Actor, changed: Practice, at: datetime) -> Practice:
    """Keep a practice's name and letterhead as given; what stood there before is read in the trail.

    Raises NotAllowedError for all but managers, EntryError for an empty name, NotFoundError for another practice.
    """
    _must_manage(actor)
    if changed.id != actor.practice_id:
        raise NotFoundError("There is no such practice in this database.")
    values: dict[str, Any] = {
        "name": _named(changed.name, "practice"),
        "retention_years": changed.retention_years,
    }
    values |= {name: getattr(changed, name) or None for name in _LETTERHEAD}
    with change(database, actor, at) as made:
        made.connection.execute(update(practice).where(practice.c.id == changed.id).values(**values))
        made.note("change_practice", changed.id, **values)
    return Practice.model_validate({"id": changed.id, **values})


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
        raise NotAllowedError("Only a manager can change the practice and who works in it.")


def _named(name: str, what: str) -> str:
    if not name.strip():
        raise EntryError(f"The name of the {what} is empty: give one.")
    return name.strip()
