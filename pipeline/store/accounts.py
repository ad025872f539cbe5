"""Accounts: by which name somebody signs in, and the hash that their password must fit. Passwords themselves never come here."""

from __future__ import annotations

import re
from datetime import datetime

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.errors import EntryError, NotAllowedError, NotFoundError
from pipeline.store.model import Actor, Identifier
from pipeline.store.stamps import stamp
from pipeline.store.tables import account, person, sign_in
from pipeline.store.trail import change

_LOGIN = r"[a-z0-9][a-z0-9._@-]{1,63}"


class Account(Frozen):
    """The account of somebody who works in a practice; `password` is a hash in a form that names its own method."""

    person_id: Identifier
    practice_id: Identifier
    login: str
    password: str


def open_account(
    database: Database,
    actor: Actor,
    person_id: str,
    login: str,
    password: str,
    at: datetime,
    *,
    place: str = "desk",
) -> Account:
    """Let somebody of the practice sign in; who has an account gets this name and password instead, and is signed out.

    `password` is the hash; `place`, the desk or the command line, stands in the event. Raises NotAllowedError (not a manager),
    EntryError (the name cannot be used or is taken), NotFoundError.
    """
    if actor.role != "manager":
        raise NotAllowedError("Only a manager gives out sign-ins.")
    opened = Account(
        person_id=person_id, practice_id=actor.practice_id, login=checked_login(login), password=password
    )
    try:
        with change(database, actor, at) as made:
            found = made.connection.execute(
                select(person.c.id).where(
                    person.c.id == person_id,
                    person.c.practice_id == actor.practice_id,
                    person.c.active.is_(True),
                )
            ).one_or_none()
            if found is None:
                raise NotFoundError("There is no such active person in this practice.")
            made.connection.execute(delete(account).where(account.c.person_id == person_id))
            made.connection.execute(insert(account).values(**opened.model_dump(), changed_at=stamp(at)))
            made.connection.execute(delete(sign_in).where(sign_in.c.person_id == person_id))
            made.note("open_account", person_id, login=opened.login, place=place)
    except IntegrityError:
        raise EntryError(f"The sign-in name {opened.login!r} is somebody else's: choose another.") from None
    return opened


def account_of(database: Database, login: str) -> Account | None:
    """The account of that sign-in name whose person still works here, null when there is none."""
    with database.reading() as connection:
        row = connection.execute(
            select(account.c.person_id, account.c.practice_id, account.c.login, account.c.password)
            .select_from(account.join(person, person.c.id == account.c.person_id))
            .where(account.c.login == login.strip().lower(), person.c.active.is_(True))
        ).one_or_none()
    return Account.model_validate(dict(row._mapping)) if row is not None else None


def account_of_person(database: Database, actor: Actor) -> Account:
    """The account of somebody who acts. Raises NotFoundError."""
    with database.reading() as connection:
        row = connection.execute(
            select(account.c.person_id, account.c.practice_id, account.c.login, account.c.password).where(
                account.c.person_id == actor.person_id
            )
        ).one_or_none()
    if row is None:
        raise NotFoundError(f"{actor.name} has no sign-in.")
    return Account.model_validate(dict(row._mapping))


def logins_of(database: Database, actor: Actor) -> dict[str, str]:
    """The sign-in names of the practice by the person's identifier."""
    with database.reading() as connection:
        rows = connection.execute(
            select(account.c.person_id, account.c.login).where(account.c.practice_id == actor.practice_id)
        ).all()
    return {row.person_id: row.login for row in rows}


def any_account(database: Database) -> bool:
    """Whether anybody can sign in at all."""
    with database.reading() as connection:
        return bool(connection.execute(select(func.count()).select_from(account)).scalar())


def change_password(database: Database, actor: Actor, password: str, at: datetime) -> None:
    """Set the hash of one's own new password; all sign-ins of the person end. Raises NotFoundError."""
    with change(database, actor, at) as made:
        done = made.connection.execute(
            update(account)
            .where(account.c.person_id == actor.person_id)
            .values(password=password, changed_at=stamp(at))
        )
        if not done.rowcount:
            raise NotFoundError(f"{actor.name} has no sign-in.")
        made.connection.execute(delete(sign_in).where(sign_in.c.person_id == actor.person_id))
        made.note("change_password", actor.person_id)


def checked_login(login: str) -> str:
    """A name as it is compared: small letters. Raises EntryError."""
    name = login.strip().lower()
    if not re.fullmatch(_LOGIN, name):
        raise EntryError(
            "A sign-in name has 2 to 64 letters without accents, digits, dots, hyphens, underscores or @, and"
            " begins with a letter or digit."
        )
    return name
