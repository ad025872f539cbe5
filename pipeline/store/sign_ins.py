"""Who is signed in, which programs may ask, and how often somebody guessed wrongly.

What a browser or program shows to be let in is a secret of chance; here only its SHA-256 is kept, so that whoever reads the
database cannot sign in with what stands there.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Literal, get_args

from pydantic import AwareDatetime
from sqlalchemy import ColumnElement, Connection, delete, func, insert, or_, select, update
from sqlalchemy.exc import IntegrityError

from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.errors import EntryError, NotFoundError
from pipeline.store.model import Actor, Identifier
from pipeline.store.stamps import new_id, sha256, stamp
from pipeline.store.tables import access_token, failed_attempt, person, sign_in
from pipeline.store.trail import change

Scope = Literal[
    "records:read", "records:write", "records:send", "patients:read", "patients:write", "metrics:read"
]
"""What a token lets a program do, as far as the role of its owner lets them do it."""

_TOUCH = timedelta(minutes=1)
"""A sign-in is written as seen no more often than this: not every page is a write."""


class SignIn(Frozen):
    """Somebody who is signed in at a browser."""

    actor: Actor
    begun_at: AwareDatetime
    seen_at: AwareDatetime
    ends_at: AwareDatetime
    device: str


class Token(Frozen):
    """A program's leave to ask in somebody's name."""

    id: Identifier
    actor: Actor
    name: str
    scopes: frozenset[Scope]
    made_at: AwareDatetime
    ends_at: AwareDatetime


def begin_sign_in(
    database: Database, actor: Actor, secret: str, at: datetime, ends_at: datetime, device: str
) -> None:
    """Keep that somebody signed in, until when at the longest, and with what (the browser's own words)."""
    with change(database, actor, at) as made:
        made.connection.execute(delete(sign_in).where(sign_in.c.ends_at < stamp(at)))
        made.connection.execute(
            insert(sign_in).values(
                sha256=sha256(secret),
                person_id=actor.person_id,
                begun_at=stamp(at),
                seen_at=stamp(at),
                ends_at=stamp(ends_at),
                device=device[:200],
            )
        )
        made.note("sign_in", actor.person_id)


def sign_in_of(database: Database, secret: str, at: datetime, idle: timedelta) -> SignIn | None:
    """Who shows this secret, and that they were seen now; null when it ended, or nobody was seen for `idle`."""
    key = sha256(secret)
    with database.reading() as connection:
        row = connection.execute(
            select(sign_in, person.c.practice_id, person.c.name, person.c.role)
            .select_from(sign_in.join(person, person.c.id == sign_in.c.person_id))
            .where(
                sign_in.c.sha256 == key,
                sign_in.c.ends_at > stamp(at),
                sign_in.c.seen_at > stamp(at - idle),
                person.c.active.is_(True),
            )
        ).one_or_none()
    if row is None:
        return None
    seen = datetime.fromisoformat(row.seen_at)
    if at - seen > _TOUCH:
        with database.writing() as connection:
            connection.execute(update(sign_in).where(sign_in.c.sha256 == key).values(seen_at=stamp(at)))
    return SignIn(
        actor=Actor(practice_id=row.practice_id, person_id=row.person_id, name=row.name, role=row.role),
        begun_at=datetime.fromisoformat(row.begun_at),
        seen_at=at,
        ends_at=datetime.fromisoformat(row.ends_at),
        device=row.device,
    )


def end_sign_in(database: Database, actor: Actor, secret: str, at: datetime) -> None:
    """Sign somebody out at one browser."""
    with change(database, actor, at) as made:
        made.connection.execute(delete(sign_in).where(sign_in.c.sha256 == sha256(secret)))
        made.note("sign_out", actor.person_id)


def end_all_sign_ins(database: Database, actor: Actor, at: datetime) -> None:
    """Sign somebody out everywhere."""
    with change(database, actor, at) as made:
        made.connection.execute(delete(sign_in).where(sign_in.c.person_id == actor.person_id))
        made.note("sign_out", actor.person_id, everywhere=True)


def sign_ins_of(database: Database, actor: Actor, at: datetime) -> int:
    """At how many browsers somebody is signed in."""
    with database.reading() as connection:
        found = connection.execute(
            select(func.count())
            .select_from(sign_in)
            .where(sign_in.c.person_id == actor.person_id, sign_in.c.ends_at > stamp(at))
        ).scalar()
    return int(found or 0)


# --- programs -----------------------------------------------------------------------------------------


def make_token(
    database: Database,
    actor: Actor,
    secret: str,
    name: str,
    scopes: frozenset[str],
    at: datetime,
    ends_at: datetime,
) -> Token:
    """Let a program ask in one's own name, within the scopes, until a day. Raises EntryError."""
    if not name.strip():
        raise EntryError("Name the program that the token is for.")
    if strange := scopes - set(get_args(Scope)):
        raise EntryError(f"There is no scope {sorted(strange)[0]!r}: there are {', '.join(get_args(Scope))}.")
    if not scopes:
        raise EntryError("Choose what the program may do: one scope at least.")
    token = Token.model_validate(
        {
            "id": new_id(),
            "actor": actor,
            "name": name.strip()[:100],
            "scopes": scopes,
            "made_at": at,
            "ends_at": ends_at,
        }
    )
    with change(database, actor, at) as made:
        made.connection.execute(
            insert(access_token).values(
                id=token.id,
                sha256=sha256(secret),
                person_id=actor.person_id,
                practice_id=actor.practice_id,
                name=token.name,
                scopes=" ".join(sorted(token.scopes)),
                made_at=stamp(at),
                ends_at=stamp(ends_at),
            )
        )
        made.note("make_token", token.id, scopes=sorted(token.scopes), name=token.name)
    return token


def token_of(database: Database, secret: str, at: datetime) -> Token | None:
    """The token whose secret this is; null when there is none, or it ended or was taken back."""
    found = _tokens(database, at, access_token.c.sha256 == sha256(secret))
    return found[0] if found else None


def tokens_of(database: Database, actor: Actor, at: datetime) -> tuple[Token, ...]:
    """The tokens in force: one's own, a manager's view has all of the practice."""
    mine = access_token.c.person_id == actor.person_id
    ours = access_token.c.practice_id == actor.practice_id
    return _tokens(database, at, ours if actor.role == "manager" else mine)


def revoke_token(database: Database, actor: Actor, token_id: str, at: datetime) -> None:
    """Take a token back: one's own, a manager any of the practice. Raises NotFoundError."""
    if token_id not in {token.id for token in tokens_of(database, actor, at)}:
        raise NotFoundError("There is no such token.")
    with change(database, actor, at) as made:
        made.connection.execute(
            update(access_token).where(access_token.c.id == token_id).values(revoked_at=stamp(at))
        )
        made.note("revoke_token", token_id)


def _tokens(database: Database, at: datetime, chosen: ColumnElement[bool]) -> tuple[Token, ...]:
    with database.reading() as connection:
        rows = connection.execute(
            select(access_token, person.c.name.label("person"), person.c.role)
            .select_from(access_token.join(person, person.c.id == access_token.c.person_id))
            .where(
                chosen,
                access_token.c.ends_at > stamp(at),
                access_token.c.revoked_at.is_(None),
                person.c.active.is_(True),
            )
            .order_by(access_token.c.id)
        ).all()
    return tuple(
        Token(
            id=row.id,
            actor=Actor(practice_id=row.practice_id, person_id=row.person_id, name=row.person, role=row.role),
            name=row.name,
            scopes=frozenset(row.scopes.split()),
            made_at=datetime.fromisoformat(row.made_at),
            ends_at=datetime.fromisoformat(row.ends_at),
        )
        for row in rows
    )


# --- guessing -----------------------------------------------------------------------------------------


def note_failure(database: Database, key: str, at: datetime, forget: timedelta) -> int:
    """Count a wrong guess under a key; counting begins anew after `forget` without one. Gives the count."""
    place = sha256(key)
    with database.writing() as connection:
        connection.execute(delete(failed_attempt).where(failed_attempt.c.last_at < stamp(at - forget)))
        if count := _counted(connection, place, at):
            return count
    try:
        with database.writing() as connection:
            connection.execute(insert(failed_attempt).values(key=place, count=1, last_at=stamp(at)))
        return 1
    except IntegrityError:  # another guess at the same moment came first
        with database.writing() as connection:
            return _counted(connection, place, at)


def _counted(connection: Connection, place: str, at: datetime) -> int:
    """The count under a key that was counted before, one higher; 0 when none was."""
    count = connection.execute(
        update(failed_attempt)
        .where(failed_attempt.c.key == place)
        .values(count=failed_attempt.c.count + 1, last_at=stamp(at))
        .returning(failed_attempt.c.count)
    ).scalar_one_or_none()
    return int(count or 0)


def failures(database: Database, keys: tuple[str, ...]) -> dict[str, tuple[int, datetime]]:
    """How often was guessed wrongly under each key, and when last; keys without a failure are left out."""
    places = {sha256(key): key for key in keys}
    with database.reading() as connection:
        rows = connection.execute(
            select(failed_attempt).where(or_(*(failed_attempt.c.key == place for place in places)))
        ).all()
    return {places[row.key]: (row._mapping["count"], datetime.fromisoformat(row.last_at)) for row in rows}


def forget_failures(database: Database, key: str) -> None:
    """Begin counting anew: the right password was given."""
    with database.writing() as connection:
        connection.execute(delete(failed_attempt).where(failed_attempt.c.key == sha256(key)))
