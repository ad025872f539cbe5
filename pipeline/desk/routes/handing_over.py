"""Handing a signed record over from the filing desk: asking for it, watching it arrive, trying again, letting it be."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from pipeline.desk.courier import AtCourier, Courier
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.errors import status_of
from pipeline.desk.forms import Form
from pipeline.desk.handing_over import hand_over
from pipeline.desk.pages import go_to, page, part
from pipeline.desk.routes.filing import shown
from pipeline.desk.texts import say
from pipeline.desk.who import Anyone, Clinical
from pipeline.jobs import Handover, JobsError
from pipeline.jobs.delivering import asked_by
from pipeline.store import Actor, EntryError, NotFoundError, StoreError, record_line, record_of

router = APIRouter(prefix="/filing", include_in_schema=False)

_MOST_SHOWN = 100


@router.get("/deliveries")
def unsolved(request: Request, desk: AtDesk, actor: Anyone, courier: AtCourier) -> Response:
    """What was to be handed over and did not arrive yet, the oldest first."""
    found = courier.unsolved(actor)
    first = found[:_MOST_SHOWN]
    lines = {one.receipt.record_id: record_line(desk.database, actor, one.receipt.record_id) for one in first}
    return page(request, "deliveries.html", deliveries=first, count=len(found), lines=lines)


@router.get("/{record_id}/deliveries")
def handed(request: Request, desk: AtDesk, actor: Anyone, courier: AtCourier, record_id: str) -> Response:
    """A record's deliveries as they stand now, as the part of its page that shows them."""
    record_line(desk.database, actor, record_id)
    found = courier.of_record(actor, record_id)
    return Response(part(request, "handed.html", deliveries=found), media_type="text/html")


@router.post("/{record_id}/deliveries")
def ask(
    request: Request, desk: AtDesk, actor: Clinical, courier: AtCourier, record_id: str, form: Form
) -> Response:
    """Hand over the version that the page showed; a form that was sent twice is one delivery."""
    kept = record_of(desk.database, actor, record_id)
    try:
        if form.get("version") != str(kept.version):
            raise EntryError(say("handing.newer"))
        wish = asked_by(record_id, form.get("way", ""), form.get("as", ""))
        hand_over(desk, courier, actor, wish, form.get("key") or None)
    except StoreError as error:
        return shown(request, desk, actor, record_id, fault=str(error), status=status_of(error))
    return _back(record_id)


@router.post("/{record_id}/deliveries/{delivery_id}/again")
def again(
    desk: AtDesk, actor: Clinical, courier: AtCourier, record_id: str, delivery_id: str, form: Form
) -> Response:
    """Try one again that did not arrive, at once."""
    _of_record(desk, courier, actor, record_id, delivery_id)
    courier.deliveries.retry(actor, delivery_id)
    return _back(record_id)


@router.post("/{record_id}/deliveries/{delivery_id}/give-up")
def give_up(
    request: Request,
    desk: AtDesk,
    actor: Clinical,
    courier: AtCourier,
    record_id: str,
    delivery_id: str,
    form: Form,
) -> Response:
    """Let one be that did not arrive; the reason is kept."""
    _of_record(desk, courier, actor, record_id, delivery_id)
    try:
        courier.deliveries.give_up(actor, delivery_id, form.get("reason", "")[:500])
    except (StoreError, JobsError) as error:
        return shown(request, desk, actor, record_id, fault=str(error), status=status_of(error))
    return _back(record_id)


def _of_record(desk: Desk, courier: Courier, actor: Actor, record_id: str, delivery_id: str) -> Handover:
    record_line(desk.database, actor, record_id)
    found = courier.deliveries.one(actor, delivery_id)
    if found.receipt.record_id != record_id:
        raise NotFoundError("There is no such delivery of this record.")
    return found


def _back(record_id: str) -> Response:
    return go_to(f"/filing/{record_id}#handed")
