"""Signing in and out, and one's own password."""

from __future__ import annotations

import secrets

from fastapi import APIRouter, Request, Response

from pipeline.desk import passwords
from pipeline.desk.cookies import clear_sign_in, set_sign_in, sign_in_secret
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.errors import DeskError, TooOftenError, status_of
from pipeline.desk.forms import Form
from pipeline.desk.pages import go_to, own_address, page
from pipeline.desk.texts import say
from pipeline.desk.who import Anyone, CurrentSignIn
from pipeline.store import (
    Actor,
    EntryError,
    account_of,
    account_of_person,
    actor_of,
    any_account,
    begin_sign_in,
    change_password,
    end_all_sign_ins,
    end_sign_in,
    sign_ins_of,
)

router = APIRouter(include_in_schema=False)


@router.get("/sign-in")
def sign_in_page(
    request: Request,
    desk: AtDesk,
    sign_in: CurrentSignIn,
    next: str = "/",
) -> Response:
    """Ask who it is."""
    if sign_in is not None:
        return go_to(own_address(next))
    if not any_account(desk.database):
        return go_to("/set-up")
    return page(request, "sign_in.html", next=own_address(next), fault=None, login="")


@router.post("/sign-in")
def sign_in(request: Request, desk: AtDesk, form: Form) -> Response:
    """Let in whoever knows the password."""
    login, back = form.get("login", ""), own_address(form.get("next"))
    try:
        actor = known(desk, request, login, form.get("password", ""))
    except DeskError as error:
        response: Response = page(
            request, "sign_in.html", status_of(error), next=back, fault=str(error), login=login
        )
        if isinstance(error, TooOftenError):
            response.headers["Retry-After"] = str(error.wait_s)
        return response
    response = go_to(back)
    let_in(desk, request, response, actor)
    return response


@router.post("/sign-out")
def sign_out(request: Request, desk: AtDesk, actor: Anyone, form: Form) -> Response:
    """End the sign-in of this browser, or of all."""
    if form.get("everywhere"):
        end_all_sign_ins(desk.database, actor, desk.at())
    elif secret := sign_in_secret(request):
        end_sign_in(desk.database, actor, secret, desk.at())
    response = go_to("/sign-in")
    clear_sign_in(request, response)
    # What this browser kept for a lost network is not for the next person.
    response.headers["Clear-Site-Data"] = '"cache"'
    return response


@router.get("/me")
def me(request: Request, desk: AtDesk, actor: Anyone) -> Response:
    """One's own account."""
    return _me(request, desk, actor)


@router.post("/me/password")
def new_password(request: Request, desk: AtDesk, actor: Anyone, form: Form) -> Response:
    """Change one's own password; every browser has to sign in anew, this one goes on."""
    try:
        confirm(desk, request, actor, form.get("password", ""))
        if form.get("new", "") != form.get("again", ""):
            raise EntryError(say("me.differ"))
        change_password(desk.database, actor, passwords.hashed(form.get("new", "")), desk.at())
    except (DeskError, EntryError) as error:
        return _me(request, desk, actor, fault=str(error), status=status_of(error))
    response = go_to("/me?done=password")
    let_in(desk, request, response, actor)
    return response


def known(desk: Desk, request: Request, login: str, password: str) -> Actor:
    """Whose sign-in name and password these are. Raises WrongPasswordError, TooOftenError."""
    address = request.client.host if request.client is not None else ""
    passwords.must_not_wait(desk.database, login, address, desk.at())
    account = account_of(desk.database, login)
    if not passwords.fits(account, password) or account is None:
        passwords.was_wrong(desk.database, login, address, desk.at())
        raise WrongPasswordError
    passwords.was_right(desk.database, login)
    return actor_of(desk.database, account.practice_id, account.person_id)


def confirm(desk: Desk, request: Request, actor: Actor, password: str) -> None:
    """Make sure that it is still the person who signed in. Raises WrongPasswordError, TooOftenError."""
    known(desk, request, account_of_person(desk.database, actor).login, password)


def let_in(desk: Desk, request: Request, response: Response, actor: Actor) -> None:
    """Begin a sign-in at the browser that asks."""
    secret, at, options = secrets.token_urlsafe(32), desk.at(), desk.options
    device = request.headers.get("user-agent", "")
    begin_sign_in(desk.database, actor, secret, at, at + options.lasting, device)
    set_sign_in(request, response, secret, options.lasting)


class WrongPasswordError(DeskError):
    """Name and password do not belong together; it is not told which of them is wrong."""

    status = 403

    def __init__(self) -> None:
        super().__init__(say("sign_in.wrong"))


def _me(request: Request, desk: Desk, actor: Actor, fault: str | None = None, status: int = 200) -> Response:
    return page(
        request,
        "me.html",
        status,
        account=account_of_person(desk.database, actor),
        browsers=sign_ins_of(desk.database, actor, desk.at()),
        shortest=passwords.SHORTEST,
        done=request.query_params.get("done") == "password" and fault is None,
        fault=fault,
    )
