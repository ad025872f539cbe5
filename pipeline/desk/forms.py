"""Forms: their token, which no other page knows, and their fields as plain text.

The token is made of the browser's own secret (the sign-in's, or before that one of chance), so that it fits nobody else's
browser and nothing is kept for it (OWASP: HMAC-based token pattern).
"""

from __future__ import annotations

import hmac
from hashlib import sha256
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from pipeline.desk.cookies import browser_secret
from pipeline.desk.errors import NotTextError, StaleFormError

FIELD = "form_token"
HEADER = "X-Form-Token"


def form_token(request: Request) -> str:
    """The token that a form of this browser must carry."""
    return hmac.new(browser_secret(request).encode(), b"form", sha256).hexdigest()


async def checked_form(request: Request) -> dict[str, str]:
    """The fields of a form that this browser was given, without blanks at their ends. Raises StaleFormError."""
    form = await request.form()
    given = request.headers.get(HEADER) or str(form.get(FIELD, ""))
    if not hmac.compare_digest(given.encode(), form_token(request).encode()):
        raise StaleFormError
    return {
        name: value.replace("\0", "").strip()
        for name, value in form.items()
        if not isinstance(value, UploadFile) and name != FIELD
    }


async def whole_text(request: Request) -> None:
    """Refuse JSON with the character zero, which PostgreSQL's text cannot hold. Raises NotTextError."""
    if b"\\u0000" in await request.body():
        raise NotTextError


def checked_script(request: Request) -> None:
    """Let a page's own script through: it shows the page's token in a header. Raises StaleFormError."""
    if not hmac.compare_digest(request.headers.get(HEADER, "").encode(), form_token(request).encode()):
        raise StaleFormError


Form = Annotated[dict[str, str], Depends(checked_form)]
OwnScript = Depends(checked_script)
