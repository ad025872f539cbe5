"""Hands finished files over: into the practice's folder, or to a FHIR server. Each answer is the place for the receipt."""

from __future__ import annotations

import errno
import json
import os
import re
import secrets
import ssl
import unicodedata
from pathlib import Path
from typing import Any

import httpx

from pipeline.filing.errors import AwayError, FilingError
from pipeline.filing.trust import distrust

_LONGEST_STEM = 180
"""In bytes: file systems take 255 for the whole name."""
_MOST_ALIKE = 1000
_NO_LINKS = (errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EMLINK)
# Names that Windows keeps for devices, with any ending (Microsoft, "Naming Files, Paths, and Namespaces"; from memory).
_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)")
_LASTING = (errno.EACCES, errno.EPERM, errno.EROFS, errno.ENAMETOOLONG)
"""What a folder answers when waiting does not help."""
_TIMEOUT_S = 30.0
_PASSING = (408, 425, 429, 500, 502, 503, 504, 507)
"""Answers of a server that is busy, full or not well (RFC 9110, RFC 6585, RFC 8470, RFC 4918)."""
_LONGEST_WAIT_S = 24 * 3600.0
_LONGEST_SAID = 200


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


def put_in_folder(folder: Path, stem: str, ending: str, data: bytes, mark: str) -> str:
    """Put a file into a folder and give its name there. Never overwrites: another file of that name gets a number behind it.

    The same bytes under that name count as put there already. `mark` names what an attempt leaves behind that dies: the next one of
    that mark removes it. Raises AwayError, or FilingError for what waiting does not mend; nothing half stays.
    """
    half = folder / f".{mark}.{secrets.token_hex(4)}.half"
    try:
        for left in folder.glob(f".{mark}.*.half"):
            left.unlink(missing_ok=True)
        try:
            _write_whole(half, data)
            for number in range(1, _MOST_ALIKE):
                name = f"{stem}{f' ({number})' if number > 1 else ''}{ending}"
                if _named(half, folder / name) or (folder / name).read_bytes() == data:
                    return name
        finally:
            half.unlink(missing_ok=True)
    except OSError as error:
        kind = FilingError if error.errno in _LASTING else AwayError
        raise kind(
            f"The practice's folder {folder} did not take the file: {error.strerror or error}. Nothing was changed there."
        ) from None
    raise FilingError(f"The practice's folder {folder} holds {_MOST_ALIKE} other files of the name {stem}.")


def post_to_server(
    base: str, token: str | None, bundle: bytes, trusted: ssl.SSLContext, *, tried_before: bool = False
) -> str:
    """Give a document Bundle to a FHIR server (HL7, RESTful API, create) and give the address it has there.

    The server is asked to take it only if it holds no document of that identifier (conditional create). Not every server heeds
    that, so where it was `tried_before` and may have arrived, the server is asked first. Raises AwayError, or FilingError for what
    waiting does not mend.
    """
    url = f"{base.rstrip('/')}/Bundle"
    identifier = json.loads(bundle)["identifier"]
    same = httpx.QueryParams({"identifier": f"{identifier['system']}|{identifier['value']}"})
    headers = {"Accept": "application/fhir+json"}
    if token:
        if not (token.isascii() and token.isprintable()):
            # What the library would say of it repeats the token, and receipts are kept for good.
            raise FilingError(
                "The token for the FHIR server is not one line of plain characters: nothing was sent."
                " Mend the file that ROSTRAL_FHIR_TOKEN_FILE names."
            )
        headers["Authorization"] = f"Bearer {token}"
    try:
        with httpx.Client(headers=headers, verify=trusted, timeout=_TIMEOUT_S) as client:
            if tried_before and (there := _found(client.get(url, params=same), url)):
                return there
            sent = {"Content-Type": "application/fhir+json", "If-None-Exist": str(same)}
            answer = client.post(url, content=bundle, headers=sent)
    except (httpx.InvalidURL, httpx.UnsupportedProtocol, UnicodeError) as error:
        raise FilingError(f"{base} is no address of a FHIR server: {error}.") from None
    except (httpx.HTTPError, OSError) as error:
        why = distrust(error)
        if why is not None:
            raise FilingError(
                f"The FHIR server {base} shows a certificate that this machine does not trust ({why}): nothing was sent."
                " Have it mended, or name the file of its authority in ROSTRAL_AUTHORITIES."
            ) from None
        raise AwayError(f"The FHIR server {base} cannot be reached ({error}).") from None
    if answer.status_code in (200, 201):
        return answer.headers.get("Location") or url
    reason = f"The FHIR server {base} did not take the document: it answered {answer.status_code} {answer.reason_phrase}"
    if answer.status_code in _PASSING:
        raise AwayError(f"{reason.rstrip()}.", _asked_wait_s(answer))
    raise FilingError(f"{reason.rstrip()}.{_said(answer)}")


def _found(answer: httpx.Response, url: str) -> str | None:
    """Where the server holds the document that it was asked for; null where it has none or cannot tell."""
    if answer.status_code != 200:
        return None
    try:
        entries = answer.json().get("entry") or []
        first = entries[0]
        return str(first.get("fullUrl") or f"{url}/{first['resource']['id']}")
    except (ValueError, AttributeError, IndexError, KeyError, TypeError):
        return None


def _asked_wait_s(answer: httpx.Response) -> float | None:
    """How long the server asked to be left alone (RFC 9110, Retry-After, in seconds); null if it did not say."""
    said = answer.headers.get("Retry-After", "")
    return min(float(said), _LONGEST_WAIT_S) if said.isascii() and said.isdigit() else None


def _said(answer: httpx.Response) -> str:
    """What the server had to say about it, shortly (HL7 FHIR, OperationOutcome); empty if nothing."""
    try:
        issue: dict[str, Any] = answer.json()["issue"][0]
        told = issue.get("diagnostics") or issue["details"]["text"]
    except (ValueError, LookupError, TypeError):
        return ""
    return f" It says: {' '.join(str(told).split())[:_LONGEST_SAID]}"


def _write_whole(file: Path, data: bytes) -> None:
    """Write a new file and have it on the disk. Raises OSError."""
    with file.open("xb") as opened:
        opened.write(data)
        opened.flush()
        os.fsync(opened.fileno())


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
