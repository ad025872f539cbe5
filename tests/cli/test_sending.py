"""Handing over: into a folder and to a small FHIR server on this machine, with receipts; failures stay until they are solved."""

from __future__ import annotations

import contextlib
import hashlib
import json
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from email import message_from_bytes, policy
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, ClassVar

import pytest
from aiosmtpd.controller import Controller
from commands import Run, one_line
from hypothesis import given
from hypothesis import strategies as st
from kept import Practice, new_practice

from lexicon import load_lexicon
from pipeline.filing import FilingError
from pipeline.filing.delivery import post_to_server, put_in_folder, safe_stem
from pipeline.filing.fhir import read_fhir_document
from pipeline.filing.mail import Letter, MailServer, send_mail
from pipeline.record import Owner
from pipeline.store import Database, add_client, audit, change_patient, events_of, patient_of, record_line


class Endpoint(BaseHTTPRequestHandler):
    """Takes Bundles as the RESTful API says, once it has answered what `answers` still holds."""

    answers: ClassVar[list[int]] = []
    taken: ClassVar[list[tuple[str | None, str]]] = []
    asked: ClassVar[threading.Event] = threading.Event()
    holds: ClassVar[threading.Event] = threading.Event()

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"])).decode()
        Endpoint.asked.set()
        Endpoint.holds.wait(60)
        code = Endpoint.answers.pop(0) if Endpoint.answers else 201
        self.send_response(code)
        if code == 201:
            read_fhir_document(body, load_lexicon())
            Endpoint.taken.append((self.headers["Authorization"], body))
            self.send_header("Location", f"{self.path}/{len(Endpoint.taken)}")
        self.send_header("Content-Length", "0")
        with contextlib.suppress(OSError):  # whoever asked may be gone
            self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


@pytest.fixture
def server() -> Iterator[str]:
    Endpoint.answers.clear()
    Endpoint.taken.clear()
    Endpoint.asked.clear()
    Endpoint.holds.set()
    with ThreadingHTTPServer(("127.0.0.1", 0), Endpoint) as running:
        thread = threading.Thread(target=running.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{running.server_address[1]}/fhir"
        running.shutdown()
        thread.join()


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


def test_a_delivery_that_was_killed_stays_visible(
    run: Run, books: Practice, server: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed with -9 while the server thinks: it may have arrived or not, and somebody has to look."""
    monkeypatch.setenv("ROSTRAL_FHIR_SERVER", server)
    record = books.signed().id
    Endpoint.holds.clear()
    call = [sys.executable, "-m", "pipeline.cli", "send", record, "--by", "fhir"]
    with subprocess.Popen(call, stderr=subprocess.DEVNULL) as process:
        assert Endpoint.asked.wait(60)
        process.kill()
    Endpoint.holds.set()
    [waiting] = unsolved(run)
    assert "its end is not known" in waiting["reason"]
    assert run("deliveries", "--again", waiting["id"]).exit_code == 0
    assert unsolved(run) == []


def test_a_server_takes_the_document(
    run: Run, books: Practice, server: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After it was busy once; the token goes along."""
    (tmp_path / "token").write_text("abc\n", encoding="utf-8")
    monkeypatch.setenv("ROSTRAL_FHIR_SERVER", server)
    monkeypatch.setenv("ROSTRAL_FHIR_TOKEN_FILE", str(tmp_path / "token"))
    Endpoint.answers.append(503)
    done = run("send", books.signed().id, "--by", "fhir")
    assert done.exit_code == 0, done.stderr
    assert Endpoint.taken[0][0] == "Bearer abc"
    assert "/fhir/Bundle/1" in done.stdout


def test_a_refusing_server_is_one_line_and_can_be_given_up(
    run: Run, books: Practice, server: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROSTRAL_FHIR_SERVER", server)
    Endpoint.answers.append(422)
    failed = run("send", books.signed().id, "--by", "fhir", "--release", "R5")
    assert failed.exit_code == 1
    assert "it answered 422" in one_line(failed.stderr)
    [waiting] = unsolved(run)
    assert run("deliveries", "--give-up", waiting["id"]).exit_code == 2
    assert run("deliveries", "--give-up", waiting["id"], "--because", "filed by hand").exit_code == 0
    assert unsolved(run) == []
    assert "No failed deliveries" in one_line(run("deliveries", "--again", waiting["id"]).stderr)


class Postbox:
    """Takes letters over SMTP, or refuses."""

    def __init__(self) -> None:
        self.letters: list[bytes] = []
        self.refuses = False

    async def handle_RCPT(  # noqa: N802 - the server's name for it
        self, server: object, session: object, envelope: Any, address: str, options: object
    ) -> str:
        if self.refuses:
            return f"550 no such box {address}"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(  # noqa: N802 - as above
        self, server: object, session: object, envelope: Any
    ) -> str:
        self.letters.append(envelope.content)
        return "250 OK"


@pytest.fixture
def postbox(monkeypatch: pytest.MonkeyPatch) -> Iterator[Postbox]:
    box = Postbox()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    monkeypatch.setenv("ROSTRAL_MAIL_SERVER", "127.0.0.1")
    monkeypatch.setenv("ROSTRAL_MAIL_PORT", str(port))
    monkeypatch.setenv("ROSTRAL_MAIL_SECURITY", "none")
    monkeypatch.setenv("ROSTRAL_MAIL_SENDER", "desk@alderlane.example")
    yield box
    controller.stop()


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
    postbox.refuses = True
    failed = run("send", record, "--by", "mail")
    assert failed.exit_code == 1
    assert "refused the owner's address (550)" in one_line(failed.stderr)
    assert len(unsolved(run)) == 1
    told = [event.model_dump_json() for event in events_of(books.database, books.nurse)]
    assert [event for event in told if "rosalind" in event.lower()] == []


def test_no_letter_goes_out_unencrypted() -> None:
    server = MailServer(host="mail.example.org", port=25, security="none", sender="a@example.org")
    letter = Letter(identifier="1", to="b@example.org", subject="s", text="t", file_name="f.pdf", data=b"")
    with pytest.raises(FilingError, match="unencrypted"):
        send_mail(server, letter)


def test_a_server_that_is_not_there_is_told() -> None:
    with pytest.raises(FilingError, match="cannot be reached"):
        post_to_server("http://127.0.0.1:9/fhir", None, b"{}", waits_s=(0.0,))


@pytest.mark.parametrize("address", ["http://example.org/fhir", "ftp://example.org"])
def test_records_go_to_no_server_without_encryption(
    run: Run, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROSTRAL_FHIR_SERVER", address)
    refused = run("deliveries")
    assert refused.exit_code == 2
    assert "ROSTRAL_FHIR_SERVER" in one_line(refused.stderr)


@given(st.text(max_size=300))
def test_no_part_of_a_name_leaves_the_folder(text: str) -> None:
    stem = safe_stem("{day} {patient}", {"day": "2026-03-09", "patient": text})
    assert stem.startswith("2026-03-09")
    assert not set(stem) & set('/\\:*?"<>|.\x00')
    assert len(stem.encode()) <= 181


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("../../etc/passwd", "etc passwd"),
        ("CON", "_CON"),
        ("nul.txt", "_nul txt"),
        ("C:\\x", "C x"),
        ("Ελένη", "Ελένη"),
    ],
)
def test_names_of_devices_and_paths_are_plain(name: str, stem: str) -> None:
    assert safe_stem("{patient}", {"patient": name}) == stem


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    names = [put_in_folder(tmp_path, "a", ".pdf", data) for data in (b"one", b"two", b"one", b"two")]
    assert names == ["a.pdf", "a (2).pdf", "a.pdf", "a (2).pdf"]
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a (2).pdf", "a.pdf"]


@pytest.mark.parametrize("pattern", ["{owner}", "{", "{patient.name}", "..."])
def test_a_wrong_pattern_is_told(pattern: str) -> None:
    with pytest.raises(FilingError, match="pattern for names"):
        safe_stem(pattern, {"patient": "x"})
