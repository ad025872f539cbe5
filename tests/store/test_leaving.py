"""What leaves: everything of one patient or owner, an owner's erased data, and what is older than records are kept."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from kept import SPOKEN_OF, START, Practice, new_practice, owned_record, understood

from pipeline.record import Owner
from pipeline.store import (
    Database,
    NotFoundError,
    add_client,
    amend_record,
    audit,
    client_of,
    events_of,
    record_line,
    record_of,
    records_due,
    search,
    sign_record,
)
from pipeline.store.erasure import erase_owner, remains_of
from pipeline.store.takeout import take_out_owner, take_out_patient


@pytest.fixture
def practice(database: Database) -> Practice:
    """A practice with a manager, a vet and a nurse."""
    return new_practice(database)


def test_everything_of_a_patient_is_taken_out_and_the_trail_says_so(practice: Practice) -> None:
    _, patient_id, record_id = owned_record(practice)
    other = practice.signed()
    line = record_line(practice.database, practice.vet, record_id)
    kept = practice.draft()
    whole = take_out_patient(practice.database, practice.nurse, patient_id, practice.at())
    assert [one.id for one in whole.visits] == [line.visit_id]
    (record,) = whole.records
    assert (record.id, record.draft) == (record_id, None)
    assert [one.signed.version for one in record.versions] == [1]
    assert record.versions[0].review.original == understood(SPOKEN_OF)
    assert {"add_patient", "open_visit", "keep_record", "sign"} <= {one["action"] for one in whole.trail}
    assert not {other.id, kept.id} & {one["subject"] for one in whole.trail}
    (last,) = events_of(practice.database, practice.vet, patient_id)[-1:]
    assert (last.action, last.by) == ("export", "Tobin Marsh")


def test_an_amended_record_is_taken_out_with_all_versions_and_its_draft(practice: Practice) -> None:
    client_id, _, record_id = owned_record(practice)
    line = record_line(practice.database, practice.vet, record_id)
    kept = take_out_owner(practice.database, practice.nurse, client_id, practice.at())
    assert kept.owner.name == "Wilhelmina Prowse"
    draft = amend_record(
        practice.database, practice.vet, record_of(practice.database, practice.vet, record_id), practice.at()
    )
    sign_record(
        practice.database, practice.vet, draft, practice.lexicon, practice.at(), reason="looked again"
    )
    (patient,) = take_out_owner(practice.database, practice.nurse, client_id, practice.at()).patients
    assert patient.patient.id == line.patient_id
    assert [one.signed.reason for one in patient.records[0].versions] == [None, "looked again"]


def test_another_practice_takes_nothing_out(practice: Practice) -> None:
    stranger = new_practice(practice.database, "Quarry Street Vets").vet
    client_id, patient_id, _ = owned_record(practice)
    with pytest.raises(NotFoundError):
        take_out_owner(practice.database, stranger, client_id, practice.at())
    with pytest.raises(NotFoundError):
        take_out_patient(practice.database, stranger, patient_id, practice.at())
    with pytest.raises(NotFoundError):
        remains_of(practice.database, stranger, client_id)


def test_before_an_owner_is_erased_it_is_told_where_they_are_spoken_of(practice: Practice) -> None:
    client_id, patient_id, record_id = owned_record(practice)
    remains = remains_of(practice.database, practice.manager, client_id)
    assert (remains.patients, remains.records, remains.recordings) == ((patient_id,), 1, 0)
    found = [(one.record_id, one.version, one.words) for one in remains.spoken]
    assert [(one[0], one[1]) for one in found] == [(record_id, 1), (record_id, 1)]
    assert "Mrs Prowse" in found[0][2]
    assert "0000-111-222" in found[1][2]


def test_an_erased_owner_is_gone_from_tables_search_and_the_file(practice: Practice) -> None:
    """On SQLite also from free pages and the index of words: nobody finds the name by looking at the bytes."""
    client_id, patient_id, _ = owned_record(
        practice, "Left ear red. Eyes clear. Weight twelve kilos. Recheck in ten days."
    )
    for number in range(40):
        add_client(practice.database, practice.nurse, Owner(name=f"Somebody Else {number}"), practice.at())
    erase_owner(practice.database, practice.manager, client_id, "asked for by the owner", practice.at())
    assert client_of(practice.database, practice.vet, client_id).erased
    assert search(practice.database, practice.vet, "prowse") == ()
    assert audit(practice.database) == ()
    whole = take_out_patient(practice.database, practice.nurse, patient_id, practice.at())
    assert "Prowse" not in whole.model_dump_json()
    if practice.database.is_sqlite:
        file = Path(str(practice.database.engine.url.database))
        for part in (file, file.with_name(f"{file.name}-wal")):
            data = part.read_bytes().lower() if part.exists() else b""
            assert b"rowse" not in data, part


def test_what_is_older_than_records_are_kept_is_listed_and_stays(practice: Practice) -> None:
    _, patient_id, _ = owned_record(practice)
    today = START.date()
    assert records_due(practice.database, practice.manager, today) == ()
    (due,) = records_due(practice.database, practice.manager, today + timedelta(days=1))
    assert (due.id, due.records, due.last_visit) == (patient_id, 1, date(2025, 6, 16))
