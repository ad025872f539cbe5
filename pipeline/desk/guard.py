"""What holds for every request: where it may come from, how large it may be, what browsers may do with the answer.

Threat: a page elsewhere that makes the browser of somebody signed in send a form, a fetch or a WebSocket here (cross-site
request forgery). Method: whatever changes something, and every WebSocket, must come from this origin by the headers that
browsers set and pages cannot (`Sec-Fetch-Site`, else `Origin`; W3C Fetch Metadata, RFC 6454); forms carry a token besides
(`forms.py`). Let through on purpose: requests with neither header, which browsers do not send, since a program without a
browser holds no cookie of anybody; and requests with a bearer token, which no browser adds by itself.

The Content Security Policy (W3C, level 3) allows files of this origin and nothing written into the page.
"""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pipeline.desk.texts import say

_SAFE = frozenset(("GET", "HEAD", "OPTIONS"))
_SECURITY = {
    "Content-Security-Policy": "; ".join(
        (
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "img-src 'self' data: blob:",
            "media-src 'self' blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "worker-src 'self'",
            "manifest-src 'self'",
            "form-action 'self'",
            "frame-ancestors 'none'",
            "base-uri 'none'",
        )
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "microphone=(self), camera=(), geolocation=(), payment=(), usb=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
_STRICT_TRANSPORT = "max-age=31536000"

LARGEST_BODY = 1 << 20
"""Bytes of a request, unless its address is one that takes files."""

LARGEST_FILE = 1 << 30
"""Bytes of a recording that is sent as a file: eight hours of FLAC."""


class TooLargeError(Exception):
    """A request went on beyond what may be sent."""


class Guard:
    """The outermost layer: checks what comes in, adds headers to what goes out."""

    def __init__(self, app: ASGIApp, files_at: tuple[str, ...] = ()) -> None:
        """`files_at` are beginnings of addresses that take whole files."""
        self.app, self.files_at = app, files_at

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        if not _from_here(scope, headers):
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 4403, "reason": "other origin"})
                return
            await _refuse(403, "error.other_origin", scope, receive, self._with_headers(scope, send))
            return
        if scope["type"] == "websocket":
            await self.app(scope, receive, send)
            return
        if b"%00" in scope.get("raw_path", b"") or b"%00" in scope["query_string"]:
            # PostgreSQL's text holds no such character.
            await _refuse(400, "error.not_text", scope, receive, self._with_headers(scope, send))
            return
        limit = LARGEST_FILE if scope["path"].startswith(self.files_at) and self.files_at else LARGEST_BODY
        send = self._with_headers(scope, send)
        if _length(headers) > limit:
            await _refuse(413, "error.too_large", scope, receive, send)
            return
        try:
            await self.app(scope, _bounded(receive, limit), send)
        except TooLargeError:
            await _refuse(413, "error.too_large", scope, receive, send)

    def _with_headers(self, scope: Scope, send: Send) -> Send:
        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _SECURITY.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "no-store")
                if scope["scheme"] == "https":
                    headers.setdefault("Strict-Transport-Security", _STRICT_TRANSPORT)
            await send(message)

        return sent


def _from_here(scope: Scope, headers: Headers) -> bool:
    if scope["type"] == "http" and scope["method"] in _SAFE:
        return True
    if headers.get("authorization", "").lower().startswith("bearer "):
        return True
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc == headers.get("host")


def _length(headers: Headers) -> int:
    given = headers.get("content-length", "0")
    return int(given) if given.isascii() and given.isdigit() else 0


def _bounded(receive: Receive, limit: int) -> Receive:
    taken = 0

    async def received() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > limit:
            raise TooLargeError
        return message

    return received


async def _refuse(status: int, text: str, scope: Scope, receive: Receive, send: Send) -> None:
    message = say(text)
    if scope["path"].startswith("/api/"):
        await JSONResponse({"status": status, "message": message}, status)(scope, receive, send)
    else:
        await PlainTextResponse(message, status)(scope, receive, send)
