"""Whether an owner agreed to be written to by e-mail. The trail holds each yes and no; the last one counts."""

from __future__ import annotations

import json
from datetime import datetime

from pydantic import AwareDatetime
from sqlalchemy import func, select

from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.errors import NotFoundError
from pipeline.store.model import Actor
from pipeline.store.tables import client, event, person
from pipeline.store.trail import change

_ACTION = "mail_consent"


class Consent(Frozen):
    """What an owner last said to e-mail, when, and who kept it."""

    given: bool
    at: AwareDatetime
    by: str


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


def mail_consent_of(database: Database, actor: Actor, client_id: str) -> Consent | None:
    """What the owner last said; null when nobody asked them yet."""
    with database.reading() as connection:
        last = connection.execute(
            select(event.c.detail, event.c.at, func.coalesce(person.c.name, event.c.person_id).label("by"))
            .select_from(event.outerjoin(person, person.c.id == event.c.person_id))
            .where(
                event.c.practice_id == actor.practice_id,
                event.c.subject == client_id,
                event.c.action == _ACTION,
            )
            .order_by(event.c.seq.desc())
            .limit(1)
        ).one_or_none()
    if last is None:
        return None
    given = json.loads(last.detail)["given"] is True
    return Consent(given=given, at=datetime.fromisoformat(last.at), by=last.by)


def agreed_to_mail(database: Database, actor: Actor, client_id: str) -> bool:
    """Tell whether the owner agreed and did not take it back."""
    last = mail_consent_of(database, actor, client_id)
    return last is not None and last.given
