"""Whether an owner agreed to be written to by e-mail. The trail holds each yes and no; the last one counts."""

from __future__ import annotations

import json
from datetime import datetime

from sqlalchemy import select

from pipeline.store.database import Database
from pipeline.store.errors import NotFoundError
from pipeline.store.model import Actor
from pipeline.store.tables import client, event
from pipeline.store.trail import change

_ACTION = "mail_consent"


def note_mail_consent(database: Database, actor: Actor, client_id: str, at: datetime, *, given: bool) -> None:
    """Keep that an owner agreed, or took it back. Raises NotFoundError."""
    with change(database, actor, at) as made:
        found = made.connection.execute(
            select(client.c.id).where(
                client.c.id == client_id,
                client.c.practice_id == actor.practice_id,
                client.c.erased_at.is_(None),
            )
        ).one_or_none()
        if found is None:
            raise NotFoundError("There is no such owner in this practice.")
        made.note(_ACTION, client_id, given=given)


def agreed_to_mail(database: Database, actor: Actor, client_id: str) -> bool:
    """Tell whether the owner agreed and did not take it back."""
    with database.reading() as connection:
        last = connection.execute(
            select(event.c.detail)
            .where(
                event.c.practice_id == actor.practice_id,
                event.c.subject == client_id,
                event.c.action == _ACTION,
            )
            .order_by(event.c.seq.desc())
            .limit(1)
        ).scalar_one_or_none()
    return last is not None and json.loads(last)["given"] is True
