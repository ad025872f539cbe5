"""Owners: the page of one with their animals, what they said to e-mail, and the forms that keep or change one."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.entries import OWNER, Faults, merged, owner_form, read_owner, seen
from pipeline.desk.errors import status_of
from pipeline.desk.forms import Form
from pipeline.desk.pages import go_to, own_address, page
from pipeline.desk.texts import say
from pipeline.desk.who import Anyone
from pipeline.store import (
    Actor,
    Client,
    ConflictError,
    EntryError,
    add_client,
    change_client,
    client_of,
    patients_of,
)
from pipeline.store.consents import mail_consent_of, note_mail_consent
from pipeline.store.doubles import owners_like

router = APIRouter(prefix="/owners", include_in_schema=False)


@router.get("/new")
def new(request: Request, actor: Anyone) -> Response:
    """The empty form."""
    return _asked(request, owner_form(None))


@router.post("/new")
def add(request: Request, desk: AtDesk, actor: Anyone, form: Form) -> Response:
    """Keep a new owner; one who may be there already is asked about once."""
    given = _given(form)
    owner, faults = read_owner(given)
    alike = owners_like(desk.database, actor, owner) if not faults else ()
    if faults or not {one.id for one in alike} <= set(form.get("sure", "").split()):
        return _asked(request, given, faults=faults, alike=alike, status=422)
    try:
        kept = add_client(desk.database, actor, owner, desk.at())
    except EntryError as error:
        return _asked(request, given, fault=str(error), status=status_of(error))
    return go_to(f"/owners/{kept.id}?kept=1")


@router.get("/{owner_id}")
def show(request: Request, desk: AtDesk, actor: Anyone, owner_id: str) -> Response:
    """An owner and their animals."""
    owner = client_of(desk.database, actor, owner_id)
    return page(
        request,
        "owner.html",
        owner=owner,
        animals=patients_of(desk.database, actor, owner_id),
        consent=mail_consent_of(desk.database, actor, owner_id),
        done="kept" in request.query_params,
    )


@router.get("/{owner_id}/edit")
def edit(request: Request, desk: AtDesk, actor: Anyone, owner_id: str) -> Response:
    """The form of an owner as they are kept."""
    kept = client_of(desk.database, actor, owner_id)
    return _asked(request, owner_form(kept), kept)


@router.post("/{owner_id}/edit")
def change(request: Request, desk: AtDesk, actor: Anyone, owner_id: str, form: Form) -> Response:
    """Keep what is known now of an owner, unless somebody changed it since the page was opened."""
    kept, given = client_of(desk.database, actor, owner_id), _given(form)
    if form.get("seen") != seen(owner_form(kept), OWNER):
        return _stands_otherwise(request, desk, actor, given, owner_id, form)
    owner, faults = read_owner(given)
    if faults:
        return _asked(request, given, kept, faults=faults, status=422)
    try:
        change_client(desk.database, actor, kept, owner, desk.at())
    except ConflictError:
        return _stands_otherwise(request, desk, actor, given, owner_id, form)
    except EntryError as error:
        return _asked(request, given, kept, fault=str(error), status=status_of(error))
    return go_to(f"/owners/{owner_id}?kept=1")


@router.post("/{owner_id}/mail")
def mail(desk: AtDesk, actor: Anyone, owner_id: str, form: Form) -> Response:
    """Keep what the owner said to being sent documents by e-mail, and go back to where it was asked."""
    said = form.get("agrees")
    if said not in ("yes", "no"):
        raise EntryError(say("owner.say_which"))
    note_mail_consent(desk.database, actor, owner_id, desk.at(), given=said == "yes")
    return go_to(own_address(form.get("back") or f"/owners/{owner_id}"))


def _given(form: dict[str, str]) -> dict[str, str]:
    return {name: form.get(name, "") for name in OWNER}


def _stands_otherwise(
    request: Request, desk: Desk, actor: Actor, given: dict[str, str], owner_id: str, sent: dict[str, str]
) -> Response:
    """The form for the second of two: what was typed stays, what the other one made of it stands beside."""
    now = client_of(desk.database, actor, owner_id)
    form, stands = merged(given, sent.get("seen", ""), owner_form(now), OWNER)
    return _asked(request, form, now, stands=stands, fault=say("entry.conflict"), status=409)


def _asked(
    request: Request,
    given: dict[str, str],
    kept: Client | None = None,
    *,
    faults: Faults | None = None,
    alike: tuple[Client, ...] = (),
    stands: dict[str, str] | None = None,
    fault: str | None = None,
    status: int = 200,
) -> Response:
    return page(
        request,
        "owner_entry.html",
        status,
        kept=kept,
        given=given,
        faults=faults or {},
        alike=alike,
        stands=stands or {},
        seen=seen(owner_form(kept), OWNER) if kept is not None else "",
        fault=fault,
    )
