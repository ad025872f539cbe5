"""The desk's three cookies: the sign-in, a secret before it, and how the pages shall look.

Over TLS the first two carry the prefix `__Host-` (RFC 6265bis), by which browsers refuse them from anywhere else.
"""

from __future__ import annotations

import secrets
from datetime import timedelta

from fastapi import Request, Response
from starlette.requests import HTTPConnection

_SIGN_IN = "rostral_sign_in"
_BEFORE = "rostral_browser"
_LOOK = "rostral_look"

LOOKS = ("system", "light", "dark", "contrast")
_YEAR = timedelta(days=365)


def sign_in_secret(connection: HTTPConnection) -> str | None:
    """What the browser shows to be let in; null without a sign-in."""
    return connection.cookies.get(_named(connection, _SIGN_IN))


def browser_secret(request: Request) -> str:
    """A secret that this browser alone holds: the sign-in's, else one that the answer brings along."""
    held = sign_in_secret(request) or request.cookies.get(_named(request, _BEFORE))
    if held:
        return held
    fresh = getattr(request.state, "fresh_secret", None) or secrets.token_urlsafe(32)
    request.state.fresh_secret = fresh
    return str(fresh)


def hand_over_secret(request: Request, response: Response) -> None:
    """Give the browser the secret that was made for this page, where one was."""
    if fresh := getattr(request.state, "fresh_secret", None):
        _set(request, response, _BEFORE, fresh, None)


def set_sign_in(request: Request, response: Response, secret: str, lasting: timedelta) -> None:
    """Let the browser keep a sign-in."""
    _set(request, response, _SIGN_IN, secret, lasting)
    response.delete_cookie(_named(request, _BEFORE), secure=_secure(request), httponly=True)


def clear_sign_in(request: Request, response: Response) -> None:
    """Let the browser forget its sign-in."""
    response.delete_cookie(_named(request, _SIGN_IN), secure=_secure(request), httponly=True)


def look_of(request: Request) -> str:
    """How the pages shall look: as the system says, light, dark or with high contrast."""
    look = request.cookies.get(_LOOK, "system")
    return look if look in LOOKS else "system"


def set_look(request: Request, response: Response, look: str) -> None:
    """Keep how the pages shall look."""
    response.set_cookie(
        _LOOK,
        look,
        max_age=int(_YEAR.total_seconds()),
        samesite="strict",
        secure=_secure(request),
        httponly=True,
    )


def _set(request: Request, response: Response, name: str, value: str, lasting: timedelta | None) -> None:
    response.set_cookie(
        _named(request, name),
        value,
        max_age=int(lasting.total_seconds()) if lasting is not None else None,
        httponly=True,
        samesite="strict",
        secure=_secure(request),
    )


def _named(connection: HTTPConnection, name: str) -> str:
    return f"__Host-{name}" if _secure(connection) else name


def _secure(connection: HTTPConnection) -> bool:
    return connection.url.scheme in ("https", "wss")
