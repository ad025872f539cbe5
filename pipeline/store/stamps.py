"""Identifiers, times, and checksums of what is kept."""

from __future__ import annotations

import hashlib
import json
import secrets
import time
from datetime import UTC, datetime


def new_id() -> str:
    """32 hexadecimal digits: milliseconds since 1970, then chance. So rows made after each other lie beside each other."""
    return f"{time.time_ns() // 1_000_000:012x}{secrets.token_hex(10)}"


def now() -> datetime:
    """The time of day with its zone, UTC."""
    return datetime.now(UTC)


def stamp(at: datetime) -> str:
    """A time as it is kept: 2025-06-16T09:30:00.000000Z."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def sha256(text: str) -> str:
    """Checksum of a text, in hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def canonical(value: object) -> str:
    """JSON in one form only, after RFC 8785 as far as plain values go: keys sorted, no blanks, characters as they are."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
