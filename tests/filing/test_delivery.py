"""Handing files over: into folders that are full or not there, to servers that are busy, refuse, or are not who they seem."""

from __future__ import annotations

import errno
import json
import os
import ssl
import subprocess
import sys
from collections.abc import Iterator
from email import message_from_bytes
from email.utils import parsedate_to_datetime
from pathlib import Path

import pytest
import trustme
from hypothesis import given
from hypothesis import strategies as st
from receivers import FhirServer, Postbox, fhir_server, mail_server
from signed import LEXICON, OWNER, PRACTICE, sample

from pipeline.filing import FilingError
from pipeline.filing.delivery import post_to_server, put_in_folder, safe_stem
from pipeline.filing.errors import AwayError
from pipeline.filing.fhir import fhir_document
from pipeline.filing.mail import Letter, MailServer, send_mail
from pipeline.filing.outgoing import outgoing
from pipeline.filing.trust import trusting

LETTER = Letter(identifier="1", to="b@example.org", subject="s", text="t", file_name="f.pdf", data=b"%PDF")
PLAIN = ssl.create_default_context()


@pytest.fixture
def server() -> Iterator[FhirServer]:
    with fhir_server() as running:
        yield running


@pytest.fixture
def postbox() -> Iterator[Postbox]:
    with mail_server() as running:
        yield running


@pytest.fixture(scope="module")
def bundle() -> bytes:
    return fhir_document(
        outgoing([sample("cat_terse")], client=OWNER, practice=PRACTICE), "R4B", LEXICON
    ).encode()


def at(box: Postbox, security: str = "none") -> MailServer:
    return MailServer.model_validate(
        {"host": "127.0.0.1", "port": box.port, "security": security, "sender": "desk@alderlane.example"}
    )


# --- a folder --------------------------------------------------------------------------------------


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    names = [put_in_folder(tmp_path, "a", ".pdf", data, "m") for data in (b"one", b"two", b"one", b"two")]
    assert names == ["a.pdf", "a (2).pdf", "a.pdf", "a (2).pdf"]
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a (2).pdf", "a.pdf"]


def test_what_a_killed_attempt_left_is_removed_by_the_next(tmp_path: Path) -> None:
    (tmp_path / ".mine.0a1b2c3d.half").write_bytes(b"to")
    (tmp_path / ".others.0a1b2c3d.half").write_bytes(b"to")
    assert put_in_folder(tmp_path, "a", ".pdf", b"torn", "mine") == "a.pdf"
    assert sorted(file.name for file in tmp_path.iterdir()) == [".others.0a1b2c3d.half", "a.pdf"]


def test_a_folder_that_is_away_may_come_back(tmp_path: Path) -> None:
    with pytest.raises(AwayError, match="did not take the file: No such file"):
        put_in_folder(tmp_path / "away", "a", ".pdf", b"x", "m")


FILLING = """
import resource, sys
from pathlib import Path
from pipeline.filing.delivery import put_in_folder
from pipeline.filing.errors import AwayError
resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
try:
    put_in_folder(Path(sys.argv[1]), "a", ".pdf", b"x" * 100_000, "m")
except AwayError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a bound on the size of files")
def test_a_full_disk_may_have_room_again_and_nothing_half_stays(tmp_path: Path) -> None:
    """A process that may write so much and no more."""
    done = subprocess.run(
        [sys.executable, "-c", FILLING, str(tmp_path)], capture_output=True, text=True, check=True
    )
    assert os.strerror(errno.EFBIG) in done.stdout
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/sys/kernel").exists(), reason="needs a folder in which nobody can write")
def test_a_folder_that_lets_nobody_write_is_no_matter_of_waiting() -> None:
    with pytest.raises(FilingError, match="did not take the file") as told:
        put_in_folder(Path("/sys/kernel"), "a", ".pdf", b"x", "m")
    assert not isinstance(told.value, AwayError)


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


@pytest.mark.parametrize("pattern", ["{owner}", "{", "{patient.name}", "..."])
def test_a_wrong_pattern_is_told(pattern: str) -> None:
    with pytest.raises(FilingError, match="pattern for names"):
        safe_stem(pattern, {"patient": "x"})


# --- a FHIR server ---------------------------------------------------------------------------------


def test_a_document_is_created_once(server: FhirServer, bundle: bytes) -> None:
    places = {post_to_server(server.address, "abc", bundle, PLAIN) for _ in range(2)}
    assert [token for token, _ in server.taken] == ["Bearer abc"]
    assert places == {"/fhir/Bundle/0"}


def test_a_server_that_heeds_no_condition_is_asked_where_it_was_tried_before(
    server: FhirServer, bundle: bytes
) -> None:
    server.heeds, server.vanishes = False, 1
    with pytest.raises(AwayError, match="cannot be reached"):
        post_to_server(server.address, None, bundle, PLAIN)
    place = post_to_server(server.address, None, bundle, PLAIN, tried_before=True)
    assert place == f"{server.address}/Bundle/0"
    assert len(server.taken) == 1


def test_a_server_that_cannot_search_gets_it(server: FhirServer, bundle: bytes) -> None:
    server.searches = False
    assert post_to_server(server.address, None, bundle, PLAIN, tried_before=True)
    assert len(server.taken) == 1


@pytest.mark.parametrize("code", [429, 500, 503])
def test_a_busy_server_may_take_it_later(server: FhirServer, bundle: bytes, code: int) -> None:
    server.answers.append(code)
    with pytest.raises(AwayError, match=f"it answered {code}"):
        post_to_server(server.address, None, bundle, PLAIN)


@pytest.mark.parametrize("code", [301, 400, 401, 403, 404, 412, 422])
def test_a_refusal_is_no_matter_of_waiting(server: FhirServer, bundle: bytes, code: int) -> None:
    """What the server says of it is told (HL7 FHIR, OperationOutcome)."""
    server.answers.append(code)
    server.says = json.dumps(
        {"resourceType": "OperationOutcome", "issue": [{"diagnostics": "no\nsuch room"}]}
    )
    with pytest.raises(FilingError, match=rf"it answered {code} .*\. It says: no such room") as told:
        post_to_server(server.address, None, bundle, PLAIN)
    assert not isinstance(told.value, AwayError)


def test_a_server_that_is_not_there_may_come_back(bundle: bytes) -> None:
    with pytest.raises(AwayError, match="cannot be reached"):
        post_to_server("http://127.0.0.1:9/fhir", None, bundle, PLAIN)


@pytest.mark.parametrize("address", ["https://fhir.example.org:x", "gopher://127.0.0.1"])
def test_an_address_that_is_none_is_told(address: str, bundle: bytes) -> None:
    with pytest.raises(FilingError, match="is no address of a FHIR server"):
        post_to_server(address, None, bundle, PLAIN)


@pytest.mark.parametrize("token", ["qz\nsecond line", "qz\0", "qzü"])
def test_a_token_that_no_header_carries_is_refused_and_not_repeated(
    server: FhirServer, token: str, bundle: bytes
) -> None:
    """A header holds visible ASCII (RFC 9110, 5.5; from memory); reasons are kept for good, so the token is not in them."""
    with pytest.raises(FilingError, match="ROSTRAL_FHIR_TOKEN_FILE") as told:
        post_to_server(server.address, token, bundle, PLAIN)
    assert not isinstance(told.value, AwayError)
    assert "qz" not in str(told.value)


# --- a mail server ---------------------------------------------------------------------------------


def test_a_letter_keeps_its_identifier(postbox: Postbox) -> None:
    """What is sent twice is seen to be one: here the server keeps it, and says that it could not."""
    postbox.after.append("451 out of breath")
    with pytest.raises(AwayError, match="it answered 451"):
        send_mail(at(postbox), LETTER, PLAIN)
    send_mail(at(postbox), LETTER, PLAIN)
    assert [message_from_bytes(one)["Message-ID"] for one in postbox.letters] == ["<1@rostral.invalid>"] * 2


def test_a_letter_has_a_date(postbox: Postbox) -> None:
    """It is one of the two fields that a letter must have (RFC 5322, 3.6; from memory)."""
    send_mail(at(postbox), LETTER, PLAIN)
    (letter,) = postbox.letters
    assert parsedate_to_datetime(str(message_from_bytes(letter)["Date"])).tzinfo is not None


@pytest.mark.parametrize(("answer", "may_pass"), [("450 try later", True), ("550 no such box", False)])
def test_refusals_of_an_address_pass_or_last_as_the_server_says(
    postbox: Postbox, answer: str, may_pass: bool
) -> None:
    postbox.answers.append(answer)
    with pytest.raises(FilingError, match=rf"refused the owner's address \({answer[:3]}\)") as told:
        send_mail(at(postbox), LETTER, PLAIN)
    assert isinstance(told.value, AwayError) == may_pass
    assert LETTER.to not in str(told.value)


def test_no_letter_goes_out_unencrypted() -> None:
    server = MailServer(host="mail.example.org", port=25, security="none", sender="a@example.org")
    with pytest.raises(FilingError, match="unencrypted"):
        send_mail(server, LETTER, PLAIN)


def test_a_server_without_the_encryption_that_is_set_gets_nothing(postbox: Postbox) -> None:
    with pytest.raises(FilingError, match="does not offer what is set") as told:
        send_mail(at(postbox, "starttls"), LETTER, PLAIN)
    assert not isinstance(told.value, AwayError)
    assert postbox.letters == []


# --- who they are ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture(scope="module")
def tls(authority: trustme.CA) -> ssl.SSLContext:
    """Of a server whose certificate that authority made."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(context)
    return context


@pytest.fixture
def trusted(authority: trustme.CA, tmp_path: Path) -> ssl.SSLContext:
    """Of a machine that was told of the authority."""
    file = tmp_path / "authority.pem"
    authority.cert_pem.write_to_path(str(file))
    return trusting(file)


def test_documents_go_to_a_server_that_is_trusted(
    tls: ssl.SSLContext, trusted: ssl.SSLContext, bundle: bytes
) -> None:
    with fhir_server(tls) as server:
        assert post_to_server(server.address, None, bundle, trusted) == "/fhir/Bundle/0"
        with pytest.raises(
            FilingError, match=r"a certificate that this machine does not trust \(.*\): nothing was sent"
        ) as told:
            post_to_server(server.address, None, bundle, trusting(None))
        assert len(server.taken) == 1
    assert not isinstance(told.value, AwayError)


def test_letters_go_to_a_server_that_is_trusted(tls: ssl.SSLContext, trusted: ssl.SSLContext) -> None:
    with mail_server(tls) as box:
        send_mail(at(box, "starttls"), LETTER, trusted)
        with pytest.raises(
            FilingError, match=r"a certificate that this machine does not trust \(.*\): nothing was\s+sent"
        ) as told:
            send_mail(at(box, "starttls"), LETTER, trusting(None))
        assert len(box.letters) == 1
    assert not isinstance(told.value, AwayError)


def test_a_certificate_of_another_name_is_not_trusted(
    authority: trustme.CA, trusted: ssl.SSLContext, bundle: bytes
) -> None:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("fhir.example.org").configure_cert(context)
    with (
        fhir_server(context) as server,
        pytest.raises(FilingError, match=r"does not trust \(IP address mismatch"),
    ):
        post_to_server(server.address, None, bundle, trusted)


def test_a_file_that_holds_no_authority_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.pem").write_text("hello", encoding="utf-8")
    for name in ("a.pem", "away.pem"):
        with pytest.raises(FilingError, match="trusted authorities cannot be used"):
            trusting(tmp_path / name)
