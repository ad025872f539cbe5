"""Passwords: Argon2id hashes (RFC 9106) by pwdlib, and how fast guesses may come."""

from __future__ import annotations

import functools
import secrets
from datetime import datetime, timedelta

from pwdlib import PasswordHash

from pipeline.desk.errors import TooOftenError
from pipeline.desk.texts import say
from pipeline.store import Account, Database, EntryError, failures, forget_failures, note_failure

SHORTEST = 10
"""Characters of a password. NIST SP 800-63B-4 asks for length and forbids rules about kinds of characters; from memory."""

LONGEST = 200

_SYLLABLES = "bcdfghjkmnprstvz", "aeiou"
_FREE_FOR_A_NAME = 5
_FREE_FOR_AN_ADDRESS = 30
_LONGEST_WAIT_S = 900
_FORGOTTEN = timedelta(hours=24)


def hashed(password: str) -> str:
    """The hash of a new password. Raises EntryError for one that is too short or too long."""
    if not SHORTEST <= len(password) <= LONGEST:
        raise EntryError(say("error.password_length", shortest=SHORTEST, longest=LONGEST))
    return _hasher().hash(password)


def first_password() -> str:
    """Four spoken groups, about 41 bits: easy to copy by hand, and changed by who gets it."""
    consonants, vowels = _SYLLABLES

    def group() -> str:
        return "".join(secrets.choice(letters) for letters in (consonants, vowels, consonants))

    return "-".join(group() for _ in range(4))


def fits(account: Account | None, password: str) -> bool:
    """Whether it is the account's password; without an account as slow as with one, so that time tells no names."""
    kept = account.password if account is not None else _nobody()
    return _hasher().verify(password[:LONGEST], kept) and account is not None


def must_not_wait(database: Database, login: str, address: str, at: datetime) -> None:
    """Raises TooOftenError while guesses at this name, or from this address, have to wait."""
    name, place = _keys(login, address)
    found = failures(database, (name, place))
    waits = [
        _wait_s(*found[key], free, at)
        for key, free in ((name, _FREE_FOR_A_NAME), (place, _FREE_FOR_AN_ADDRESS))
        if key in found
    ]
    if any(wait > 0 for wait in waits):
        raise TooOftenError(max(waits))


def was_wrong(database: Database, login: str, address: str, at: datetime) -> None:
    """Count a wrong guess."""
    for key in _keys(login, address):
        note_failure(database, key, at, _FORGOTTEN)


def was_right(database: Database, login: str) -> None:
    """Forget the wrong guesses at this name; those from an address stay, or one known password would free all."""
    forget_failures(database, _keys(login)[0])


def _wait_s(count: int, last: datetime, free: int, at: datetime) -> int:
    """Seconds left: none for the first guesses, then twice as long after each."""
    if count < free:
        return 0
    wait: int = min(2 ** min(count - free + 1, 20), _LONGEST_WAIT_S)
    return max(0, wait - int((at - last).total_seconds()))


def _keys(login: str, address: str = "") -> tuple[str, str]:
    return f"name:{login.strip().lower()[:200]}", f"address:{address}"


@functools.cache
def _hasher() -> PasswordHash:
    return PasswordHash.recommended()


@functools.cache
def _nobody() -> str:
    return _hasher().hash("nobody's password")
