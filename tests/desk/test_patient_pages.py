"""Keeping patients and owners: every field, whose animal it is, doubles, two at once, nothing typed lost."""

from __future__ import annotations

import html
import json
import re
from datetime import date

import pytest
from desks import DOG, Browser, Practice
from httpx2 import Response

from pipeline.desk.entries import empty_patient
from pipeline.record import Owner, Patient
from pipeline.store import (
    KeptPatient,
    add_client,
    add_patient,
    change_client,
    change_patient,
    client_of,
    events_of,
    patient_of,
    patients_of,
    search,
)
from pipeline.store.consents import agreed_to_mail

NEW = {
    "name": "Juniper",
    "species": "cat",
    "breed": "Domestic Shorthair",
    "sex": "female",
    "neutered": "yes",
    "birth_date": "2023-03-20",
    "weight_kg": "4,2 kg",
    "microchip": "840 000-000 000.103",
    "owner_name": "Dana Whitlock",
    "owner_phone": "555 0142",
    "owner_email": "dana@example.org",
    "owner_address": "4 Alder Lane",
}


def made(practice: Practice, answer: Response) -> KeptPatient:
    """The patient that an answer leads to."""
    assert answer.status_code == 303, answer.text
    found = re.search(r"[0-9a-f]{32}", answer.headers["location"])
    assert found
    return patient_of(practice.database, practice.people["nurse"], found[0])


def hidden(answer: Response, name: str) -> str:
    """The value of a hidden field of a form."""
    found = re.search(rf'name="{name}" value="([^"]*)"', answer.text)
    assert found, name
    return html.unescape(found[1])


def filled(browser: Browser, address: str, **changes: str) -> dict[str, str]:
    """All fields of the form of a kept patient, with changes."""
    shown = hidden(browser.get(address), "seen")
    return {**empty_patient(), **json.loads(shown), "seen": shown, **changes}


def test_every_field_is_kept_with_the_owner(practice: Practice) -> None:
    kept = made(practice, practice.browser("nurse").fill("/patients/new", **NEW))
    assert kept.patient == Patient(
        name="Juniper",
        species="cat",
        breed="Domestic Shorthair",
        sex="female",
        neutered=True,
        birth_date=date(2023, 3, 20),
        weight_kg=4.2,
        microchip="840000000000103",
    )
    nurse = practice.people["nurse"]
    owner = client_of(practice.database, nurse, kept.client_id or "")
    assert (owner.name, owner.phone, owner.email, owner.address) == (
        "Dana Whitlock",
        "555 0142",
        "dana@example.org",
        "4 Alder Lane",
    )
    [event] = events_of(practice.database, nurse, kept.id)
    assert (event.action, event.by) == ("add_patient", "Tobin Marsh")


def test_after_a_new_patient_the_examination_goes_on_for_whoever_may_examine(practice: Practice) -> None:
    browser = practice.browser("nurse")
    assert 'name="then" value="room"' in browser.get("/patients/new?then=room").text
    answer = browser.fill("/patients/new", **NEW, then="room")
    assert answer.headers["location"] == f"/room?patient={made(practice, answer).id}"
    other = NEW | {"microchip": "", "name": "Sorrel", "owner_name": "Perrin Vale", "owner_phone": ""}
    other |= {"owner_email": ""}
    answer = practice.browser("manager").fill("/patients/new", **other, then="room")
    assert answer.headers["location"].startswith("/patients/")


@pytest.mark.parametrize(
    ("field", "typed", "told"),
    [
        ("name", "", "Give the name"),
        ("species", "", "what kind of animal"),
        ("birth_date", "20.3.2023", "This is no day"),
        ("birth_date", "2031-01-01", "lies ahead"),
        ("birth_date", "0219-01-01", "hundred years"),
        ("age_years", "2", "not both"),
        ("weight_kg", "0", "no number of kilograms"),
        ("weight_kg", "four", "no number of kilograms"),
        ("sex", "both", "This cannot be"),
        ("breed", "x" * 201, "longer than 200"),
        ("owner_email", "dana at home", "no e-mail address"),
    ],
)
def test_a_field_that_cannot_be_is_told_beside_it_and_nothing_typed_is_lost(
    practice: Practice, field: str, typed: str, told: str
) -> None:
    given = NEW | {field: typed}
    answer = practice.browser("nurse").fill("/patients/new", **given)
    assert answer.status_code == 422
    assert told in answer.text
    assert f'id="{field}_fault"' in answer.text
    for value in (one for name, one in given.items() if name not in ("species", "sex", "neutered")):
        assert html.escape(value) in answer.text
    assert search(practice.database, practice.people["nurse"], "Juniper") == ()


@pytest.mark.parametrize(
    ("other", "kept_as"), [("Guinea-Pig", "guinea_pig"), ("bearded dragon", "bearded dragon")]
)
def test_another_species_is_kept_as_typed_unless_it_is_one_of_the_list(
    practice: Practice, other: str, kept_as: str
) -> None:
    given = NEW | {"species": "other", "species_other": other}
    kept = made(practice, practice.browser("nurse").fill("/patients/new", **given))
    assert kept.patient.species == kept_as


def test_an_age_stands_for_a_day_of_birth(practice: Practice) -> None:
    given = NEW | {"birth_date": "", "age_years": "2", "age_months": "3"}
    kept = made(practice, practice.browser("nurse").fill("/patients/new", **given))
    assert kept.patient.birth_date == date(2023, 3, 1)


def test_a_number_that_another_patient_carries_is_refused_and_leads_there(practice: Practice) -> None:
    browser = practice.browser("nurse")
    first = made(practice, browser.fill("/patients/new", **NEW))
    answer = browser.fill("/patients/new", **NEW | {"name": "Sorrel", "owner": "none"})
    assert answer.status_code == 422
    answer = browser.fill("/patients/new", name="Sorrel", species="cat", microchip="840000000000103")
    assert "that of Juniper" in answer.text
    assert f'href="/patients/{first.id}"' in answer.text


def test_an_unusual_number_is_asked_about_once(practice: Practice) -> None:
    browser = practice.browser("nurse")
    given = NEW | {"microchip": "12 345 678 9"}
    answer = browser.fill("/patients/new", **given)
    assert "this one has 9" in answer.text
    kept = made(practice, browser.fill("/patients/new", **given, sure="chip:123456789"))
    assert kept.patient.microchip == "123456789"
    # What was confirmed for one number does not count for another.
    other = given | {"microchip": "123456780", "name": "Sorrel", "owner": kept.client_id or ""}
    other |= {"offered": kept.client_id or ""}
    assert browser.fill("/patients/new", **other, sure="chip:123456789").status_code == 422


def test_an_owner_who_is_here_already_is_offered_and_taken_once(practice: Practice) -> None:
    browser, nurse = practice.browser("nurse"), practice.people["nurse"]
    owner = add_client(practice.database, nurse, Owner(name="dana  whitlock"), practice.clock())
    answer = browser.fill("/patients/new", **NEW)
    assert answer.status_code == 422
    assert f'value="{owner.id}"' in answer.text
    chosen = {"owner": owner.id, "offered": hidden(answer, "offered")}
    assert made(practice, browser.fill("/patients/new", **NEW | chosen)).client_id == owner.id
    # Or she is somebody else of that name.
    other = NEW | {"name": "Sorrel", "microchip": "", "owner": "new"}
    assert made(practice, browser.fill("/patients/new", **other)).client_id != owner.id


def test_an_owner_is_looked_for_without_losing_what_was_typed(practice: Practice) -> None:
    browser, nurse = practice.browser("nurse"), practice.people["nurse"]
    owner = add_client(practice.database, nurse, Owner(name="Dana Whitlock"), practice.clock())
    answer = browser.fill("/patients/new", name="Juniper", owner_name="whit", look="1")
    assert answer.status_code == 200
    assert f'value="{owner.id}"' in answer.text
    assert 'value="Juniper"' in answer.text
    answer = browser.fill("/patients/new", name="Juniper", owner_name="nobody", look="1")
    assert "Nobody here is called so" in answer.text


def test_the_same_animal_of_the_same_owner_is_asked_about(practice: Practice) -> None:
    browser, nurse = practice.browser("nurse"), practice.people["nurse"]
    first = add_patient(practice.database, nurse, DOG, Owner(name="Cass Orrin"), practice.clock())
    given = {"name": "BRAMLEY", "species": "dog", "owner": first.client_id or ""}
    answer = browser.fill("/patients/new", **given)
    assert answer.status_code == 422
    assert "Bramley is here already" in answer.text
    assert made(practice, browser.fill("/patients/new", **given, sure=f"double:{first.id}")).id != first.id


def test_an_animal_without_an_owner_is_asked_about(practice: Practice) -> None:
    browser = practice.browser("nurse")
    answer = browser.fill("/patients/new", name="Stray", species="cat")
    assert "No owner is given" in answer.text
    assert made(practice, browser.fill("/patients/new", name="Stray", species="cat", sure="nobody"))


def test_a_change_is_kept_with_what_it_changed(practice: Practice) -> None:
    browser, nurse = practice.browser("nurse"), practice.people["nurse"]
    first = add_patient(practice.database, nurse, DOG, Owner(name="Cass Orrin"), practice.clock())
    address = f"/patients/{first.id}/edit"
    sent = filled(browser, address, neutered="yes", owner="new", owner_name="Perrin Vale")
    kept = made(practice, browser.fill(address, **sent))
    assert kept.patient == DOG.model_copy(update={"neutered": True})
    assert client_of(practice.database, nurse, kept.client_id or "").name == "Perrin Vale"
    last = events_of(practice.database, nurse, first.id)[-1]
    assert (last.action, last.detail) == ("change_patient", {"fields": ["neutered", "owner"]})


def test_a_typed_owner_beside_a_chosen_one_is_asked_about(practice: Practice) -> None:
    browser, nurse = practice.browser("nurse"), practice.people["nurse"]
    first = add_patient(practice.database, nurse, DOG, Owner(name="Cass Orrin"), practice.clock())
    address = f"/patients/{first.id}/edit"
    answer = browser.fill(address, **filled(browser, address, owner_name="Perrin Vale"))
    assert answer.status_code == 422
    assert "another one is chosen" in answer.text
    assert "Perrin Vale" in answer.text


def test_the_second_of_two_sees_what_the_first_kept_and_loses_nothing(practice: Practice) -> None:
    browser, vet = practice.browser("nurse"), practice.people["vet"]
    first = add_patient(practice.database, vet, DOG, Owner(name="Cass Orrin"), practice.clock())
    address = f"/patients/{first.id}/edit"
    sent = filled(browser, address, breed="whippet", weight_kg="12.5")
    meanwhile = DOG.model_copy(update={"breed": "greyhound", "neutered": True})
    change_patient(practice.database, vet, first, meanwhile, first.client_id, practice.clock())
    answer = browser.fill(address, **sent)
    assert answer.status_code == 409
    assert "Stands now: greyhound" in answer.text
    assert 'value="whippet"' in answer.text
    again = {**sent, "seen": hidden(answer, "seen"), "neutered": "yes"}
    kept = made(practice, browser.fill(address, **again))
    assert (kept.patient.breed, kept.patient.weight_kg, kept.patient.neutered) == ("whippet", 12.5, True)


def test_what_nobody_else_typed_takes_what_stands(practice: Practice) -> None:
    """The nurse's form shows the vet's tick after the conflict: keeping it again takes nothing back."""
    browser, vet = practice.browser("nurse"), practice.people["vet"]
    first = add_patient(practice.database, vet, DOG, Owner(name="Cass Orrin"), practice.clock())
    address = f"/patients/{first.id}/edit"
    sent = filled(browser, address, weight_kg="12.5")
    chipped = DOG.model_copy(update={"microchip": "941000012345678"})
    change_patient(practice.database, vet, first, chipped, first.client_id, practice.clock())
    answer = browser.fill(address, **sent)
    assert 'value="941000012345678"' in answer.text
    assert 'value="12.5"' in answer.text


def test_an_owner_is_kept_changed_and_guarded_alike(practice: Practice) -> None:
    browser, nurse = practice.browser("nurse"), practice.people["nurse"]
    answer = browser.fill("/owners/new", name="Dana Whitlock", email="dana@example.org")
    assert answer.status_code == 303
    owner_id = answer.headers["location"].split("/")[2].partition("?")[0]
    answer = browser.fill("/owners/new", name="Dana Whitlock")
    assert answer.status_code == 422
    assert browser.fill("/owners/new", name="Dana Whitlock", sure=owner_id).status_code == 303
    assert browser.fill("/owners/new").status_code == 422
    address = f"/owners/{owner_id}/edit"
    shown = hidden(browser.get(address), "seen")
    sent = {"name": "Dana Whitlock", "phone": "555 0142", "email": "dana@example.org", "seen": shown}
    kept = client_of(practice.database, nurse, owner_id)
    moved = Owner(name="Dana Whitlock", email="new@example.org")
    change_client(practice.database, practice.people["vet"], kept, moved, practice.clock())
    answer = browser.fill(address, **sent)
    assert answer.status_code == 409
    # The e-mail address was left as it was shown, so the newer one stands in the form.
    assert 'value="new@example.org"' in answer.text
    assert 'value="555 0142"' in answer.text
    sent |= {"seen": hidden(answer, "seen"), "email": "new@example.org"}
    assert browser.fill(address, **sent).status_code == 303
    assert client_of(practice.database, nurse, owner_id).phone == "555 0142"
    assert browser.fill(address, **sent | {"phone": "555 0143"}).status_code == 409


def test_what_an_owner_says_to_email_is_kept_and_shown(practice: Practice) -> None:
    browser, nurse = practice.browser("nurse"), practice.people["nurse"]
    owner = add_client(practice.database, nurse, Owner(name="Dana Whitlock"), practice.clock())
    place = f"/owners/{owner.id}"
    assert "Not asked yet" in browser.get(place).text
    assert browser.fill(f"{place}/mail", agrees="yes").headers["location"] == place
    assert agreed_to_mail(practice.database, nurse, owner.id)
    assert "Agreed to documents by e-mail on 16 June 2025, kept by Tobin Marsh" in browser.get(place).text
    assert (
        browser.fill(f"{place}/mail", agrees="no", back="https://elsewhere.example").headers["location"]
        == "/"
    )
    assert not agreed_to_mail(practice.database, nurse, owner.id)
    assert browser.fill(f"{place}/mail").status_code == 422


def test_an_animal_is_added_from_its_owner(practice: Practice) -> None:
    browser, nurse = practice.browser("nurse"), practice.people["nurse"]
    owner = add_client(practice.database, nurse, Owner(name="Dana Whitlock"), practice.clock())
    assert f'value="{owner.id}" id="owner" checked' in browser.get(f"/patients/new?owner={owner.id}").text
    made(practice, browser.fill("/patients/new", name="Sorrel", species="cat", owner=owner.id))
    assert [one.patient.name for one in patients_of(practice.database, nurse, owner.id)] == ["Sorrel"]
    assert "Sorrel" in browser.get(f"/owners/{owner.id}").text


def test_another_practice_has_no_part_in_it(practice: Practice) -> None:
    browser = practice.browser("nurse")
    for address in ("/patients/%s", "/patients/%s/edit", "/owners/%s", "/owners/%s/edit"):
        assert browser.get(address % ("0" * 32)).status_code == 404
    assert browser.get(f"/patients/new?owner={'0' * 32}").status_code == 404
