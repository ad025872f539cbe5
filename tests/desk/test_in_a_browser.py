"""The desk in a real browser: every page for everybody, everything by keyboard, two people at once."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from browsers import chromium, enter, faults, picture, serving
from desks import DOG, PASSWORD, QUESTIONS, WHOLE, Practice, aside, draft, filed, signed
from playwright.sync_api import Browser, Page, expect

from pipeline.record import Owner, Patient
from pipeline.store import (
    change_client,
    client_of,
    patient_by_microchip,
    patient_of,
    record_line,
    record_of,
)

HEAVIEST = 300_000
"""Bytes of a page with all it loads, without sound."""

LOOKS = ("light", "dark", "contrast")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as opened:
        yield opened


@pytest.fixture
def address(practice: Practice) -> Iterator[str]:
    with serving(practice.desk) as place:
        yield place


LONG = Patient(
    name="Wilhelmina-Konstantina Maximiliane von der Obersten Schafweide am Langen Bach",
    species="Nordamerikanischer_Weissschwanzpraeriehund",
    breed="Kurzhaarzwergbassetverwandter" * 3,
    microchip="941000012345678",
)
"""Whatever is typed into the books has to be shown: words longer than a telephone is wide, too."""


def pages_of(practice: Practice, animal: Patient = DOG) -> dict[str, tuple[str, str]]:
    """Every page with its address and who looks at it."""
    waiting, done, away = draft(practice, QUESTIONS, animal), signed(practice), filed(practice)
    return {
        "now": ("/", "vet"),
        "now_manager": ("/", "manager"),
        "to_sign": ("/records", "vet"),
        "aside": ("/records?aside=1", "vet"),
        "review_aside": (f"/records/{aside(practice).id}", "nurse"),
        "review": (f"/records/{waiting.id}", "vet"),
        "review_doubt": (f"/records/{waiting.id}?order=doubt", "nurse"),
        "signed": (f"/records/{done.id}", "vet"),
        "to_file": ("/filing", "nurse"),
        "filed": ("/filing?state=filed", "nurse"),
        "filing": (f"/filing/{done.id}", "nurse"),
        "filing_done": (f"/filing/{away.id}", "manager"),
        "deliveries": ("/filing/deliveries", "nurse"),
        "find": ("/find?words=bram", "nurse"),
        "patient": (f"/patients/{patient_id(practice, done.id)}", "vet"),
        "patient_new": ("/patients/new?then=room", "nurse"),
        "patient_edit": (f"/patients/{patient_id(practice, done.id)}/edit", "nurse"),
        "owner": (f"/owners/{owner_id(practice, done.id)}", "nurse"),
        "owner_new": ("/owners/new", "nurse"),
        "owner_edit": (f"/owners/{owner_id(practice, done.id)}/edit", "manager"),
        "people": ("/people", "manager"),
        "practice": ("/practice", "manager"),
        "me": ("/me", "nurse"),
        "tokens": ("/me/tokens", "manager"),
        "missing": ("/no-such-page", "vet"),
        "offline": ("/offline", "vet"),
    }


def patient_id(practice: Practice, record_id: str) -> str:
    return record_line(practice.database, practice.people["vet"], record_id).patient_id


def owner_id(practice: Practice, record_id: str) -> str:
    kept = patient_of(practice.database, practice.people["vet"], patient_id(practice, record_id))
    assert kept.client_id is not None
    return kept.client_id


@pytest.mark.parametrize("look", LOOKS)
def test_every_page_is_for_everybody_and_light(
    practice: Practice, address: str, browser: Browser, look: str
) -> None:
    """No violation of axe-core's rules (WCAG 2.2 AA and its good practice), no error in the console, below the weight."""
    pages = pages_of(practice)
    heard: list[str] = []
    for role in ("vet", "nurse", "manager"):
        with browser.new_context(viewport={"width": 1366, "height": 900}) as context:
            context.add_cookies([{"name": "rostral_look", "value": look, "url": address}])
            page = enter(context, address, role)
            page.on("console", lambda told: heard.append(told.text) if told.type == "error" else None)
            page.on("pageerror", lambda error: heard.append(str(error)))
            for name, (place, who) in pages.items():
                if who != role:
                    continue
                weight = weigh(page, address + place)
                assert faults(page) == [], name
                assert weight < HEAVIEST, name
                picture(page, f"{name}_{look}")
    assert [one for one in heard if "404" not in one] == []


def weigh(page: Page, place: str) -> int:
    """Load a page anew, with all that it loads: the bytes of all bodies."""
    sizes: list[int] = []

    def count(answer: object) -> None:
        sizes.append(int(answer.headers.get("content-length", 0)))  # type: ignore[attr-defined]

    page.on("response", count)
    page.goto(place, wait_until="networkidle")
    page.remove_listener("response", count)
    return sum(sizes)


@pytest.mark.parametrize("look", ["light", "dark"])
def test_the_pages_before_signing_in(practice: Practice, address: str, browser: Browser, look: str) -> None:
    with browser.new_context(viewport={"width": 1366, "height": 900}, color_scheme=look) as context:  # type: ignore[arg-type]
        page = context.new_page()
        page.goto(f"{address}/sign-in")
        assert faults(page) == []
        picture(page, f"sign_in_{look}")
        page.fill("#login", "vet")
        page.fill("#password", "a wrong password")
        page.click("button.main")
        assert faults(page) == []
        expect(page.get_by_role("alert")).to_be_focused()
        picture(page, f"sign_in_wrong_{look}")


def test_pages_fit_a_telephone(practice: Practice, address: str, browser: Browser) -> None:
    """Nothing is wider than a narrow screen (WCAG 2.2, 1.4.10 Reflow: 320 CSS pixels), however long the names are."""
    pages = pages_of(practice, LONG)
    vet = practice.people["vet"]
    kept = patient_by_microchip(practice.database, vet, LONG.microchip or "")
    assert kept is not None
    owner = client_of(practice.database, vet, kept.client_id or "")
    grand = Owner(name="Freifrau " + "Hohenlohe" * 8, email=f"{'w' * 60}@{'x' * 60}.example")
    change_client(practice.database, vet, owner, grand, practice.clock())
    pages |= {
        "patient_long": (f"/patients/{kept.id}", "vet"),
        "patient_edit_long": (f"/patients/{kept.id}/edit", "nurse"),
        "owner_long": (f"/owners/{owner.id}", "nurse"),
        "find_long": ("/find?words=wilhelmina", "nurse"),
    }
    for role in ("vet", "nurse", "manager"):
        with browser.new_context(viewport={"width": 320, "height": 640}) as context:
            page = enter(context, address, role)
            for name, (place, who) in pages.items():
                if who == role:
                    page.goto(address + place)
                    wide = page.evaluate("document.documentElement.scrollWidth")
                    assert wide <= 320, f"{name}: {wide}"
                    picture(page, f"{name}_telephone")


def test_a_record_without_a_fault_is_signed_with_few_keys(
    practice: Practice, address: str, browser: Browser
) -> None:
    """From list to list with Enter, A, S, the password, Enter, Enter: ten keys at most beside the password, and no mouse."""
    draft(practice, WHOLE)
    pressed: list[str] = []
    with browser.new_context() as context:
        page = enter(context, address, "vet")
        page.goto(f"{address}/records")

        def press(key: str) -> None:
            pressed.append(key)
            page.keyboard.press(key)

        # The one that waits longest has the focus.
        expect(page.get_by_role("link", name=re.compile("Bramley"))).to_be_focused()
        press("Enter")
        # Once the page has loaded its script hears keys.
        page.wait_for_url(re.compile("/records/.+"))
        press("A")
        expect(page.locator("#left")).to_have_text("all looked at")
        press("s")
        page.keyboard.type(PASSWORD)
        press("Enter")
        page.wait_for_url(re.compile("signed=1"))
        expect(page.get_by_text("Version 1, signed by Ines Halloran")).to_be_visible()
        press("Enter")
        page.wait_for_url(f"{address}/records")
        assert len(pressed) <= 10, pressed


def test_corrections_and_questions_by_keyboard_alone(
    practice: Practice, address: str, browser: Browser
) -> None:
    kept = draft(practice, QUESTIONS)
    with browser.new_context() as context:
        page = enter(context, address, "vet")
        page.goto(f"{address}/records/{kept.id}")
        # The finding gets another side and, from the lexicon, another name.
        redness = page.locator(".fact", has_text="Redness of the ear").first
        while not redness.evaluate("line => line === document.activeElement"):
            page.keyboard.press("ArrowDown")
        page.keyboard.press("e")
        what = page.get_by_role("combobox", name="What")
        expect(what).to_be_focused()
        page.keyboard.type("ear swell")
        expect(page.locator(".pick [role=option]").first).to_be_visible()
        assert faults(page) == []
        picture(page, "edit_light")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        page.keyboard.press("Enter")
        expect(page.locator("form.edit")).to_have_count(0)
        expect(page.locator(".fact", has_text="changed by Ines Halloran")).to_have_count(1)
        # A value is taken out and put back.
        weight = page.locator(".fact", has_text="Weight 12 kg")
        weight.focus()
        page.keyboard.press("x")
        expect(page.locator(".fact.rejected", has_text="Weight 12 kg")).to_be_focused()
        page.keyboard.press("u")
        expect(page.locator(".fact.rejected")).to_have_count(0)
        # Questions are answered one after the other.
        page.keyboard.press("A")
        while page.locator("#h_answer", has_text="stop").count():
            waiting = page.locator(".notices > .notice [data-ask*=acknowledge]").count()
            asked = page.locator(".notice:focus [data-ask*=acknowledge]")
            while not asked.count():
                # The answer before may just be putting a new board, with its own focus, in place of the old one.
                page.keyboard.press("q")
                page.wait_for_timeout(200)
            asked.focus()
            page.keyboard.press("Enter")
            expect(page.locator("form :focus")).to_have_count(1)
            page.keyboard.type("looked at again")
            page.keyboard.press("Enter")
            expect(page.locator(".notices > .notice [data-ask*=acknowledge]")).to_have_count(waiting - 1)
        page.keyboard.press("?")
        expect(page.get_by_role("dialog")).to_be_visible()
        assert faults(page) == []
        page.keyboard.press("Escape")
        page.keyboard.press("s")
        page.keyboard.type(PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile("signed=1"))


def test_the_nurse_files_by_keyboard_alone(practice: Practice, address: str, browser: Browser) -> None:
    kept = signed(practice)
    with browser.new_context() as context:
        page = enter(context, address, "nurse")
        page.goto(f"{address}/filing")
        page.get_by_role("link", name=re.compile("Bramley")).focus()
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile(kept.id))
        page.get_by_role("checkbox").focus()
        page.keyboard.press("Space")
        page.keyboard.press("Tab")
        page.keyboard.type("cabinet 3")
        page.keyboard.press("Enter")
        page.wait_for_url(re.compile("filed=1"))
    assert record_of(practice.database, practice.people["vet"], kept.id).state == "filed"


def test_the_nurse_hands_a_signed_record_over_by_keyboard_alone(
    practice: Practice, browser: Browser, tmp_path: Path
) -> None:
    """The vet signs, the nurse puts it into the folder; the receipt comes by itself and holds the file's checksum."""
    filed_at = tmp_path / "filed"
    settings = practice.desk.options.settings.model_copy(update={"delivery_folder": filed_at})
    desk = replace(practice.desk, options=replace(practice.desk.options, settings=settings))
    kept = draft(practice, WHOLE)
    with serving(desk) as address, browser.new_context() as one, browser.new_context() as other:
        vet = enter(one, address, "vet")
        vet.goto(f"{address}/records/{kept.id}", wait_until="networkidle")
        vet.keyboard.press("A")
        expect(vet.locator("#left")).to_have_text("all looked at")
        vet.keyboard.press("s")
        vet.keyboard.type(PASSWORD)
        vet.keyboard.press("Enter")
        vet.wait_for_url(re.compile("signed=1"))
        nurse = enter(other, address, "nurse")
        nurse.goto(f"{address}/filing/{kept.id}")
        # The folder is not there yet: that is told, and mended.
        nurse.get_by_label("What goes into the folder").focus()
        nurse.keyboard.press("Tab")
        expect(nurse.get_by_role("button", name="Put it into the folder")).to_be_focused()
        nurse.keyboard.press("Enter")
        expect(nurse.locator("[data-delivery] .why")).to_contain_text(str(filed_at))
        assert faults(nurse) == []
        picture(nurse, "handed_not_arrived")
        filed_at.mkdir()
        nurse.get_by_role("button", name="Try again").focus()
        nurse.keyboard.press("Enter")
        expect(nurse.locator("[data-state=delivered]")).to_be_visible(timeout=60_000)
        [file] = filed_at.iterdir()
        receipt = nurse.locator("[data-state=delivered]")
        expect(receipt).to_contain_text(str(file))
        expect(receipt).to_contain_text(hashlib.sha256(file.read_bytes()).hexdigest())
        expect(receipt).to_contain_text("Tobin Marsh")
        assert faults(nurse) == []
        picture(nurse, "handed_arrived")


def test_of_two_reviewers_nobody_loses_what_was_typed(
    practice: Practice, address: str, browser: Browser
) -> None:
    kept = draft(practice, QUESTIONS)
    with browser.new_context() as one, browser.new_context() as other:
        vet, nurse = enter(one, address, "vet"), enter(other, address, "nurse")
        for page in (vet, nurse):
            page.goto(f"{address}/records/{kept.id}")
        # The nurse begins to change a value; the vet changes the same one first.
        value = nurse.locator(".fact", has_text="Heart rate")
        value.get_by_role("button", name=re.compile("Change")).click()
        nurse.locator("form.edit [name=value]").fill("126")
        vet.locator(".fact", has_text="Heart rate").get_by_role("button", name=re.compile("Change")).click()
        vet.locator("form.edit [name=value]").fill("120")
        vet.keyboard.press("Enter")
        expect(vet.locator(".fact", has_text="Heart rate 120")).to_be_visible()
        nurse.locator("form.edit [name=value]").press("Enter")
        expect(nurse.locator("#told")).to_contain_text("is still here")
        expect(nurse.locator("form.edit [name=value]")).to_have_value("126")
        expect(nurse.locator(".fact", has_text="Heart rate 120")).to_be_visible()
        nurse.locator("form.edit [name=value]").press("Enter")
        expect(nurse.locator(".fact", has_text="Heart rate 126")).to_be_visible()
        # A decision on what nobody else touched is simply done.
        weight = vet.locator(".fact", has_text="Weight 12 kg")
        weight.focus()
        vet.keyboard.press("y")
        expect(vet.locator(".fact", has_text="Weight 12 kg").get_by_text("agreed")).to_be_visible()
        expect(vet.locator("#told")).to_contain_text("yours was done too")


def test_what_is_done_while_the_server_is_away_is_done_when_it_is_back(
    practice: Practice, address: str, browser: Browser
) -> None:
    kept = draft(practice, QUESTIONS)
    with browser.new_context() as context:
        page = enter(context, address, "vet")
        page.goto(f"{address}/records/{kept.id}", wait_until="networkidle")
        context.set_offline(True)
        page.locator(".fact", has_text="Weight 12 kg").focus()
        page.keyboard.press("y")
        expect(page.locator("#told")).to_contain_text("Nothing you typed is lost")
        context.set_offline(False)
        expect(page.locator(".fact", has_text="Weight 12 kg").get_by_text("agreed")).to_be_visible()


def test_single_keys_can_be_switched_off(practice: Practice, address: str, browser: Browser) -> None:
    """WCAG 2.2, 2.1.4 Character Key Shortcuts."""
    kept = draft(practice, QUESTIONS)
    with browser.new_context() as context:
        page = enter(context, address, "vet")
        page.goto(f"{address}/records/{kept.id}")
        page.keyboard.press("?")
        page.get_by_role("checkbox", name="Single keys work").uncheck()
        page.keyboard.press("Escape")
        before = page.locator("#left").inner_text()
        page.keyboard.press("A")
        page.keyboard.press("x")
        page.wait_for_timeout(300)
        assert page.locator("#left").inner_text() == before
