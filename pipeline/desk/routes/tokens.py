"""Tokens: letting a program ask in one's own name, and taking that back."""

from __future__ import annotations

import secrets
from datetime import timedelta
from typing import get_args

from fastapi import APIRouter, Request, Response

from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.errors import status_of
from pipeline.desk.forms import Form
from pipeline.desk.pages import go_to, page
from pipeline.desk.who import Anyone
from pipeline.store import Actor, EntryError, Scope, StoreError, make_token, revoke_token, tokens_of

router = APIRouter(prefix="/me/tokens", include_in_schema=False)

SCOPES: tuple[Scope, ...] = get_args(Scope)
_MOST_DAYS = 366


@router.get("")
def tokens(request: Request, desk: AtDesk, actor: Anyone) -> Response:
    """One's own tokens; a manager sees those of all."""
    return _tokens(request, desk, actor)


@router.post("")
def make(request: Request, desk: AtDesk, actor: Anyone, form: Form) -> Response:
    """Make a token, which is shown this once."""
    secret = f"rostral_{secrets.token_urlsafe(32)}"
    scopes = frozenset(scope for scope in SCOPES if form.get(scope))
    try:
        until = desk.at() + timedelta(days=_days(form.get("days", "")))
        made = make_token(desk.database, actor, secret, form.get("name", ""), scopes, desk.at(), until)
    except StoreError as error:
        return _tokens(request, desk, actor, fault=str(error), status=status_of(error))
    return _tokens(request, desk, actor, shown={"name": made.name, "secret": secret})


@router.post("/{token_id}/revoke")
def revoke(desk: AtDesk, actor: Anyone, token_id: str, form: Form) -> Response:
    """Take a token back."""
    revoke_token(desk.database, actor, token_id, desk.at())
    return go_to("/me/tokens")


def _days(given: str) -> int:
    if not given.isascii() or not given.isdigit() or not 1 <= int(given[:9]) <= _MOST_DAYS:
        raise EntryError(f"A token is in force for 1 to {_MOST_DAYS} days: give one of these numbers.")
    return int(given)


def _tokens(
    request: Request,
    desk: Desk,
    actor: Actor,
    *,
    shown: dict[str, str] | None = None,
    fault: str | None = None,
    status: int = 200,
) -> Response:
    return page(
        request,
        "tokens.html",
        status,
        tokens=tokens_of(desk.database, actor, desk.at()),
        scopes=SCOPES,
        me=actor.person_id,
        shown=shown,
        fault=fault,
    )
