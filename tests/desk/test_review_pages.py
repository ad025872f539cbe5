"""Reviewing over HTTP: what the page sends, what comes back, and that nothing is lost between two reviewers."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdf
import pytest
from desks import PASSWORD, WHOLE, Browser, Practice, draft

from lexicon import load_lexicon
from pipeline.desk.passwords import hashed
from pipeline.settings import Settings
from pipeline.store import (
    KeptRecord,
    audit,
    events_of,
    found_practice,
    open_account,
    record_of,
)


def do(browser: Browser, kept: KeptRecord, *operations: dict[str, Any], revision: int | None = None) -> Any:
    """Send operations as the page's script does."""
    return browser.post(
        f"/records/{kept.id}/do",
        json={"revision": revision or kept.revision, "operations": list(operations)},
        headers={"X-Form-Token": browser.token(), "Accept": "application/json"},
    )


def fact_of(practice: Practice, kept: KeptRecord, concept: str) -> str:
    review = record_of(practice.database, practice.people["vet"], kept.id).review
    assert review is not None
    return next(fact.id for fact in review.findings if fact.value.concept == concept)


def test_the_board_shows_every_fact_with_its_words(practice: Practice) -> None:
    kept = draft(practice)
    page = practice.browser("vet").get(f"/records/{kept.id}").text
    for shown in ("Bramley", "lurcher", "Cass Orrin", "Heart rate 120 per minute", "Weight 12 kg"):
        assert shown in page
    assert "<q>red</q>" in page
    assert "due 26 June 2025" in page
    review = record_of(practice.database, practice.people["vet"], kept.id).review
    assert review is not None
    assert re.findall(r'data-fact="(\w+)"', page)
    assert {fact.id for fact in review.facts} <= set(re.findall(r'data-fact="(\w+)"', page))


def test_looking_at_a_record_is_kept(practice: Practice) -> None:
    kept = draft(practice)
    practice.browser("nurse").get(f"/records/{kept.id}")
    last = events_of(practice.database, practice.people["manager"], kept.id)[-1]
    assert (last.action, last.by) == ("view", "Tobin Marsh")


def test_the_least_certain_comes_first_on_demand(practice: Practice) -> None:
    kept = draft(practice)
    page = practice.browser("vet").get(f"/records/{kept.id}?order=doubt").text
    certainties = [int(found) for found in re.findall(r"certainty (\d+) %", page)]
    assert len(certainties) > 3
    assert "order=doubt" in page


def test_operations_are_done_and_the_new_board_comes_back(practice: Practice) -> None:
    kept = draft(practice)
    browser = practice.browser("nurse")
    answer = do(browser, kept, {"do": "accept_certain"})
    assert answer.status_code == 200
    assert answer.json()["revision"] == 2
    assert "agreed" in answer.json()["board"]


def test_of_two_reviewers_the_second_is_told_and_nothing_is_written(practice: Practice) -> None:
    kept = draft(practice)
    first, second = practice.browser("vet"), practice.browser("nurse")
    assert do(first, kept, {"do": "accept", "fact": "f1"}).status_code == 200
    late = do(second, kept, {"do": "reject", "fact": "f1"})
    assert late.status_code == 409
    assert "not lost" in late.json()["message"]
    assert do(second, kept, {"do": "reject", "fact": "f1"}, revision=2).status_code == 200


@pytest.mark.parametrize(
    "operation",
    [
        {"do": "accept", "fact": "f999"},
        {"do": "no such thing"},
        {"do": "correct_measurement", "fact": "m1", "changes": {"value": "NaN"}},
        {"do": "mark_normal", "system": "tail"},
        {"do": "mark_not_examined", "system": "mouth", "reason": ""},
        {"do": "acknowledge", "notice": "0", "reason": "x" * 5000},
    ],
)
def test_what_cannot_be_done_is_refused_in_words(practice: Practice, operation: dict[str, Any]) -> None:
    answer = do(practice.browser("vet"), draft(practice), operation)
    assert answer.status_code == 422
    assert answer.json()["message"].endswith(".")


def test_a_finding_is_corrected_in_its_form(practice: Practice) -> None:
    kept = draft(practice)
    browser = practice.browser("vet")
    fact = fact_of(practice, kept, "ear_redness")
    form = browser.get(f"/records/{kept.id}/facts/{fact}")
    assert 'value="left" checked' in form.text
    fields = {
        "revision": "1",
        "side": "right",
        "severity": "mild",
        "size_mm": "4.5",
        "modifiers": "warm, firm",
    }
    answer = browser.fill(f"/records/{kept.id}/facts/{fact}", **fields)
    assert answer.status_code == 200
    review = record_of(practice.database, practice.people["vet"], kept.id).review
    assert review is not None
    changed = next(one for one in review.findings if one.id == fact)
    assert (changed.value.side, changed.value.severity, changed.value.size_mm) == ("right", "mild", 4.5)
    assert changed.value.modifiers == ("warm", "firm")
    assert changed.said is not None
    assert changed.said.side == "left"
    assert "Ines Halloran" in answer.json()["board"]


def test_a_form_that_changes_nothing_or_what_cannot_be_says_so(practice: Practice) -> None:
    kept = draft(practice)
    browser = practice.browser("vet")
    value = f"/records/{kept.id}/facts/m1"
    assert "Nothing differs" in browser.fill(value, revision="1").text
    assert "is a number" in browser.fill(value, revision="1", value="fast").text
    assert browser.fill(value, revision="nonsense", value="90").status_code == 409


def test_what_the_lexicon_lacks_is_kept_in_ones_own_words(practice: Practice) -> None:
    kept = draft(practice)
    browser = practice.browser("vet")
    fields = {"revision": "1", "system": "skin", "concept": "unlisted", "label": "smell of biscuits"}
    assert browser.fill(f"/records/{kept.id}/new/finding", **fields, nature="neutral").status_code == 200
    review = record_of(practice.database, practice.people["vet"], kept.id).review
    assert review is not None
    assert review.findings[-1].value.label == "smell of biscuits"
    assert review.findings[-1].value.nature == "neutral"


def test_values_and_steps_are_added_with_their_day(practice: Practice) -> None:
    kept = draft(practice)
    browser = practice.browser("nurse")
    browser.fill(f"/records/{kept.id}/new/measurement", revision="1", kind="temperature", value="38,6")
    step = {"text": "Telephone the owner", "kind": "advice", "due": "2025-06-20"}
    browser.fill(f"/records/{kept.id}/new/plan", revision="2", **step)
    review = record_of(practice.database, practice.people["vet"], kept.id).review
    assert review is not None
    assert (review.measurements[-1].value.value, review.measurements[-1].value.unit) == (38.6, "Cel")
    assert review.plan[-1].value.due == "2025-06-20"


def test_the_lexicon_is_searched_by_beginnings(practice: Practice) -> None:
    browser = practice.browser("nurse")
    found = browser.get("/lexicon/findings", params={"words": "murm"}).json()
    assert found[0]["label"] == "heart murmur"
    assert browser.get("/lexicon/findings", params={"words": ""}).json() == []
    own = browser.get("/lexicon/structures", params={"words": "popl"}).json()
    assert own[0]["id"] in load_lexicon().structures


def ready(practice: Practice, browser: Browser, kept: KeptRecord) -> KeptRecord:
    """Work off every question of a draft, through the page."""
    answer = do(browser, kept, {"do": "accept_certain"}).json()
    while keys := re.findall(r'data-ask=\'\{"do": "acknowledge", "notice": "(\w+)"', answer["board"]):
        deed = {"do": "acknowledge", "notice": keys[0], "reason": "looked at"}
        answer = do(browser, kept, deed, revision=answer["revision"]).json()
    return record_of(practice.database, practice.people["vet"], kept.id)


def test_a_vet_signs_with_the_password_and_a_nurse_files(practice: Practice) -> None:
    vet, nurse = practice.browser("vet"), practice.browser("nurse")
    open_questions = draft(practice, "Left ear red. Heart rate two hundred and sixty. Recheck in a week.")
    page = vet.fill(f"/records/{open_questions.id}/sign", revision="1", password=PASSWORD)
    assert page.status_code == 403
    assert "cannot be signed yet" in page.text
    kept = ready(practice, vet, draft(practice, WHOLE))
    assert nurse.fill(f"/records/{kept.id}/sign", revision="1", password=PASSWORD).status_code == 403
    wrong = vet.fill(f"/records/{kept.id}/sign", revision=str(kept.revision), password="not mine at all")
    assert (wrong.status_code, "do not belong together" in wrong.text) == (403, True)
    old = vet.fill(f"/records/{kept.id}/sign", revision="1", password=PASSWORD)
    assert (old.status_code, "so it was not signed" in old.text) == (409, True)
    signed = vet.fill(f"/records/{kept.id}/sign", revision=str(kept.revision), password=PASSWORD)
    assert signed.headers["location"] == f"/records/{kept.id}?signed=1"
    assert "signed by Ines Halloran" in vet.get(f"/records/{kept.id}").text

    assert "Bramley" in nurse.get("/filing").text
    filed = f"/filing/{kept.id}/filed"
    assert "tick it" in nurse.fill(filed, version="1", note="cabinet 3").text
    assert "newer version" in nurse.fill(filed, version="2", checked="yes").text
    assert nurse.fill(filed, version="1", checked="yes", note="cabinet 3").status_code == 303
    assert "cabinet 3" in nurse.get(f"/filing/{kept.id}").text
    assert "Bramley" not in nurse.get("/filing").text
    assert "Bramley" in nurse.get("/filing?state=filed&name=Orr").text
    assert audit(practice.database) == ()


def test_documents_of_a_signed_record(practice: Practice) -> None:
    vet, nurse = practice.browser("vet"), practice.browser("nurse")
    kept = draft(practice, WHOLE)
    assert nurse.get(f"/filing/{kept.id}/documents/record").status_code == 404
    kept = ready(practice, vet, kept)
    vet.fill(f"/records/{kept.id}/sign", revision=str(kept.revision), password=PASSWORD)
    for form, kind in (
        ("record", "application/pdf"),
        ("sheet", "application/pdf"),
        ("data", "application/json"),
    ):
        made = nurse.get(f"/filing/{kept.id}/documents/{form}")
        assert (made.status_code, made.headers["content-type"]) == (200, kind)
        assert made.content[:4] in (b"%PDF", b"{\n  ")
        assert f'filename="2025-06-16-bramley-{form}' in made.headers["content-disposition"]
    exports = [
        e for e in events_of(practice.database, practice.people["vet"], kept.id) if e.action == "export"
    ]
    assert [event.detail["form"] for event in exports] == ["record", "sheet", "data"]


def test_a_draft_on_paper_says_that_nobody_signed_it(practice: Practice) -> None:
    vet = practice.browser("vet")
    kept = draft(practice, WHOLE)
    address = f"/records/{kept.id}/draft.pdf"
    assert f'href="{address}"' in vet.get(f"/records/{kept.id}").text
    made = vet.get(address)
    assert (made.status_code, made.headers["content-type"]) == (200, "application/pdf")
    assert "-bramley-draft.pdf" in made.headers["content-disposition"]
    for page in pypdf.PdfReader(io.BytesIO(made.content)).pages:
        assert "Draft · not signed" in page.extract_text()
    kept = ready(practice, vet, kept)
    vet.fill(f"/records/{kept.id}/sign", revision=str(kept.revision), password=PASSWORD)
    assert vet.get(address).status_code == 404


def test_documents_are_made_for_the_practices_paper_and_in_its_words(
    practice: Practice, tmp_path: Path
) -> None:
    vet = practice.browser("vet")
    kept = ready(practice, vet, draft(practice, WHOLE))
    vet.fill(f"/records/{kept.id}/sign", revision=str(kept.revision), password=PASSWORD)
    words = tmp_path / "words.toml"
    words.write_text('[sheet]\ntitle = "{name} was here"\n', encoding="utf-8")
    settings = Settings(model="tiny.en", paper="letter", document_words=words)
    options = replace(practice.desk.options, settings=settings)
    own = Practice(replace(practice.desk, options=options), practice.clock, practice.people)
    made = pypdf.PdfReader(io.BytesIO(own.browser("nurse").get(f"/filing/{kept.id}/documents/sheet").content))
    assert made.metadata is not None
    assert made.metadata.title is not None
    assert made.metadata.title.startswith("Bramley was here")
    assert made.pages[0].mediabox.width == 612  # letter: 8.5 inches of 72 points


def test_an_amendment_needs_its_reason_and_the_first_version_stays(practice: Practice) -> None:
    vet = practice.browser("vet")
    kept = ready(practice, vet, draft(practice, WHOLE))
    vet.fill(f"/records/{kept.id}/sign", revision=str(kept.revision), password=PASSWORD)
    assert practice.browser("nurse").fill(f"/records/{kept.id}/amend").status_code == 403
    assert vet.fill(f"/records/{kept.id}/amend").status_code == 303
    kept = record_of(practice.database, practice.people["vet"], kept.id)
    fact = fact_of(practice, kept, "ear_redness")
    vet.fill(f"/records/{kept.id}/facts/{fact}", revision=str(kept.revision), side="right")
    kept = ready(practice, vet, record_of(practice.database, practice.people["vet"], kept.id))
    sign = {"revision": str(kept.revision), "password": PASSWORD}
    assert "reason" in vet.fill(f"/records/{kept.id}/sign", **sign).text
    assert vet.fill(f"/records/{kept.id}/sign", **sign, reason="It was the other ear.").status_code == 303
    assert "It was the other ear." in vet.get(f"/records/{kept.id}").text
    assert "left" in vet.get(f"/records/{kept.id}?version=1").text


def test_another_practice_sees_nothing_of_it(practice: Practice) -> None:
    kept = draft(practice)
    stranger = found_practice(practice.database, "Quay Street Vets", "Ada Lund", practice.clock())
    open_account(practice.database, stranger, stranger.person_id, "ada", hashed(PASSWORD), practice.clock())
    browser = practice.browser()
    browser.sign_in("ada")
    for address in (
        f"/records/{kept.id}",
        f"/filing/{kept.id}",
        f"/records/{kept.id}/beside",
        f"/records/{kept.id}/board",
    ):
        assert browser.get(address).status_code == 404
    assert "Bramley" not in browser.get("/find?words=bramley").text
    assert "Bramley" not in browser.get("/records").text


def test_the_first_page_counts_all_that_waits(practice: Practice) -> None:
    for _ in range(10):
        draft(practice)
    assert "10 records wait for a signature" in practice.browser("vet").get("/").text


def test_a_draft_is_set_aside_shown_as_such_and_taken_up_again(practice: Practice) -> None:
    kept, browser = draft(practice), practice.browser("nurse")
    address = f"/records/{kept.id}"
    refused = browser.fill(f"{address}/aside", revision="1", reason="")
    assert refused.status_code == 422
    assert "why this draft" in refused.text
    put = browser.fill(f"{address}/aside", revision="1", reason="begun by mistake")
    assert put.headers["location"] == "/records?put=1"
    assert kept.id not in browser.get("/records").text
    assert kept.id in browser.get("/records?aside=1").text
    page = browser.get(address).text
    assert "Set aside by Tobin Marsh" in page
    assert "begun by mistake" in page
    assert "data-do=" not in page
    assert do(browser, kept, {"do": "accept_certain"}, revision=2).status_code == 403
    assert browser.fill(f"{address}/take-up", revision="1").status_code == 409
    assert browser.fill(f"{address}/take-up", revision="2").status_code == 303
    assert kept.id in browser.get("/records").text
