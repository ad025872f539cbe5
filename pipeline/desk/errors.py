"""What goes wrong at the desk, told as a page to people and as JSON to programs: what happened, and what to do."""

from __future__ import annotations

import logging
import uuid
from urllib.parse import quote

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from lexicon import LexiconError
from pipeline.desk.texts import say, texts
from pipeline.filing import FilingError
from pipeline.jobs import JobsError
from pipeline.review import ReviewError
from pipeline.store import (
    ConflictError,
    DatabaseError,
    EntryError,
    NotAllowedError,
    NotFoundError,
    StoreError,
)
from pipeline.store.model import Role

log = logging.getLogger("rostral.desk")

_FOR_PROGRAMS = ("/api/", "/metrics", "/healthz")

_STATUS: tuple[tuple[type[Exception], int], ...] = (
    (NotFoundError, 404),
    (NotAllowedError, 403),
    (ConflictError, 409),
    (EntryError, 422),
    (ReviewError, 422),
    (JobsError, 409),
    (FilingError, 500),
    (DatabaseError, 503),
    (LexiconError, 503),
    (StoreError, 400),
)


class DeskError(Exception):
    """Something that the desk itself refuses; the message is for the person who asked."""

    status = 400


class SignInNeededError(DeskError):
    """Nobody is signed in."""

    status = 401

    def __init__(self) -> None:
        super().__init__(say("error.sign_in"))


class BadTokenError(DeskError):
    """A program asks without a token that is in force."""

    status = 401

    def __init__(self) -> None:
        super().__init__(say("error.token"))


class OutOfScopeError(DeskError):
    """A token does not let do this."""

    status = 403

    def __init__(self, scope: str) -> None:
        super().__init__(say("error.scope", scope=scope))


class NotForRoleError(DeskError):
    """Somebody is signed in who may not do this."""

    status = 403

    def __init__(self, roles: tuple[Role, ...]) -> None:
        named = say("error.or").join(say(f"role.{role}") for role in roles)
        super().__init__(say("error.role", roles=named))


class StaleFormError(DeskError):
    """A form without this browser's token: it was open too long, or came from elsewhere."""

    status = 403

    def __init__(self) -> None:
        super().__init__(say("error.stale_form"))


class NotTextError(DeskError):
    """A character that no text has was sent."""

    status = 422

    def __init__(self) -> None:
        super().__init__(say("error.not_text"))


class TooOftenError(DeskError):
    """A password was guessed too often."""

    status = 429

    def __init__(self, wait_s: int) -> None:
        super().__init__(say("error.too_often", n=wait_s))
        self.wait_s = wait_s


def install(app: FastAPI) -> None:
    """Let the application tell of its errors in this way."""
    for kind in (DeskError, StoreError, ReviewError, FilingError, JobsError, LexiconError):
        app.add_exception_handler(kind, _known)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _wrong_request)
    app.add_exception_handler(Exception, _unknown)


def status_of(error: Exception) -> int:
    """The HTTP status that tells of an error."""
    if isinstance(error, DeskError):
        return error.status
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 500)


def wants_json(request: Request) -> bool:
    """Whether a program asks, or a script of a page."""
    return request.url.path.startswith(_FOR_PROGRAMS) or "application/json" in request.headers.get(
        "accept", ""
    )


async def _known(request: Request, error: Exception) -> Response:
    status = status_of(error)
    if status == 401 and not wants_json(request):
        asked = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        back = f"?next={quote(asked)}" if request.method == "GET" else ""
        return RedirectResponse(f"/sign-in{back}", 303)
    response = await _told(request, status, str(error))
    if isinstance(error, TooOftenError):
        response.headers["Retry-After"] = str(error.wait_s)
    if status == 401:
        response.headers["WWW-Authenticate"] = "Bearer"
    return response


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101 - registered for it alone
    name = f"error.http_{error.status_code}"
    message = say(name) if name in texts() else say("error.http_400")
    response = await _told(request, error.status_code, message)
    response.headers.update(error.headers or {})
    return response


async def _wrong_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101 - registered for it alone
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"] if part not in ("body", "query", "path"))
    return await _told(request, 422, say("error.field", place=place or "body", why=first["msg"]))


async def _unknown(request: Request, error: Exception) -> Response:
    number = uuid.uuid4().hex[:8]
    log.error("request %s %s failed (%s)", request.method, request.url.path, number, exc_info=error)
    return await _told(request, 500, say("error.internal", number=number))


async def _told(request: Request, status: int, message: str) -> Response:
    from pipeline.desk.pages import page  # noqa: PLC0415 - pages need the errors above

    if wants_json(request):
        return JSONResponse({"status": status, "message": message}, status)
    return await run_in_threadpool(page, request, "error.html", status, message=message, code=status)
