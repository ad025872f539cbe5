"""The forms of patients and owners in a real browser: by keyboard and scanner alone, and nothing typed lost."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from browsers import chromium, enter, faults, picture, serving
from desks import DOG, PASSWORD, Practice
from playwright.sync_api import Browser, expect

from pipeline.record import Owner
from pipeline.store import add_client, add_patient, client_of, end_all_sign_ins, patient_by_microchip, search

CHIP = "840000000000103"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as opened:
        yield opened


@pytest.fixture
def address(practice: Practice) -> Iterator[str]:
    with serving(practice.desk) as place:
        yield place


def test_a_new_patient_by_keyboard_and_scanner_alone(
    practice: Practice, address: str, browser: Browser
) -> None:
    """The owner is here already: she is found by the beginning of her name, and chosen."""
    nurse = practice.people["nurse"]
    owner = add_client(
        practice.database, nurse, Owner(name="Dana Whitlock", phone="555 0142"), practice.clock()
    )
    with browser.new_context() as context:
        page = enter(context, address, "nurse")
        page.goto(f"{address}/patients/new")
        keys = page.keyboard
        keys.type("Juniper")
        keys.press("Tab")
        keys.press("ArrowDown")  # from "dog" to "cat"
        keys.press("Tab")
        expect(page.get_by_label("Breed")).to_be_focused()
        page.get_by_label("Microchip").focus()
        keys.type("840 000-000 000 103")
        keys.press("Enter")  # as a scanner does
        expect(page.get_by_label("Weight in kg")).to_be_focused()
        page.locator("#owner_name").focus()
        keys.type("whit")
        keys.press("Tab")
        keys.press("Enter")
        offered = page.get_by_role("radio", name=re.compile("Dana Whitlock"))
        expect(offered).to_be_visible()
        assert faults(page) == []
        picture(page, "patient_owner_offered_light")
        expect(offered).to_be_focused()
        keys.press("Space")
        keys.press("Enter")
        page.wait_for_url(re.compile("kept=1"))
    kept = patient_by_microchip(practice.database, nurse, CHIP)
    assert kept is not None
    assert (kept.patient.name, kept.patient.species, kept.client_id) == ("Juniper", "cat", owner.id)


def test_faults_have_the_focus_and_are_for_everybody(
    practice: Practice, address: str, browser: Browser
) -> None:
    with browser.new_context() as context:
        page = enter(context, address, "nurse")
        page.goto(f"{address}/patients/new")
        page.locator("#weight_kg").fill("four")
        page.keyboard.press("Enter")
        expect(page.get_by_role("alert").filter(has_text="3 fields need a look")).to_be_focused()
        assert faults(page) == []
        picture(page, "patient_faults_light")
        page.get_by_role("link", name="Give the name.").click()
        expect(page.locator("#name")).to_be_focused()
        page.keyboard.type("Stray")
        page.get_by_role("radio", name="cat").check(force=True)
        page.locator("#weight_kg").fill("4")
        page.keyboard.press("Enter")
        expect(page.get_by_text("No owner is given")).to_be_visible()
        assert faults(page) == []
        picture(page, "patient_question_light")
        page.get_by_label("I looked: keep it so").check()
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile("kept=1"))


def test_typing_outlives_a_lost_network_and_an_ended_sign_in(
    practice: Practice, address: str, browser: Browser
) -> None:
    nurse = practice.people["nurse"]
    with browser.new_context() as context:
        page = enter(context, address, "nurse")
        page.goto(f"{address}/owners/new", wait_until="networkidle")
        page.locator("#name").fill("Dana Whitlock")
        context.set_offline(True)
        page.keyboard.press("Enter")
        expect(page.locator("#told")).to_contain_text("does not answer")
        context.set_offline(False)
        end_all_sign_ins(practice.database, nurse, practice.clock())
        page.keyboard.press("Enter")
        expect(page.locator("#told")).to_contain_text("Your sign-in ended")
        with context.expect_page() as opened:
            page.get_by_role("link", name="/sign-in").click()
        other = opened.value
        other.fill("#login", "nurse")
        other.fill("#password", PASSWORD)
        other.keyboard.press("Enter")
        other.wait_for_url(f"{address}/")
        page.locator("#name").focus()
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile("kept=1"))
    [hit] = search(practice.database, nurse, "Whitlock")
    assert client_of(practice.database, nurse, hit.id).name == "Dana Whitlock"


def test_of_two_who_change_a_patient_nobody_loses_what_was_typed(
    practice: Practice, address: str, browser: Browser
) -> None:
    kept = add_patient(
        practice.database, practice.people["vet"], DOG, Owner(name="Cass Orrin"), practice.clock()
    )
    with browser.new_context() as one, browser.new_context() as other:
        vet, nurse = enter(one, address, "vet"), enter(other, address, "nurse")
        for page in (vet, nurse):
            page.goto(f"{address}/patients/{kept.id}/edit")
        nurse.locator("#breed").fill("whippet")
        vet.locator("#breed").fill("greyhound")
        vet.locator("#microchip").fill(CHIP)
        vet.locator("#breed").press("Enter")
        vet.wait_for_url(re.compile("kept=1"))
        nurse.locator("#breed").press("Enter")
        expect(nurse.get_by_text("Stands now: greyhound")).to_be_visible()
        expect(nurse.locator("#breed")).to_have_value("whippet")
        expect(nurse.locator("#microchip")).to_have_value(CHIP)
        assert faults(nurse) == []
        picture(nurse, "patient_conflict_light")
        nurse.locator("#breed").press("Enter")
        nurse.wait_for_url(re.compile("kept=1"))
        expect(nurse.get_by_text("whippet")).to_be_visible()
