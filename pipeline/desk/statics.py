"""Styles, scripts and pictures under addresses that change with their content, so that browsers may keep them for ever."""

from __future__ import annotations

import functools
import hashlib
import mimetypes
from importlib import resources
from importlib.resources.abc import Traversable

from fastapi import APIRouter, Request, Response
from starlette.exceptions import HTTPException

router = APIRouter()

_FOR_EVER = "public, max-age=31536000, immutable"
_ASK_AGAIN = "no-cache"
_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}


def asset(name: str) -> str:
    """The address of a static file. Scripts import each other by relative addresses, within one edition."""
    return f"/static/{edition()}/{name}"


@functools.cache
def edition() -> str:
    """Short checksum of all static files together."""
    digest = hashlib.sha256()
    for name, file in sorted(_files().items()):
        digest.update(name.encode() + b"\0" + file.read_bytes() + b"\0")
    return digest.hexdigest()[:12]


def names() -> tuple[str, ...]:
    """The static files there are."""
    return tuple(sorted(_files()))


@router.get("/static/{asked}/{name}", include_in_schema=False)
def static(asked: str, name: str, request: Request) -> Response:
    """A static file; one of an older edition is given as it is now, and not to be kept."""
    file = _files().get(name)
    if file is None:
        raise HTTPException(404)
    current = asked == edition()
    headers = {"Cache-Control": _FOR_EVER if current else _ASK_AGAIN, "ETag": f'"{edition()}"'}
    if request.headers.get("if-none-match") == headers["ETag"]:
        return Response(status_code=304, headers=headers)
    return Response(content(name), media_type=_type(name), headers=headers)


@functools.cache
def content(name: str) -> bytes:
    """The bytes of a static file."""
    return _files()[name].read_bytes()


@functools.cache
def _files() -> dict[str, Traversable]:
    folder = resources.files("pipeline.desk") / "static"
    return {file.name: file for file in folder.iterdir() if file.is_file() and not file.name.startswith(".")}


def _type(name: str) -> str:
    ending = name[name.rfind(".") :]
    return _TYPES.get(ending) or mimetypes.guess_type(name)[0] or "application/octet-stream"
