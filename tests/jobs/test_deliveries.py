"""Deliveries as jobs, on both databases: refused, away, torn by a kill; nothing is lost, and nothing arrives twice."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from clinic import SETTINGS, START, Clinic, new_clinic, wait_until
from receivers import FhirServer, Postbox, fhir_server, mail_server

from pipeline.jobs import KINDS, Deliver, Deliveries, Handover, Jobs, JobsError
from pipeline.jobs.delivering import WAYS, lack
from pipeline.record import Owner
from pipeline.settings import Settings
from pipeline.store import (
    Database,
    EntryError,
    NotAllowedError,
    NotFoundError,
    add_client,
    audit,
    change_patient,
    found_practice,
    patient_of,
    record_line,
)
from pipeline.store.consents import note_mail_consent
from pipeline.store.deliveries import Delivery, deliveries_of, note_delivery
from pipeline.store.errors import ConflictError

SAID = "Left ear red. Eyes clear. Weight twelve kilos."


@pytest.fixture
def clinic(database: Database, address: str | Path, tmp_path: Path) -> Iterator[Clinic]:
    made = new_clinic(database, address, tmp_path)
    yield made
    for worker in made.workers:
        if worker.poll() is None:
            worker.kill()
        worker.wait()


@pytest.fixture
def server() -> Iterator[FhirServer]:
    with fhir_server() as running:
        yield running


@pytest.fixture
def postbox() -> Iterator[Postbox]:
    with mail_server() as running:
        yield running


@pytest.fixture
def settings(tmp_path: Path, server: FhirServer, postbox: Postbox) -> Settings:
    """Those of a practice that has a folder, a FHIR server and a mail server."""
    (tmp_path / "filed").mkdir()
    return SETTINGS.model_copy(
        update={
            "delivery_folder": tmp_path / "filed",
            "fhir_server": server.address,
            "mail_server": "127.0.0.1",
            "mail_port": postbox.port,
            "mail_security": "none",
            "mail_sender": "desk@alderlane.example",
        }
    )


@pytest.fixture
def jobs(clinic: Clinic, settings: Settings) -> Iterator[Jobs]:
    """The practice's jobs; this process does none until the test says so."""
    made = clinic.jobs(settings)
    yield made
    made.close()


@pytest.fixture
def deliveries(clinic: Clinic, jobs: Jobs, settings: Settings) -> Deliveries:
    return Deliveries(clinic.database, jobs, settings)


def fhir(clinic: Clinic) -> Deliver:
    return Deliver(record_id=clinic.signed(SAID).id, way="fhir", form="fhir")


def ended(deliveries: Deliveries, clinic: Clinic, delivery: Handover, *states: str) -> Handover:
    """The delivery once it is in one of those states."""
    wait_until(lambda: deliveries.one(clinic.vet, delivery.id).state in states)
    return deliveries.one(clinic.vet, delivery.id)


def quickly(monkeypatch: pytest.MonkeyPatch, *waits_s: float) -> None:
    monkeypatch.setitem(KINDS, "deliver", dataclasses.replace(KINDS["deliver"], waits_s=waits_s))


def test_a_delivery_is_unsolved_from_when_it_is_asked_for(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, tmp_path: Path
) -> None:
    wish = Deliver(record_id=clinic.signed(SAID).id, way="folder", form="pdf")
    asked = [deliveries.submit(clinic.vet, wish, key="the same form, sent twice") for _ in range(2)]
    assert asked[0] == asked[1]
    assert asked[0].state == "queued"
    assert [one.id for one in deliveries.listed(clinic.vet, unsolved=True)] == [asked[0].id]
    assert jobs.job(clinic.vet, asked[0].id).kind == "deliver"
    jobs.begin(["outgoing"])
    done = ended(deliveries, clinic, asked[0], "delivered").receipt
    data = Path(done.place).read_bytes()
    assert hashlib.sha256(data).hexdigest() == done.sha256
    assert (done.by, done.version, done.form) == ("Ines Halloran", 1, "pdf")
    assert deliveries.listed(clinic.vet, unsolved=True) == ()
    assert [file.name for file in (tmp_path / "filed").iterdir()] == [Path(done.place).name]
    assert audit(clinic.database) == ()


def test_a_server_that_was_busy_is_tried_again_by_itself(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, server: FhirServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    quickly(monkeypatch, 0.1, 0.1)
    server.answers += [503, 429]
    asked = deliveries.submit(clinic.vet, fhir(clinic))
    jobs.begin()
    assert ended(deliveries, clinic, asked, "delivered").receipt.place == "/fhir/Bundle/0"
    assert jobs.job(clinic.vet, asked.id).attempt == 3


def test_a_server_that_is_away_leaves_it_waiting_with_the_reason(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, server: FhirServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    quickly(monkeypatch, 3600.0)
    server.answers.append(503)
    asked = deliveries.submit(clinic.vet, fhir(clinic))
    jobs.begin()
    waiting = ended(deliveries, clinic, asked, "waiting")
    assert "it answered 503" in waiting.reason
    assert waiting.retry_at is not None
    deliveries.retry(clinic.vet, asked.id)
    assert ended(deliveries, clinic, asked, "delivered").reason == ""


def test_a_refusal_fails_at_once_and_is_done_after_repair(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, server: FhirServer
) -> None:
    server.answers.append(401)
    asked = deliveries.submit(clinic.vet, fhir(clinic))
    jobs.begin()
    failed = ended(deliveries, clinic, asked, "failed")
    assert "it answered 401" in failed.reason
    assert jobs.job(clinic.vet, asked.id).attempt == 1
    deliveries.retry(clinic.manager, asked.id)
    done = ended(deliveries, clinic, asked, "delivered")
    with pytest.raises(EntryError, match="is solved"):
        deliveries.retry(clinic.vet, asked.id)
    with pytest.raises(ConflictError, match="is solved already"):
        note_delivery(clinic.database, clinic.vet, done.receipt.model_copy(update={"state": "failed"}))


def test_what_arrived_without_an_answer_does_not_arrive_again(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, server: FhirServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether the server looks at the condition of a creation, or can only be searched."""
    quickly(monkeypatch, 0.1)
    jobs.begin()
    for heeds in (True, False):
        server.heeds, server.searches, server.vanishes = heeds, not heeds, 1
        ended(deliveries, clinic, deliveries.submit(clinic.vet, fhir(clinic)), "delivered")
    assert len(server.taken) == 2


@pytest.mark.parametrize("heeds", [True, False])
def test_a_worker_that_is_killed_while_it_hands_over_loses_nothing_and_doubles_nothing(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, server: FhirServer, heeds: bool
) -> None:
    server.heeds, server.searches = heeds, not heeds
    server.goes_on.clear()
    asked = deliveries.submit(clinic.vet, fhir(clinic))
    killed = clinic.start_worker(ROSTRAL_FHIR_SERVER=server.address)
    assert server.asked.wait(120), clinic.logs()
    killed.kill()
    killed.wait()
    server.goes_on.set()
    assert "it may have arrived" in deliveries.one(clinic.vet, asked.id).reason
    jobs.begin()
    ended(deliveries, clinic, asked, "delivered")
    assert len(server.taken) == 1
    assert len(deliveries_of(clinic.database, clinic.vet)) == 1


def test_a_letter_that_has_to_go_twice_is_seen_to_be_one(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, postbox: Postbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server kept it and said that it could not: mail knows no other way."""
    quickly(monkeypatch, 0.1)
    wish = Deliver(record_id=owned(clinic), way="mail", form="sheet")
    postbox.after.append("451 out of breath")
    asked = deliveries.submit(clinic.vet, wish)
    jobs.begin()
    ended(deliveries, clinic, asked, "delivered")
    identifiers = [
        line for letter in postbox.letters for line in letter.splitlines() if b"Message-ID" in line
    ]
    assert identifiers == [f"Message-ID: <{asked.id}@rostral.invalid>".encode()] * 2


def owned(clinic: Clinic) -> str:
    """A signed record of an animal whose owner agreed to e-mail."""
    record = clinic.signed(SAID).id
    owner = Owner(name="Rosalind Petheram", email="rosalind@example.org")
    client = add_client(clinic.database, clinic.vet, owner, START)
    note_mail_consent(clinic.database, clinic.vet, client.id, START, given=True)
    kept = patient_of(
        clinic.database, clinic.vet, record_line(clinic.database, clinic.vet, record).patient_id
    )
    change_patient(clinic.database, clinic.vet, kept, kept.patient, client.id, START)
    return record


def test_what_is_given_up_is_not_done_any_more(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, server: FhirServer
) -> None:
    asked = deliveries.submit(clinic.vet, fhir(clinic))
    with pytest.raises(EntryError, match="Say why"):
        deliveries.give_up(clinic.vet, asked.id, " ")
    assert deliveries.give_up(clinic.vet, asked.id, "filed by hand").state == "given_up"
    assert jobs.job(clinic.vet, asked.id).state == "cancelled"
    other = deliveries.submit(clinic.vet, fhir(clinic))
    jobs.begin()
    ended(deliveries, clinic, other, "delivered")
    assert len(server.taken) == 1


def test_what_is_being_handed_over_cannot_be_given_up(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, server: FhirServer
) -> None:
    server.goes_on.clear()
    asked = deliveries.submit(clinic.vet, fhir(clinic))
    jobs.begin()
    assert server.asked.wait(120)
    with pytest.raises(JobsError, match="being handed over just now"):
        deliveries.give_up(clinic.vet, asked.id, "too slow")
    server.goes_on.set()
    ended(deliveries, clinic, asked, "delivered")


def test_one_whose_job_is_forgotten_is_asked_for_anew(
    clinic: Clinic, jobs: Jobs, deliveries: Deliveries, server: FhirServer
) -> None:
    """Jobs are forgotten some weeks after their end, and a crash can come between the note of a wish and its job."""
    wish = fhir(clinic)
    kept = Delivery(
        id="ab" * 16,
        record_id=wish.record_id,
        version=1,
        form="fhir.r5",
        way="fhir",
        state="failed",
        at=START,
        by="Ines Halloran",
        sha256="cd" * 32,
        reason="it answered 500",
    )
    note_delivery(clinic.database, clinic.vet, kept)
    assert deliveries.one(clinic.vet, kept.id).state == "failed"
    jobs.begin()
    assert (
        ended(deliveries, clinic, deliveries.retry(clinic.vet, kept.id), "delivered").receipt.form
        == "fhir.r5"
    )
    assert len(server.taken) == 1


def test_only_what_can_be_handed_over_is_taken_on(
    clinic: Clinic, deliveries: Deliveries, jobs: Jobs, settings: Settings
) -> None:
    wish = fhir(clinic)
    bare = Deliveries(clinic.database, jobs, SETTINGS)
    assert "ROSTRAL_DELIVERY_FOLDER" in lack(SETTINGS, "folder", "pdf")
    assert "ROSTRAL_MAIL_SERVER" in lack(SETTINGS, "mail", "sheet")
    assert "ROSTRAL_FHIR_SERVER" in lack(SETTINGS, "fhir", "fhir")
    assert [lack(settings, way, "pdf") == "" for way in WAYS] == [True, True, False]
    assert [lack(settings, way, "fhir") == "" for way in WAYS] == [True, False, True]
    with pytest.raises(EntryError, match="No FHIR server is set"):
        bare.submit(clinic.vet, wish)
    with pytest.raises(EntryError, match="of the form fhir"):
        deliveries.submit(clinic.vet, wish.model_copy(update={"form": "pdf"}))
    stranger = found_practice(clinic.database, "Beech Row Vets", "Perrin Vale", START)
    with pytest.raises(NotFoundError):
        deliveries.submit(stranger, wish)
    asked = deliveries.submit(clinic.vet, wish)
    assert deliveries.listed(stranger) == ()
    with pytest.raises(NotFoundError):
        deliveries.retry(stranger, asked.id)
    draft = clinic.draft(SAID)
    with pytest.raises(NotAllowedError, match="nobody signed"):
        deliveries.submit(clinic.vet, wish.model_copy(update={"record_id": draft.id}))
