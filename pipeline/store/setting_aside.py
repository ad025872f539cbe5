"""Drafts that nobody wants to sign: begun by mistake, heard of nobody, read anew without need.

A draft is not removed: what was said stays, with who set it aside and why, and it can be taken up again. What was signed once
is not set aside, nor is the draft of its amendment.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import select, update

from pipeline.store.database import Database
from pipeline.store.errors import ConflictError, EntryError, NotAllowedError, NotFoundError
from pipeline.store.model import Actor, KeptRecord
from pipeline.store.stamps import stamp
from pipeline.store.tables import record
from pipeline.store.trail import Change, change


def set_aside(database: Database, actor: Actor, kept: KeptRecord, reason: str, at: datetime) -> KeptRecord:
    """Take the draft that was read as `kept` from those that wait for a signature.

    Raises EntryError without a reason, NotAllowedError (no draft, or of a record that was signed once; a manager),
    ConflictError, NotFoundError.
    """
    if not reason.strip():
        raise EntryError("Say why this draft is set aside: the reason is kept.")
    if kept.version or kept.review is None:
        raise NotAllowedError("Only a draft of a record that was never signed is set aside.")
    return _moved(database, actor, kept, at, aside=True, reason=reason.strip())


def take_up(database: Database, actor: Actor, kept: KeptRecord, at: datetime) -> KeptRecord:
    """Put a draft that was set aside back among those that wait. Raises as `set_aside` does."""
    if not kept.set_aside:
        raise NotAllowedError("This record is not set aside.")
    return _moved(database, actor, kept, at, aside=False)


def _moved(
    database: Database, actor: Actor, kept: KeptRecord, at: datetime, *, aside: bool, reason: str = ""
) -> KeptRecord:
    if actor.role == "manager":
        raise NotAllowedError(f"Only a vet or nurse can set a draft aside; {actor.name} is a {actor.role}.")
    with change(database, actor, at) as made:
        _must_stand(made, kept)
        made.connection.execute(
            update(record)
            .where(record.c.id == kept.id)
            .values(set_aside_at=stamp(at) if aside else None, revision=kept.revision + 1)
        )
        if aside:
            made.note("set_aside", kept.id, reason=reason)
        else:
            made.note("take_up", kept.id)
    return kept.model_copy(update={"set_aside": aside, "revision": kept.revision + 1})


def _must_stand(made: Change, kept: KeptRecord) -> None:
    """Raises unless the record is as the caller read it."""
    revision = made.connection.execute(
        select(record.c.revision).where(
            record.c.id == kept.id, record.c.practice_id == made.actor.practice_id
        )
    ).scalar_one_or_none()
    if revision is None:
        raise NotFoundError("There is no such record in this practice.")
    if revision != kept.revision:
        raise ConflictError("Somebody changed this record meanwhile. Look at it again, and decide then.")
