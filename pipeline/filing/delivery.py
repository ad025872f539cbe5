"""Hands finished files over: into the practice's folder, or to a FHIR server. Each answer is the place for the receipt."""

from __future__ import annotations

import errno
import os
import re
import time
import unicodedata
from pathlib import Path

import httpx

from pipeline.filing.errors import FilingError

_LONGEST_STEM = 180
"""In bytes: file systems take 255 for the whole name."""
_MOST_ALIKE = 1000
_NO_LINKS = (errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EMLINK)
# Names that Windows keeps for devices, with any ending (Microsoft, "Naming Files, Paths, and Namespaces"; from memory).
_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)")
_TIMEOUT_S = 30.0
WAITS_S = (1.0, 4.0)
"""How long to wait before each new attempt at a server that is away or busy."""


def safe_stem(pattern: str, parts: dict[str, str]) -> str:
    """Fill a name pattern so that the name is one file on every system, whatever the parts hold.

    Letters and digits of every script stay; all else becomes a blank, so that no part can name a folder or a drive. Raises
    FilingError for a pattern that asks for what there is not.
    """
    try:
        filled = pattern.format(**{name: _plain(text) for name, text in parts.items()})
    except (KeyError, ValueError, IndexError, AttributeError):
        known = ", ".join(f"{{{name}}}" for name in parts)
        raise FilingError(
            f"The pattern for names {pattern!r} cannot be filled: it may hold {known}."
        ) from None
    stem = _plain(filled).encode()[:_LONGEST_STEM].decode(errors="ignore").strip()
    if not stem:
        raise FilingError(f"The pattern for names {pattern!r} gives no name: put {{record}} into it.")
    return f"_{stem}" if _DEVICES.fullmatch(stem.split(" ")[0]) else stem


def put_in_folder(folder: Path, stem: str, ending: str, data: bytes) -> str:
    """Put a file into a folder and give its name there. Never overwrites: another file of that name gets a number behind it.

    The same bytes under that name count as put there already. Raises FilingError; nothing half stays.
    """
    half = folder / f".{stem}{ending}.{os.getpid()}.half"
    try:
        try:
            with half.open("xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            for number in range(1, _MOST_ALIKE):
                name = f"{stem}{f' ({number})' if number > 1 else ''}{ending}"
                if _named(half, folder / name) or (folder / name).read_bytes() == data:
                    return name
        finally:
            half.unlink(missing_ok=True)
    except OSError as error:
        raise FilingError(
            f"The practice's folder {folder} did not take the file: {error.strerror or error}. Nothing was changed there;"
            " try again once this is solved."
        ) from None
    raise FilingError(f"The practice's folder {folder} holds {_MOST_ALIKE} other files of the name {stem}.")


def post_to_server(base: str, token: str | None, bundle: bytes, waits_s: tuple[float, ...] = WAITS_S) -> str:
    """Give a document Bundle to a FHIR server (HL7, RESTful API, create) and give the address it has there.

    A server that is away or busy is asked again after each of the waits. Raises FilingError.
    """
    url = f"{base.rstrip('/')}/Bundle"
    headers = {"Content-Type": "application/fhir+json", "Accept": "application/fhir+json"}
    if token:
        headers["Authorization"] = f"Bearer {token}"
    reason = ""
    for wait_s in (0.0, *waits_s):
        time.sleep(wait_s)
        try:
            answer = httpx.post(url, content=bundle, headers=headers, timeout=_TIMEOUT_S)
        except (httpx.HTTPError, httpx.InvalidURL, OSError) as error:
            reason = f"it cannot be reached ({error})"
            continue
        if answer.status_code in (200, 201):
            return answer.headers.get("Location") or url
        reason = f"it answered {answer.status_code} {answer.reason_phrase}".strip()
        if answer.status_code < 500 and answer.status_code != 429:
            break
    raise FilingError(
        f"The FHIR server {base} did not take the document: {reason}. Try again once this is solved."
    )


def _named(half: Path, target: Path) -> bool:
    """Give the file its name unless that is taken. A link, unlike a rename, never takes another's place."""
    try:
        target.hardlink_to(half)
    except FileExistsError:
        return False
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        if target.exists():
            return False
        half.rename(target)
    return True


def _plain(text: str) -> str:
    normal = unicodedata.normalize("NFC", text)
    return " ".join(re.sub(r"[^\w-]+", " ", normal).split())
