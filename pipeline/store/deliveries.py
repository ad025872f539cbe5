"""Receipts of what was handed over. They are events of the trail: nobody can change them, and the audit covers them."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any, Literal

from pydantic import AwareDatetime
from sqlalchemy import Connection, Row, func, select

from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.errors import ConflictError, EntryError, NotFoundError
from pipeline.store.model import Actor, Identifier
from pipeline.store.tables import event, person, record
from pipeline.store.trail import change

DeliveryState = Literal["queued", "begun", "failed", "delivered", "given_up"]
"""`queued`: asked for. `begun`: an attempt began, and whether the file arrived is not known until its end is noted."""
Solved = ("delivered", "given_up")
_ACTION = "deliver"


class Delivery(Frozen):
    """A receipt, or what stays in the list until it is solved. `place` is where the file lies, `reason` why it does not.

    `sha256` is the checksum of the file's bytes, empty until an attempt began.
    """

    id: Identifier
    record_id: Identifier
    version: int
    form: str
    way: str
    state: DeliveryState
    at: AwareDatetime
    by: str
    sha256: str = ""
    place: str = ""
    reason: str = ""


def note_delivery(database: Database, actor: Actor, delivery: Delivery) -> Delivery:
    """Keep how a delivery stands now. What was delivered stays so, and what was given up can only turn out to be delivered.

    Raises NotFoundError, EntryError for one given up without a reason, ConflictError for one that is solved.
    """
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
        before = _state(made.connection, actor, delivery)
        if before == "delivered" or (before == "given_up" and delivery.state != "delivered"):
            raise ConflictError("This delivery is solved already: look at it again.")
        made.note(
            _ACTION,
            delivery.record_id,
            **delivery.model_dump(exclude={"record_id", "at", "by", "id"}),
            delivery=delivery.id,
        )
    return delivery.model_copy(update={"by": actor.name})


def _state(connection: Connection, actor: Actor, delivery: Delivery) -> str | None:
    """The state that was noted last; null where none was."""
    details = connection.execute(
        select(event.c.detail)
        .where(
            event.c.practice_id == actor.practice_id,
            event.c.subject == delivery.record_id,
            event.c.action == _ACTION,
        )
        .order_by(event.c.seq.desc())
    ).scalars()
    noted = (json.loads(detail) for detail in details)
    return next((one["state"] for one in noted if one["delivery"] == delivery.id), None)


def deliveries_of(
    database: Database,
    actor: Actor,
    *,
    unsolved: bool = False,
    record_id: str | None = None,
    delivery_id: str | None = None,
) -> tuple[Delivery, ...]:
    """Each delivery as it stands now, the oldest first; what nobody solved where `unsolved`, of one record, one alone."""
    chosen = (
        select(event, func.coalesce(person.c.name, event.c.person_id).label("by"))
        .select_from(event.outerjoin(person, person.c.id == event.c.person_id))
        .where(event.c.practice_id == actor.practice_id, event.c.action == _ACTION)
        .order_by(event.c.seq)
    )
    if record_id is not None:
        chosen = chosen.where(event.c.subject == record_id)
    if delivery_id is not None:
        chosen = chosen.where(event.c.detail.contains(delivery_id, autoescape=True))
    last: dict[str, tuple[Row[Any], dict[str, Any]]] = {}
    with database.reading() as connection:
        for row in connection.execute(chosen):
            detail = json.loads(row.detail)
            last[detail.pop("delivery")] = row, detail
    return tuple(
        Delivery(id=one, record_id=row.subject, at=datetime.fromisoformat(row.at), by=row.by, **detail)
        for one, (row, detail) in last.items()
        if delivery_id in (None, one) and not (unsolved and detail["state"] in Solved)
    )
