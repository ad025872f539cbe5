"""Pages: templates, what every one of them receives, and how values are written in them."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, PackageLoader, StrictUndefined

from pipeline.desk.cookies import LOOKS, hand_over_secret, look_of
from pipeline.desk.desk import desk_of
from pipeline.desk.forms import form_token
from pipeline.desk.statics import asset
from pipeline.desk.texts import as_json, day, say, say_or
from pipeline.desk.who import current_sign_in
from pipeline.record.wording import unit_text
from pipeline.store import SignIn


def page(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """A page. Beside `values` a template has `sign_in`, `form_token`, `look`, `path`, and the functions of `_environment`."""
    response = HTMLResponse(part(request, template, **values), status)
    hand_over_secret(request, response)
    return response


def part(request: Request, template: str, **values: Any) -> str:
    """A part of a page, as its script puts it in; a template has the same there."""
    sign_in = _sign_in(request)
    values |= {
        "sign_in": sign_in,
        "role": sign_in.actor.role if sign_in is not None else None,
        "form_token": form_token(request),
        "look": look_of(request),
        "path": request.url.path,
    }
    return _environment.get_template(template).render(values)


def go_to(address: str) -> RedirectResponse:
    """After a form was taken: the page to go on with."""
    return RedirectResponse(address, 303)


def own_address(given: str | None) -> str:
    """An address of this desk to go back to; the first page for any other, so that no link leads away through us."""
    if given and given.startswith("/") and not given.startswith(("//", "/\\")) and given.isprintable():
        return given
    return "/"


def _sign_in(request: Request) -> SignIn | None:
    if not hasattr(request.state, "sign_in"):
        current_sign_in(request, desk_of(request))
    found = request.state.sign_in
    return found if isinstance(found, SignIn) else None


def _moment(value: datetime) -> str:
    """A day and time of the server's own clock."""
    local = value.astimezone()
    return f"{day(local.date())}, {local:%H:%M}"


def _waited(since: datetime, now: datetime) -> str:
    """How long something waits, in the largest unit that says it."""
    minutes = max(0, int((now - since).total_seconds() // 60))
    for unit, length in (("day", 1440), ("hour", 60)):
        if minutes >= length:
            return say(f"waited.{unit}", n=minutes // length)
    return say("waited.minute", n=minutes) if minutes else say("waited.now")


def _clock(seconds: float | None) -> str:
    """A place in a recording: 1:05."""
    return "" if seconds is None else f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _named(value: str, section: str) -> tuple[str, str]:
    """A value with its name, for lists to choose from."""
    return value, say(f"{section}{value}")


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


_environment = Environment(
    loader=PackageLoader("pipeline.desk"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_environment.globals |= {
    "t": say,
    "t_or": say_or,
    "texts_json": as_json,
    "asset": asset,
    "looks": LOOKS,
}
_environment.filters |= {
    "day": day,
    "moment": _moment,
    "number": _number,
    "waited": _waited,
    "clock": _clock,
    "named": _named,
    "unit": unit_text,
}
