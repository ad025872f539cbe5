"""A signed record leaves from the desk: into the practice's folder, to a consenting owner, to a FHIR server."""

from __future__ import annotations

import hashlib
import json
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from desks import ROLES, Browser, Practice, draft, signed
from httpx2 import Response
from receivers import FhirServer, Postbox, fhir_server, mail_server
from test_api import program

from lexicon import load_lexicon
from pipeline.filing.fhir import read_fhir_document
from pipeline.record import Owner
from pipeline.store import (
    KeptRecord,
    amend_record,
    audit,
    change_client,
    client_of,
    patient_of,
    record_line,
    record_of,
    sign_record,
)

WAITS_S = 120


@pytest.fixture
def server() -> Iterator[FhirServer]:
    with fhir_server() as running:
        yield running


@pytest.fixture
def postbox() -> Iterator[Postbox]:
    with mail_server() as running:
        yield running


@pytest.fixture
def sending(practice: Practice, tmp_path: Path, server: FhirServer, postbox: Postbox) -> Practice:
    """The practice, with a folder, a FHIR server and a mail server set up."""
    (tmp_path / "filed").mkdir()
    settings = practice.desk.options.settings.model_copy(
        update={
            "delivery_folder": tmp_path / "filed",
            "fhir_server": server.address,
            "mail_server": "127.0.0.1",
            "mail_port": postbox.port,
            "mail_security": "none",
            "mail_sender": "desk@fennelrow.example",
        }
    )
    desk = replace(practice.desk, options=replace(practice.desk.options, settings=settings))
    return replace(practice, desk=desk)


@pytest.fixture
def nurse(sending: Practice) -> Iterator[Browser]:
    """The nurse's browser at a desk that is open: what is asked for is done."""
    with Browser(sending.desk) as browser:
        assert browser.sign_in("nurse").status_code == 303
        yield browser


def owner_of(practice: Practice, kept: KeptRecord) -> str:
    vet = practice.people["vet"]
    line = record_line(practice.database, vet, kept.id)
    return patient_of(practice.database, vet, line.patient_id).client_id or ""


def give_address(practice: Practice, owner_id: str) -> None:
    vet = practice.people["vet"]
    known = client_of(practice.database, vet, owner_id)
    owner = Owner(name="Cass Orrin", phone="555 0101", email="cass@orrin.example")
    change_client(practice.database, vet, known, owner, practice.clock())


def ask(browser: Browser, kept: KeptRecord, way: str, named: str, **more: str) -> Response:
    fields = {"way": way, "as": named, "version": "1", **more}
    return browser.fill(f"/filing/{kept.id}/deliveries", **fields)


def seen(browser: Browser, kept: KeptRecord, *states: str) -> str:
    """The part of the page with the deliveries, once the last one asked for is in such a state."""
    ends = time.monotonic() + WAITS_S
    while time.monotonic() < ends:
        part = browser.get(f"/filing/{kept.id}/deliveries").text
        if re.findall(r'data-state="(\w+)"', part)[:1] in [[state] for state in states]:
            return part
        time.sleep(0.1)
    raise AssertionError(part)


def test_the_nurse_puts_a_record_into_the_practices_folder(
    sending: Practice, nurse: Browser, tmp_path: Path
) -> None:
    """The receipt tells what, when, where, the checksum of the very file, and by whom; sent twice, the form is one delivery."""
    kept = signed(sending)
    assert "ROSTRAL_" not in nurse.get(f"/filing/{kept.id}").text
    for _ in range(2):
        assert ask(nurse, kept, "folder", "pdf", key="one page").headers["location"].endswith("#handed")
    part = seen(nurse, kept, "delivered")
    [file] = (tmp_path / "filed").iterdir()
    assert part.count("data-delivery=") == 1
    for told in ("Clinical record (PDF)", str(file), "version 1", "Tobin Marsh"):
        assert told in part
    assert hashlib.sha256(file.read_bytes()).hexdigest() in part
    assert "Try again" not in part
    assert str(file) in nurse.get(f"/filing/{kept.id}").text
    assert "not arrived" not in nurse.get("/filing").text
    assert audit(sending.database) == ()


@pytest.mark.parametrize("release", ["R4B", "R5"])
def test_the_release_of_fhir_is_chosen(
    sending: Practice, nurse: Browser, server: FhirServer, release: str
) -> None:
    kept = signed(sending)
    ask(nurse, kept, "fhir", f"fhir.{release.lower()}")
    assert f"FHIR document, {release}" in seen(nurse, kept, "delivered")
    [(_, body)] = server.taken
    assert read_fhir_document(body, load_lexicon())[1] == release


def test_an_owner_is_written_to_only_with_consent_that_is_kept(
    sending: Practice, nurse: Browser, postbox: Postbox
) -> None:
    kept = signed(sending)
    owner_id = owner_of(sending, kept)
    refused = ask(nurse, kept, "mail", "sheet")
    assert refused.status_code == 422
    assert "has not agreed to e-mail" in refused.text
    nurse.fill(f"/owners/{owner_id}/mail", agrees="yes", back=f"/filing/{kept.id}")
    assert "no e-mail address" in ask(nurse, kept, "mail", "sheet").text
    give_address(sending, owner_id)
    assert ask(nurse, kept, "mail", "sheet").status_code == 303
    part = seen(nurse, kept, "delivered")
    # The receipt is kept for ever: the address is not in it.
    assert "cass@orrin.example" not in part
    assert b"cass@orrin.example" in postbox.letters[0]
    nurse.fill(f"/owners/{owner_id}/mail", agrees="no", back="/")
    assert ask(nurse, kept, "mail", "sheet").status_code == 422
    assert len(postbox.letters) == 1


def test_what_did_not_arrive_stays_in_sight_and_is_tried_again(
    sending: Practice, nurse: Browser, tmp_path: Path
) -> None:
    kept = signed(sending)
    (tmp_path / "filed").rmdir()
    ask(nurse, kept, "folder", "sheet")
    part = seen(nurse, kept, "failed", "waiting")
    assert str(tmp_path / "filed") in part
    [identifier] = re.findall(r'data-delivery="(\w+)"', part)
    for page in ("/", "/filing", "/filing?state=filed"):
        assert "One delivery has not arrived yet" in nurse.get(page).text
    assert "one delivery not arrived" in nurse.get("/filing").text
    listed = nurse.get("/filing/deliveries").text
    assert f"/filing/{kept.id}/deliveries/{identifier}/again" in listed
    (tmp_path / "filed").mkdir()
    assert nurse.fill(f"/filing/{kept.id}/deliveries/{identifier}/again").status_code == 303
    seen(nurse, kept, "delivered")
    assert "Everything that was handed over has arrived" in nurse.get("/filing/deliveries").text
    solved = nurse.fill(f"/filing/{kept.id}/deliveries/{identifier}/again")
    assert solved.status_code == 422


def test_one_that_cannot_arrive_is_given_up_with_a_reason(
    sending: Practice, nurse: Browser, server: FhirServer
) -> None:
    kept = signed(sending)
    server.answers, server.says = [422], json.dumps({"resourceType": "OperationOutcome"})
    ask(nurse, kept, "fhir", "fhir.r4b")
    [identifier] = re.findall(r'data-delivery="(\w+)"', seen(nurse, kept, "failed"))
    place = f"/filing/{kept.id}/deliveries/{identifier}/give-up"
    assert "Say why" in nurse.fill(place, reason=" ").text
    nurse.fill(place, reason="they take paper")
    assert "they take paper" in seen(nurse, kept, "given_up")
    assert "not arrived" not in nurse.get("/filing").text


def test_what_is_not_set_up_is_shown_with_its_setting(practice: Practice) -> None:
    kept = signed(practice)
    browser = practice.browser("nurse")
    page = browser.get(f"/filing/{kept.id}").text
    for name in ("ROSTRAL_DELIVERY_FOLDER", "ROSTRAL_MAIL_SERVER", "ROSTRAL_FHIR_SERVER"):
        assert name in page
    assert "Put it into the folder" not in page
    for way, named in (("folder", "pdf"), ("mail", "sheet"), ("fhir", "fhir.r5")):
        assert ask(browser, kept, way, named).status_code == 422


def test_only_the_version_that_was_looked_at_is_handed_over(sending: Practice) -> None:
    kept, browser = signed(sending), sending.browser("nurse")
    at, vet, lexicon = sending.clock(), sending.people["vet"], load_lexicon()
    begun = amend_record(sending.database, vet, record_of(sending.database, vet, kept.id), at)
    sign_record(sending.database, vet, begun, lexicon, at, reason="the other ear")
    late = ask(browser, kept, "folder", "pdf")
    assert late.status_code == 422
    assert "newer version" in late.text
    assert ask(browser, kept, "folder", "pdf", version="2").status_code == 303


def test_nobody_hands_over_what_is_not_theirs_to(sending: Practice) -> None:
    """A draft, another record's delivery, a wrong way or form, a form of no page of ours, a manager."""
    kept, other, unsigned = signed(sending), signed(sending), draft(sending)
    nurse = sending.browser("nurse")
    assert ask(nurse, unsigned, "folder", "pdf", version="0").status_code == 404
    for way, named in (("pigeon", "pdf"), ("folder", "song"), ("mail", "csv"), ("fhir", "pdf"), ("", "")):
        assert ask(nurse, kept, way, named).status_code == 422, (way, named)
    ask(nurse, kept, "folder", "pdf")
    [identifier] = re.findall(r'data-delivery="(\w+)"', nurse.get(f"/filing/{kept.id}/deliveries").text)
    for deed in ("again", "give-up"):
        assert nurse.fill(f"/filing/{other.id}/deliveries/{identifier}/{deed}").status_code == 404
    place = f"/filing/{kept.id}/deliveries"
    assert nurse.post(place, data={"way": "folder", "as": "pdf", "version": "1"}).status_code == 403
    manager = sending.browser(ROLES[2])
    assert ask(manager, kept, "folder", "pdf").status_code == 403
    shown = manager.get(f"/filing/{kept.id}").text
    assert "A nurse or a vet" in shown
    assert "Put it into the folder" not in shown
    assert manager.get(place).text.count("data-delivery=") == 1


def test_programs_hand_over_and_look_within_their_scopes(
    sending: Practice, nurse: Browser, tmp_path: Path
) -> None:
    """A program asks at the same desk that hands over; the page and the program see one delivery."""
    kept = signed(sending)
    place = f"/api/v1/records/{kept.id}/deliveries"
    wish = {"way": "folder", "form": "fhir", "release": "R5", "key": "order 7"}
    reads = program(sending, "records:read")
    assert reads.get(place).json() == []
    refused = reads.post(place, json=wish)
    assert refused.status_code == 403
    assert "records:send" in refused.json()["message"]
    assert program(sending, "records:write").post(place, json=wish).status_code == 403
    assert program(sending, "records:send", role="manager").post(place, json=wish).status_code == 403
    sends = program(sending, "records:send", role="nurse")
    first, second = (sends.post(place, json=wish) for _ in range(2))
    assert (first.status_code, second.status_code) == (202, 202)
    identifier = first.json()["receipt"]["id"]
    assert second.json()["receipt"]["id"] == identifier
    seen(nurse, kept, "delivered")
    receipt = reads.get(f"/api/v1/deliveries/{identifier}").json()["receipt"]
    [file] = (tmp_path / "filed").iterdir()
    assert receipt["place"] == str(file)
    assert receipt["sha256"] == hashlib.sha256(file.read_bytes()).hexdigest()
    assert (receipt["form"], receipt["by"], receipt["version"]) == ("fhir.r5", "Tobin Marsh", 1)
    assert reads.get("/api/v1/deliveries").json() == []
    assert sends.post(f"/api/v1/deliveries/{identifier}/again").status_code == 422
    assert sends.post(place, json={"way": "mail", "form": "sheet"}).status_code == 422
    lost = "/api/v1/deliveries/" + "0" * 32
    assert reads.get(lost).status_code == 404
    assert sends.post(f"{lost}/given-up", json={"reason": "x"}).status_code == 404
