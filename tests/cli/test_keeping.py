"""The practice's books on the command line: setting up, who acts, whose record it is."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from pathlib import Path

import pytest
from commands import Run, one_line

from pipeline.cli.keeping import open_database
from pipeline.desk.passwords import fits, must_not_wait, was_wrong
from pipeline.settings import load_settings
from pipeline.store import account_of, actor_of, audit, begin_sign_in, events_of, sign_in_of
from pipeline.store.stamps import now


def test_without_a_database_it_is_said_how_to_begin(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run
) -> None:
    monkeypatch.setenv("ROSTRAL_DATABASE", str(tmp_path / "none.sqlite"))
    result = run("patient", "show", "Juniper")
    assert result.exit_code == 1
    assert "rostral practice begin" in one_line(result.stderr)
    assert not (tmp_path / "none.sqlite").exists()


def test_one_person_alone_acts_without_being_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run
) -> None:
    monkeypatch.setenv("ROSTRAL_DATABASE", str(tmp_path / "one.sqlite"))
    run("practice", "begin", "Alder Lane Surgery", "--manager", "Odile Farran")
    assert run("owner", "add", "--name", "Dana Whitlock").exit_code == 0


def test_of_several_people_one_has_to_be_named(
    books: str | Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    result = run("owner", "add", "--name", "Dana Whitlock")
    assert result.exit_code == 2
    told = one_line(result.stderr)
    assert "--as" in told
    assert "Ines Halloran (vet)" in told
    assert "Nobody called 'Ivo'" in run("people", "list", "--as", "Ivo").stderr
    monkeypatch.setenv("ROSTRAL_PERSON", "Ines  halloran")
    assert run("owner", "add", "--name", "Dana Whitlock").exit_code == 0


def test_namesakes_are_told_apart_by_identifier(books: str | Path, run: Run) -> None:
    run("people", "add", "Ines Halloran", "--role", "nurse", "--as", "Odile Farran")
    result = run("people", "list", "--as", "Ines Halloran")
    assert result.exit_code == 2
    identifiers = re.findall(r"[0-9a-f]{32}", result.stderr)
    assert len(identifiers) == 2
    assert run("people", "list", "--as", identifiers[0]).exit_code == 0


def test_whoever_was_retired_acts_no_more(books: str | Path, run: Run) -> None:
    people = json.loads(run("people", "list", "--json", "--as", "Odile Farran").stdout)
    nurse = next(one["id"] for one in people if one["role"] == "nurse")
    assert run("people", "retire", nurse[:20], "--as", "Ines Halloran").exit_code == 1
    assert run("people", "retire", nurse[:20], "--as", "Odile Farran").exit_code == 0
    assert run("people", "list", "--as", "Tobin Marsh").exit_code == 2


def test_the_letterhead_is_set_line_by_line(books: str | Path, run: Run) -> None:
    run("practice", "letterhead", "--address", "4 Alder Lane", "--phone", "0000 555", "--as", "Odile Farran")
    run("practice", "letterhead", "--phone", "", "--registration", "RV 17", "--as", "Odile Farran")
    practice = json.loads(run("practice", "show", "--json", "--as", "Tobin Marsh").stdout)
    del practice["id"]
    assert practice == {
        "name": "Alder Lane Surgery",
        "address": "4 Alder Lane",
        "phone": None,
        "email": None,
        "registration": "RV 17",
        "retention_years": None,
    }
    refused = run("practice", "letterhead", "--phone", "1", "--as", "Tobin Marsh")
    assert refused.exit_code == 1
    assert "Only a manager" in one_line(refused.stderr)


def test_a_patient_file_is_kept_with_its_owner(juniper: str, run: Run) -> None:
    for words in (juniper, juniper[:14], "840 000 000 000 103", "junip"):
        shown = run("patient", "show", words, "--as", "Tobin Marsh")
        assert "Dana Whitlock" in shown.stdout, words
    owner = run("owner", "show", "whitlock", "--as", "Tobin Marsh")
    assert "Juniper, cat" in owner.stdout


def test_words_that_several_have_name_them_all(juniper: str, run: Run) -> None:
    run("patient", "add", "--name", "Juniper", "--species", "rabbit", "--as", "Tobin Marsh")
    result = run("patient", "show", "Juniper", "--as", "Tobin Marsh")
    assert result.exit_code == 2
    assert "Juniper, rabbit" in one_line(result.stderr)
    assert juniper in result.stderr
    assert run("patient", "show", "Bramley", "--as", "Tobin Marsh").exit_code == 2


def test_a_patient_is_changed_field_by_field(juniper: str, run: Run) -> None:
    changed = run("patient", "change", juniper, "--neutered", "--sex", "female", "--as", "Tobin Marsh")
    assert changed.exit_code == 0
    wrong = run("patient", "change", juniper, "--sex", "queen", "--as", "Tobin Marsh")
    assert wrong.exit_code == 2
    assert "'sex'" in one_line(wrong.stderr)
    patient = json.loads(run("patient", "show", juniper, "--json", "--as", "Tobin Marsh").stdout)["patient"]
    assert (patient["neutered"], patient["sex"], patient["birth_date"]) == (True, "female", "2023-03-20")


def test_a_record_is_kept_as_a_draft_of_its_patient(juniper: str, run: Run) -> None:
    made = run(
        "extract", "-", "--keep", "Juniper", "--visit", "recheck", "--json", "--as", "Ines Halloran",
        given="Left ear red. Eyes clear.",
    )  # fmt: skip
    assert made.exit_code == 0, made.stderr
    assert json.loads(made.stdout)["patient"]["name"] == "Juniper"
    assert "Kept as a draft of Juniper, cat" in one_line(made.stderr)
    (visit,) = json.loads(run("patient", "show", juniper, "--json", "--as", "Tobin Marsh").stdout)["visits"]
    assert (visit["kind"], visit["state"]) == ("recheck", "draft")
    assert visit["record_id"] in made.stderr


def test_another_animals_file_is_refused(juniper: str, tmp_path: Path, run: Run) -> None:
    file = tmp_path / "bramley.json"
    file.write_text('{"name": "Bramley", "species": "dog"}', encoding="utf-8")
    result = run(
        "extract", "-", "--keep", juniper, "--patient", file, "--as", "Ines Halloran", given="Eyes clear."
    )
    assert result.exit_code == 2
    assert "two animals" in one_line(result.stderr)


def test_a_manager_who_forgot_their_password_gets_another_one_here(books: str | Path, run: Run) -> None:
    """The account's sign-ins end, guesses that went before are forgiven, and the trail says where it was done."""
    told = run("people", "password", "Odile Farran")
    assert told.exit_code == 2
    assert "--login" in told.stderr
    assert run("people", "password", "Odile Farran", "--login", "odile").exit_code == 0
    at = now()
    with open_database(load_settings()) as database:
        account = account_of(database, "odile")
        assert account is not None
        odile = actor_of(database, account.practice_id, account.person_id)
        begin_sign_in(database, odile, "shown by a browser", at, at + timedelta(hours=1), "a browser")
        for _ in range(9):
            was_wrong(database, "odile", "10.0.0.7", at)
    result = run("people", "password", "odile  farran")
    assert result.exit_code == 0
    assert "signs in as odile" in result.stdout
    secret = result.stdout.splitlines()[1].strip()
    with open_database(load_settings()) as database:
        assert fits(account_of(database, "odile"), secret)
        assert sign_in_of(database, "shown by a browser", at, timedelta(hours=1)) is None
        must_not_wait(database, "odile", "10.0.0.8", now())
        last = events_of(database, odile, odile.person_id)[-1]
        assert (last.action, last.by) == ("open_account", "Odile Farran")
        assert last.detail == {"login": "odile", "place": "command line"}
        assert secret not in str(last)
        assert audit(database) == ()


def test_who_is_no_manager_gets_a_password_from_one(books: str | Path, run: Run) -> None:
    asked = ("people", "password", "Ines Halloran", "--login", "ines")
    assert "--as" in run(*asked).stderr
    result = run(*asked, "--as", "Tobin Marsh")
    assert result.exit_code == 1
    assert "Only a manager" in one_line(result.stderr)
    assert run(*asked, "--as", "Odile Farran").exit_code == 0
    assert "Nobody called 'Ivo'" in run("people", "password", "Ivo").stderr
