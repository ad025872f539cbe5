"""Who works here: adding people, giving them sign-ins, ending their access; the practice's letterhead."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from pipeline.desk import passwords
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.errors import status_of
from pipeline.desk.forms import Form
from pipeline.desk.pages import go_to, page
from pipeline.desk.who import Manager
from pipeline.store import (
    Actor,
    Practice,
    StoreError,
    add_person,
    change_practice,
    checked_login,
    logins_of,
    open_account,
    people,
    practice_of,
    retire_person,
)

router = APIRouter(include_in_schema=False)

_LETTERHEAD = ("name", "address", "phone", "email", "registration")


@router.get("/people")
def people_page(request: Request, desk: AtDesk, manager: Manager) -> Response:
    """Everybody, with role and sign-in name."""
    return _people(request, desk, manager)


@router.post("/people")
def add(request: Request, desk: AtDesk, manager: Manager, form: Form) -> Response:
    """Add somebody with a first password, which is shown this once."""
    given = {name: form.get(name, "") for name in ("name", "role", "login")}
    try:
        password, login = passwords.first_password(), checked_login(given["login"])
        added = add_person(desk.database, manager, given["name"], given["role"], desk.at())
        open_account(desk.database, manager, added.person_id, login, passwords.hashed(password), desk.at())
    except StoreError as error:
        return _people(request, desk, manager, given=given, fault=str(error), status=status_of(error))
    shown = {"name": added.name, "login": login, "password": password}
    return _people(request, desk, manager, shown=shown)


@router.post("/people/{person_id}/sign-in")
def give_sign_in(request: Request, desk: AtDesk, manager: Manager, person_id: str, form: Form) -> Response:
    """Give somebody a new first password, and a sign-in name where they had none."""
    login = form.get("login", "")
    try:
        password = passwords.first_password()
        account = open_account(
            desk.database, manager, person_id, login, passwords.hashed(password), desk.at()
        )
    except StoreError as error:
        return _people(request, desk, manager, fault=str(error), status=status_of(error))
    name = next(one.name for one in people(desk.database) if one.id == person_id)
    shown = {"name": name, "login": account.login, "password": password}
    return _people(request, desk, manager, shown=shown)


@router.post("/people/{person_id}/retire")
def retire(request: Request, desk: AtDesk, manager: Manager, person_id: str, form: Form) -> Response:
    """End somebody's access; what they did and signed stays."""
    try:
        retire_person(desk.database, manager, person_id, desk.at())
    except StoreError as error:
        return _people(request, desk, manager, fault=str(error), status=status_of(error))
    return go_to("/people")


@router.get("/practice")
def practice_page(request: Request, desk: AtDesk, manager: Manager) -> Response:
    """What stands at the head of documents."""
    practice = practice_of(desk.database, manager)
    return page(request, "practice.html", practice=practice, fault=None, done="done" in request.query_params)


@router.post("/practice")
def letterhead(request: Request, desk: AtDesk, manager: Manager, form: Form) -> Response:
    """Keep name and letterhead as given."""
    values = {name: form.get(name) or None for name in _LETTERHEAD}
    before = practice_of(desk.database, manager)
    changed = Practice.model_validate({**before.model_dump(), **values, "name": values["name"] or ""})
    try:
        change_practice(desk.database, manager, changed, desk.at())
    except StoreError as error:
        return page(
            request, "practice.html", status_of(error), practice=changed, fault=str(error), done=False
        )
    return go_to("/practice?done=1")


def _people(
    request: Request,
    desk: Desk,
    manager: Actor,
    *,
    given: dict[str, str] | None = None,
    shown: dict[str, str] | None = None,
    fault: str | None = None,
    status: int = 200,
) -> Response:
    ours = [one for one in people(desk.database) if one.practice_id == manager.practice_id]
    return page(
        request,
        "people.html",
        status,
        people=ours,
        logins=logins_of(desk.database, manager),
        me=manager.person_id,
        given=given or {"name": "", "role": "vet", "login": ""},
        shown=shown,
        fault=fault,
        new="new" in request.query_params,
    )
