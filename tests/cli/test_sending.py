"""Handing over: into a folder and to a small FHIR server on this machine, with receipts; failures stay until they are solved."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from collections.abc import Iterator
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

import pytest
from commands import Run, one_line
from kept import Practice, new_practice
from receivers import FhirServer, Postbox, fhir_server, mail_server

from pipeline.cli import sending
from pipeline.record import Owner
from pipeline.store import Database, add_client, audit, change_patient, events_of, patient_of, record_line


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[FhirServer]:
    with fhir_server() as running:
        monkeypatch.setenv("ROSTRAL_FHIR_SERVER", running.address)
        yield running


@pytest.fixture
def postbox(monkeypatch: pytest.MonkeyPatch) -> Iterator[Postbox]:
    with mail_server() as running:
        monkeypatch.setenv("ROSTRAL_MAIL_SERVER", "127.0.0.1")
        monkeypatch.setenv("ROSTRAL_MAIL_PORT", str(running.port))
        monkeypatch.setenv("ROSTRAL_MAIL_SECURITY", "none")
        monkeypatch.setenv("ROSTRAL_MAIL_SENDER", "desk@alderlane.example")
        yield running


@pytest.fixture
def books(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Practice]:
    place = tmp_path / "kept.sqlite"
    monkeypatch.setenv("ROSTRAL_DATABASE", str(place))
    monkeypatch.setenv("ROSTRAL_PERSON", "Tobin Marsh")
    monkeypatch.setenv("ROSTRAL_DELIVERY_FOLDER", str(tmp_path / "filed"))
    database = Database(place)
    yield new_practice(database)
    database.close()


def unsolved(run: Run) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(run("deliveries", "--unsolved", "--json").stdout)
    return found


def test_a_folder_that_is_away_fails_visibly_until_it_is_back(
    run: Run, books: Practice, tmp_path: Path
) -> None:
    record = books.signed().id
    failed = run("send", record, "--by", "folder")
    assert failed.exit_code == 1
    assert "did not take the file" in one_line(failed.stderr)
    [waiting] = unsolved(run)
    (tmp_path / "filed").mkdir()
    done = run("deliveries", "--again", waiting["id"][:14])
    assert done.exit_code == 0, done.stderr
    assert unsolved(run) == []
    [receipt] = json.loads(run("deliveries", "--json").stdout)
    data = Path(receipt["place"]).read_bytes()
    assert hashlib.sha256(data).hexdigest() == receipt["sha256"]
    assert (receipt["by"], receipt["version"], receipt["form"]) == ("Tobin Marsh", 1, "pdf")
    assert audit(books.database) == ()


def test_a_delivery_that_was_killed_stays_visible_and_arrives_once(
    run: Run, books: Practice, server: FhirServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed with -9 while the server thinks: it may have arrived, and the next call finds out."""
    record = books.signed().id
    server.goes_on.clear()
    call = [sys.executable, "-m", "pipeline.cli", "send", record, "--by", "fhir"]
    with subprocess.Popen(call, stderr=subprocess.DEVNULL) as process:
        assert server.asked.wait(120)
        process.kill()
    server.goes_on.set()
    monkeypatch.setattr(sending, "_SILENCE_S", 2.0)
    [waiting] = unsolved(run)
    assert "it may have arrived" in waiting["reason"]
    done = run("deliveries", "--again", waiting["id"])
    assert done.exit_code == 0, done.stderr
    assert unsolved(run) == []
    assert len(server.taken) == 1


def test_a_server_that_is_busy_for_a_moment_takes_the_document(
    run: Run, books: Practice, server: FhirServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is tried again while the user looks on; the token goes along."""
    (tmp_path / "token").write_text("abc\n", encoding="utf-8")
    monkeypatch.setenv("ROSTRAL_FHIR_TOKEN_FILE", str(tmp_path / "token"))
    server.answers.append(503)
    done = run("send", books.signed().id, "--by", "fhir")
    assert done.exit_code == 0, done.stderr
    assert server.taken[0][0] == "Bearer abc"
    assert "Delivered to /fhir/Bundle/0" in done.stdout


def test_a_server_that_is_away_is_told_and_tried_again_later(
    run: Run, books: Practice, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROSTRAL_FHIR_SERVER", "http://127.0.0.1:9/fhir")
    failed = run("send", books.signed().id, "--by", "fhir")
    assert failed.exit_code == 1
    assert "cannot be reached" in one_line(failed.stderr)
    assert "if rostral worker or serve runs then" in failed.stderr
    [waiting] = unsolved(run)
    assert waiting["state"] == "waiting"
    assert waiting["retry_at"] is not None
    assert run("deliveries", "--give-up", waiting["id"], "--because", "no server any more").exit_code == 0
    assert unsolved(run) == []


def test_a_refusing_server_is_one_line_and_can_be_given_up(
    run: Run, books: Practice, server: FhirServer
) -> None:
    server.answers.append(422)
    failed = run("send", books.signed().id, "--by", "fhir", "--release", "R5")
    assert failed.exit_code == 1
    assert "it answered 422" in one_line(failed.stderr)
    [waiting] = unsolved(run)
    assert run("deliveries", "--give-up", waiting["id"]).exit_code == 2
    assert run("deliveries", "--give-up", waiting["id"], "--because", "filed by hand").exit_code == 0
    assert unsolved(run) == []
    assert "No unsolved deliveries" in one_line(run("deliveries", "--again", waiting["id"]).stderr)


def owned(books: Practice) -> tuple[str, str]:
    """A signed record of an animal with an owner, and that owner."""
    record = books.signed().id
    line = record_line(books.database, books.nurse, record)
    owner = Owner(name="Rosalind Petheram", email="rosalind@example.org")
    client = add_client(books.database, books.nurse, owner, books.at())
    kept = patient_of(books.database, books.nurse, line.patient_id)
    change_patient(books.database, books.nurse, kept, kept.patient, client.id, books.at())
    return record, client.id


def test_an_owner_is_written_to_only_with_consent(run: Run, books: Practice, postbox: Postbox) -> None:
    record, owner = owned(books)
    refused = run("send", record, "--by", "mail")
    assert "has not agreed to e-mail" in one_line(refused.stderr)
    assert postbox.letters == []
    assert run("owner", "consent", owner, "--mail").exit_code == 0
    [waiting] = unsolved(run)
    done = run("deliveries", "--again", waiting["id"])
    assert done.exit_code == 0, done.stderr
    letter = message_from_bytes(postbox.letters[0], policy=policy.default)
    assert letter["To"] == "rosalind@example.org"
    [attached] = list(letter.iter_attachments())
    assert attached.get_content().startswith(b"%PDF")
    assert run("owner", "consent", owner, "--no-mail").exit_code == 0
    assert run("send", record, "--by", "mail").exit_code == 1
    assert len(postbox.letters) == 1


def test_a_refused_letter_stays_and_names_no_address(run: Run, books: Practice, postbox: Postbox) -> None:
    """The trail is kept for ever: an owner's address has no place there."""
    record, owner = owned(books)
    run("owner", "consent", owner, "--mail")
    postbox.answers.append("550 no such box")
    failed = run("send", record, "--by", "mail")
    assert failed.exit_code == 1
    assert "refused the owner's address (550)" in one_line(failed.stderr)
    assert len(unsolved(run)) == 1
    told = [event.model_dump_json() for event in events_of(books.database, books.nurse)]
    assert [event for event in told if "rosalind" in event.lower()] == []


@pytest.mark.parametrize("address", ["http://example.org/fhir", "ftp://example.org"])
def test_records_go_to_no_server_without_encryption(
    run: Run, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROSTRAL_FHIR_SERVER", address)
    refused = run("deliveries")
    assert refused.exit_code == 2
    assert "ROSTRAL_FHIR_SERVER" in one_line(refused.stderr)
