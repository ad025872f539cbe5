"""Owners, patients and people."""

from __future__ import annotations

from datetime import date

import pytest
from kept import DOG, START, Practice, new_practice

from pipeline.record import Owner, Patient
from pipeline.record.microchip import microchip_fault
from pipeline.store import (
    ConflictError,
    Database,
    EntryError,
    NotAllowedError,
    NotFoundError,
    actor_of,
    add_client,
    add_patient,
    add_person,
    audit,
    change_client,
    change_patient,
    client_of,
    erase_client,
    patient_by_microchip,
    patient_of,
    retire_person,
    search,
)
from pipeline.store.doubles import owners_like, patients_like
from pipeline.store.tables import event

OWNER = Owner(name="Wilhelmina Prowse", phone="0000 111 222", email="prowse@example.org")


@pytest.fixture
def practice(database: Database) -> Practice:
    """A practice with a manager, a vet and a nurse."""
    return new_practice(database)


def test_an_owner_and_a_patient_are_read_as_they_were_kept(practice: Practice) -> None:
    client = add_client(practice.database, practice.nurse, OWNER, practice.at())
    assert client_of(practice.database, practice.vet, client.id) == client
    kept = add_patient(practice.database, practice.nurse, DOG, client.id, practice.at())
    assert patient_of(practice.database, practice.vet, kept.id) == kept


def test_a_patient_is_found_by_microchip_however_it_is_written(practice: Practice) -> None:
    dog = DOG.model_copy(update={"microchip": "941 000-012 345.678"})
    kept = add_patient(practice.database, practice.nurse, dog, None, practice.at())
    assert patient_by_microchip(practice.database, practice.vet, "941000012345678") == kept
    assert patient_by_microchip(practice.database, practice.vet, "941000012345679") is None
    with pytest.raises(EntryError, match="another patient's"):
        add_patient(practice.database, practice.nurse, dog, None, practice.at())


def test_an_age_in_months_becomes_a_birth_date(practice: Practice) -> None:
    kitten = Patient(name="Mopsy", species="cat", age_months=6)
    kept = add_patient(practice.database, practice.nurse, kitten, None, practice.at())
    assert kept.patient.birth_date == date(2024, 12, 1)
    unborn = DOG.model_copy(update={"birth_date": date(2030, 1, 1)})
    with pytest.raises(EntryError, match="lies ahead"):
        add_patient(practice.database, practice.nurse, unborn, None, practice.at())


def test_the_second_of_two_changes_of_a_patient_is_told(practice: Practice) -> None:
    kept = add_patient(practice.database, practice.nurse, DOG, None, practice.at())
    neutered = DOG.model_copy(update={"neutered": True})
    change_patient(practice.database, practice.vet, kept, neutered, None, practice.at())
    with pytest.raises(ConflictError):
        change_patient(practice.database, practice.nurse, kept, DOG, None, practice.at())


def test_erasing_an_owner_leaves_the_patient_and_no_word_of_the_owner(practice: Practice) -> None:
    client = add_client(practice.database, practice.nurse, OWNER, practice.at())
    change_client(practice.database, practice.nurse, client, OWNER, practice.at())
    kept = add_patient(practice.database, practice.nurse, DOG, client.id, practice.at())
    erase_client(practice.database, practice.manager, client.id, "asked for by the owner", practice.at())
    erased = client_of(practice.database, practice.vet, client.id)
    assert (erased.name, erased.email, erased.erased) == (None, None, True)
    assert patient_of(practice.database, practice.vet, kept.id) == kept
    with practice.database.reading() as connection:
        told = " ".join(str(row) for row in connection.execute(event.select()))
    assert "Prowse" not in told
    assert "prowse@" not in told
    with pytest.raises(NotFoundError):
        change_client(practice.database, practice.nurse, client, OWNER, practice.at())
    assert audit(practice.database) == ()


def test_only_managers_change_who_works_there(practice: Practice) -> None:
    with pytest.raises(NotAllowedError):
        add_person(practice.database, practice.vet, "Perrin Vale", "nurse", START)
    with pytest.raises(EntryError, match="no role 'owner'"):
        add_person(practice.database, practice.manager, "Perrin Vale", "owner", START)
    retire_person(practice.database, practice.manager, practice.nurse.person_id, START)
    with pytest.raises(NotFoundError):
        actor_of(practice.database, practice.nurse.practice_id, practice.nurse.person_id)
    with pytest.raises(NotAllowedError, match="themselves"):
        retire_person(practice.database, practice.manager, practice.manager.person_id, START)


@pytest.mark.parametrize(
    ("number", "fault"),
    [
        # Source: WSAVA, Microchip FAQs: 15 digits, the first three a country of ISO 3166 or a manufacturer from 900.
        ("826 000 012 345 678", None),
        ("941000012345678", None),
        ("94100001234567", "has 14"),
        ("94100001234567A", "digits only"),
        ("000000012345678", "000"),
        # From memory, not read: 999 is for test transponders.
        ("999000012345678", "test"),
    ],
)
def test_the_shape_of_a_microchip_number(number: str, fault: str | None) -> None:
    found = microchip_fault(number)
    assert (found is None) if fault is None else (found is not None and fault in found)


def test_a_patient_and_its_new_owner_are_kept_both_or_neither(practice: Practice) -> None:
    dog = DOG.model_copy(update={"microchip": "941000012345678"})
    kept = add_patient(practice.database, practice.nurse, dog, OWNER, practice.at())
    assert client_of(practice.database, practice.vet, kept.client_id or "").name == "Wilhelmina Prowse"
    with pytest.raises(EntryError, match="another patient's"):
        add_patient(practice.database, practice.nurse, dog, Owner(name="Perrin Vale"), practice.at())
    assert search(practice.database, practice.vet, "Perrin Vale") == ()


def test_the_second_of_two_changes_of_an_owner_is_told(practice: Practice) -> None:
    kept = add_client(practice.database, practice.nurse, OWNER, practice.at())
    moved = OWNER.model_copy(update={"address": "2 Mill Lane"})
    change_client(practice.database, practice.vet, kept, moved, practice.at())
    with pytest.raises(ConflictError):
        change_client(practice.database, practice.nurse, kept, OWNER, practice.at())
    now = client_of(practice.database, practice.vet, kept.id)
    with pytest.raises(EntryError, match="at least"):
        change_client(practice.database, practice.nurse, now, Owner(), practice.at())


@pytest.mark.parametrize(
    ("owner", "alike"),
    [
        (Owner(name="wilhelmina  PROWSE"), True),
        (Owner(name="Willa Prowse", phone="0000 111-223"), False),
        (Owner(name="Willa Prowse", phone="0000 111-222"), True),
        (Owner(email="Prowse@Example.org"), True),
        (Owner(name="Wilhelmina Prowsett"), False),
        (Owner(name="Prowse"), False),
        (Owner(address="4 Alder Lane"), False),
    ],
)
def test_an_owner_is_known_again_by_name_number_or_address_alone(
    practice: Practice, owner: Owner, alike: bool
) -> None:
    kept = add_client(practice.database, practice.nurse, OWNER, practice.at())
    assert owners_like(practice.database, practice.vet, owner) == ((kept,) if alike else ())


def test_a_patient_is_known_again_at_its_owner(practice: Practice) -> None:
    kept = add_patient(practice.database, practice.nurse, DOG, OWNER, practice.at())
    twin = add_client(practice.database, practice.nurse, Owner(name="Wilhelmina Prowse"), practice.at())
    other = add_client(practice.database, practice.nurse, Owner(name="Perrin Vale"), practice.at())
    again = DOG.model_copy(update={"name": DOG.name.upper()})
    assert patients_like(practice.database, practice.vet, again, kept.client_id) == (kept,)
    assert patients_like(practice.database, practice.vet, again, twin.id) == (kept,)
    assert patients_like(practice.database, practice.vet, again, other.id) == ()
    assert patients_like(practice.database, practice.vet, again, None) == ()
    cat = DOG.model_copy(update={"species": "cat"})
    assert patients_like(practice.database, practice.vet, cat, kept.client_id) == ()


@pytest.mark.parametrize(
    ("owner", "told"),
    [
        (Owner(name="Ann", email="not an address"), "is no e-mail address"),
        (Owner(name="A" * 201), "owner's name has 201 characters"),
    ],
)
def test_what_cannot_be_an_owners_is_told(practice: Practice, owner: Owner, told: str) -> None:
    with pytest.raises(EntryError, match=told):
        add_client(practice.database, practice.vet, owner, practice.at())


def test_a_name_of_thousands_of_letters_is_told(practice: Practice) -> None:
    """Labels, lists and pages have room for a name, not for a page that was pasted into it."""
    with pytest.raises(EntryError, match="patient's name has 10,000 characters"):
        add_patient(
            practice.database, practice.vet, Patient(name="A" * 10_000, species="cat"), None, practice.at()
        )
