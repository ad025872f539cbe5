"""Receipts of what was handed over. They are events of the trail: nobody can change them, and the audit covers them."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Literal

from pydantic import AwareDatetime
from sqlalchemy import func, select

from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.errors import EntryError, NotFoundError
from pipeline.store.model import Actor, Identifier
from pipeline.store.stamps import new_id
from pipeline.store.tables import event, person, record
from pipeline.store.trail import change

DeliveryState = Literal["delivered", "failed", "given_up"]
_ACTION = "deliver"


class Delivery(Frozen):
    """A receipt, or a failure that stays until it is solved. `place` is where the file lies, `reason` why it does not."""

    id: Identifier
    record_id: Identifier
    version: int
    form: str
    way: str
    state: DeliveryState
    at: AwareDatetime
    by: str
    sha256: str
    place: str = ""
    reason: str = ""


def note_delivery(database: Database, actor: Actor, delivery: Delivery) -> Delivery:
    """Keep how an attempt ended, or that somebody gave it up. Raises NotFoundError, EntryError for no reason."""
    if delivery.state == "given_up" and not delivery.reason.strip():
        raise EntryError("Say why this delivery is given up: the reason is kept.")
    with change(database, actor, delivery.at) as made:
        found = made.connection.execute(
            select(record.c.id).where(
                record.c.id == delivery.record_id, record.c.practice_id == actor.practice_id
            )
        ).one_or_none()
        if found is None:
            raise NotFoundError("There is no such record in this practice.")
        made.note(
            _ACTION,
            delivery.record_id,
            **delivery.model_dump(exclude={"record_id", "at", "by", "id"}),
            delivery=delivery.id,
        )
    return delivery.model_copy(update={"by": actor.name})


def new_delivery_id() -> str:
    """An identifier for what is to be handed over."""
    return new_id()


def deliveries_of(database: Database, actor: Actor, *, unsolved: bool = False) -> tuple[Delivery, ...]:
    """Each delivery as it stands now, the oldest first; only failures that nobody solved where `unsolved`."""
    chosen = (
        select(event, func.coalesce(person.c.name, event.c.person_id).label("by"))
        .select_from(event.outerjoin(person, person.c.id == event.c.person_id))
        .where(event.c.practice_id == actor.practice_id, event.c.action == _ACTION)
        .order_by(event.c.seq)
    )
    now: dict[str, Delivery] = {}
    with database.reading() as connection:
        for row in connection.execute(chosen):
            detail = json.loads(row.detail)
            one = Delivery(
                id=detail.pop("delivery"),
                record_id=row.subject,
                at=datetime.fromisoformat(row.at),
                by=row.by,
                **detail,
            )
            now[one.id] = one
    return tuple(one for one in now.values() if not unsolved or one.state == "failed")
