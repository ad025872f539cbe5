"""The first start: the practice and its first account, for whoever reads the code that the program printed."""

from __future__ import annotations

import hmac

from fastapi import APIRouter, Request, Response
from starlette.exceptions import HTTPException

from pipeline.desk import passwords
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.errors import status_of
from pipeline.desk.forms import Form
from pipeline.desk.pages import go_to, page
from pipeline.desk.routes.signing_in import let_in
from pipeline.desk.texts import say
from pipeline.store import (
    Actor,
    EntryError,
    NotAllowedError,
    Person,
    StoreError,
    actor_of,
    any_account,
    checked_login,
    found_practice,
    open_account,
    people,
)

router = APIRouter(include_in_schema=False)

_FIELDS = ("code", "practice", "manager", "login", "person")


@router.get("/set-up")
def set_up_page(request: Request, desk: AtDesk, code: str = "") -> Response:
    """Ask for the practice and its manager; not there once somebody can sign in."""
    _must_be_new(desk)
    return _asked(request, desk, {"code": code})


@router.post("/set-up")
def set_up(request: Request, desk: AtDesk, form: Form) -> Response:
    """Make the practice and its manager's account, or an account for the manager of a practice that is there."""
    _must_be_new(desk)
    given = {name: form.get(name, "") for name in _FIELDS}
    try:
        manager = _first_manager(desk, given, form.get("password", ""), form.get("again", ""))
    except StoreError as error:
        return _asked(request, desk, given, str(error), status_of(error))
    response = go_to("/people?new=1")
    let_in(desk, request, response, manager)
    return response


def _first_manager(desk: Desk, given: dict[str, str], password: str, again: str) -> Actor:
    code = desk.options.set_up_code or ""
    if not code or not hmac.compare_digest(code.encode(), given["code"].strip().encode()):
        raise NotAllowedError(say("set_up.wrong_code"))
    if password != again:
        raise EntryError(say("me.differ"))
    hash_, login = passwords.hashed(password), checked_login(given["login"])
    at = desk.at()
    if given["person"]:
        chosen = next((one for one in _managers(desk) if one.id == given["person"]), None)
        if chosen is None:
            raise EntryError(say("set_up.nobody"))
        manager = actor_of(desk.database, chosen.practice_id, chosen.id)
    else:
        manager = found_practice(desk.database, given["practice"], given["manager"], at)
    open_account(desk.database, manager, manager.person_id, login, hash_, at)
    return manager


def _asked(
    request: Request, desk: Desk, given: dict[str, str], fault: str | None = None, status: int = 200
) -> Response:
    values = {name: given.get(name, "") for name in _FIELDS}
    return page(
        request,
        "set_up.html",
        status,
        given=values,
        managers=_managers(desk),
        fault=fault,
        shortest=passwords.SHORTEST,
    )


def _managers(desk: Desk) -> tuple[Person, ...]:
    return tuple(one for one in people(desk.database) if one.active and one.role == "manager")


def _must_be_new(desk: Desk) -> None:
    if any_account(desk.database):
        raise HTTPException(404)
