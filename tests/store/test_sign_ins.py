"""Accounts, sign-ins, tokens and wrong guesses, on both databases."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from kept import START, new_practice

from pipeline.store import (
    Database,
    EntryError,
    NotAllowedError,
    account_of,
    begin_sign_in,
    failures,
    make_token,
    note_failure,
    open_account,
    retire_person,
    sign_in_of,
    token_of,
)

DAY = timedelta(days=1)


def test_a_sign_in_name_is_one_persons_whatever_its_case(database: Database) -> None:
    practice = new_practice(database)
    open_account(database, practice.manager, practice.vet.person_id, "Ines.H", "hash", START)
    found = account_of(database, " INES.h ")
    assert found is not None
    assert found.person_id == practice.vet.person_id
    with pytest.raises(EntryError, match="somebody else's"):
        open_account(database, practice.manager, practice.nurse.person_id, "ines.h", "hash", START)
    with pytest.raises(NotAllowedError):
        open_account(database, practice.vet, practice.nurse.person_id, "tobin", "hash", START)


def test_a_sign_in_and_a_token_end_with_their_time_and_their_person(database: Database) -> None:
    practice = new_practice(database)
    begin_sign_in(database, practice.vet, "secret", START, START + DAY, "a browser")
    scopes = frozenset({"records:read"})
    make_token(database, practice.vet, "token", "scales", scopes, START, START + DAY)
    soon, late = START + timedelta(hours=1), START + 2 * DAY
    found = sign_in_of(database, "secret", soon, DAY)
    assert found is not None
    assert found.actor == practice.vet
    assert token_of(database, "token", soon) is not None
    assert sign_in_of(database, "another", soon, DAY) is None
    assert sign_in_of(database, "secret", late, 9 * DAY) is None
    assert token_of(database, "token", late) is None
    retire_person(database, practice.manager, practice.vet.person_id, START)
    assert sign_in_of(database, "secret", soon, DAY) is None
    assert token_of(database, "token", soon) is None


def test_guesses_at_the_same_moment_are_all_counted(database: Database) -> None:
    with ThreadPoolExecutor(8) as many:
        list(many.map(lambda _: note_failure(database, "name:vet", START, DAY), range(16)))
    assert failures(database, ("name:vet", "name:nurse")) == {"name:vet": (16, START)}
    assert note_failure(database, "name:vet", START + 2 * DAY, DAY) == 1
