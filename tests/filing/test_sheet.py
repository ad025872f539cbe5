"""The sheet to take home: plain words, only what was signed, and easy to read."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from archival import assert_archival, opened, text_of
from reading import grade
from signed import DOG, LEXICON, PRACTICE, sample, signed, weights

from pipeline.extraction.model import NotExamined
from pipeline.filing import load_language, take_home_sheet_pdf
from pipeline.filing.language import ENGLISH
from pipeline.filing.sheet import reading_text, sheet_content
from pipeline.review import MarkNotExamined

NAMES = (
    "cat_senior",
    "cat_terse",
    "dog_chatty",
    "dog_incomplete",
    "dog_noisy",
    "dog_teaching",
    "rabbit_vaccination",
)
LANGUAGE = load_language()
HIGHEST_GRADE = 5.0
"""Of Flesch-Kincaid: what a child of ten or eleven reads. Guides for patients ask for six to eight (from memory)."""


def test_the_same_version_gives_the_same_bytes() -> None:
    version, past = sample("dog_chatty"), {"weight": weights(26.9, 27.5, 28.2)}
    one, two = (take_home_sheet_pdf(version, PRACTICE, LEXICON, past=past).pdf for _ in range(2))
    assert one == two


def test_findings_are_told_in_plain_words() -> None:
    content = sheet_content(sample("dog_chatty"), PRACTICE, LEXICON, {}, LANGUAGE)
    assert content.found == (
        "Tartar on the teeth (right back tooth, mild).",
        "Fatty lump (left, about 20 mm).",
        "Heart beats: 112 per minute, above what is usual (60 to 110).",
    )


@pytest.mark.parametrize("name", NAMES)
def test_a_child_of_eleven_can_read_it(name: str) -> None:
    content = sheet_content(sample(name), PRACTICE, LEXICON, {}, LANGUAGE)
    measured = grade(reading_text(content, LANGUAGE))
    print(f"{name}: Flesch-Kincaid grade {measured:.1f}")  # noqa: T201 - the figure is the point
    assert measured <= HIGHEST_GRADE


def test_the_fixed_sentences_alone_are_as_easy() -> None:
    """Sentences only: fragments, being short, would make any text look easy."""
    sentences = [text for text in LANGUAGE["sheet"].values() if text.endswith(".")]
    text = " ".join(re.sub(r"\{\w+\}", "Bramley", sentence) for sentence in sentences)
    assert len(sentences) >= 8
    measured = grade(text)
    print(f"fixed sentences: Flesch-Kincaid grade {measured:.1f}")  # noqa: T201
    assert measured <= HIGHEST_GRADE


def test_the_measure_knows_hard_from_easy() -> None:
    """The sentence of a clinical record is out of reach; else the two tests before would prove nothing."""
    hard = (
        "Auscultation revealed a holosystolic murmur with concurrent generalised peripheral lymphadenopathy."
    )
    assert grade(hard) > 15 > HIGHEST_GRADE > grade("The cat sat on the mat. The dog ran home.")


@pytest.mark.parametrize("name", NAMES)
def test_no_clinical_name_stands_where_a_plain_one_is_known(name: str) -> None:
    """The clinical labels of what was found are not on the sheet, unless owners use the same word."""
    version = sample(name)
    printed = reading_text(sheet_content(version, PRACTICE, LEXICON, {}, LANGUAGE), LANGUAGE).lower()
    said = " ".join(item.text for item in version.record.plan).lower()
    for finding in version.record.findings:
        if finding.plain and finding.label.lower() not in f"{finding.plain.lower()} {said}":
            assert finding.label.lower() not in printed


@pytest.mark.parametrize("name", NAMES)
def test_every_word_was_signed_or_is_the_practices_own(name: str, tmp_path: Path) -> None:
    """Words of the page are of the signed record, of the lexicon's plain labels, of the language file or of the letterhead."""
    version = sample(name)
    record = version.record
    text = text_of(take_home_sheet_pdf(version, PRACTICE, LEXICON).pdf, tmp_path)
    sources = [
        ENGLISH.read_text(encoding="utf-8"),
        PRACTICE.model_dump_json(exclude={"logo"}).replace("\\n", " "),
        record.patient.name if record.patient else "",
        version.signed_by,
        *(item.text for item in record.plan),
        *(finding.plain or finding.label for finding in record.findings),
        *(finding.size_text or "" for finding in record.findings),
        *(one.plain for one in LEXICON.structures.values()),
        *(review.reason or "" for review in record.systems),
        "under over about at least most to of per minute mmHg kg °C s mm %",
    ]
    known = {word.lower() for source in sources for word in re.findall(r"[^\W\d_]+", source)}
    strange = {word for word in re.findall(r"[^\W\d_]+", text) if word.lower() not in known}
    assert strange == set()


def test_what_was_said_and_taken_back_or_told_of_others_is_not_on_it(tmp_path: Path) -> None:
    said = "Left ear red. Fleas, no, scratch that. His brother had a murmur. The owner declined the dental cleaning."
    text = text_of(take_home_sheet_pdf(signed(said), PRACTICE, LEXICON).pdf, tmp_path).lower()
    assert "red ear" in text
    for word in ("flea", "noise from the heart", "brother", "dental", "declined"):
        assert word not in text


def test_a_reason_to_call_that_was_signed_stands_with_the_others() -> None:
    said = "Ears clean. If you see hives or a swollen face tonight, call us. Recheck in ten days."
    content = sheet_content(signed(said), PRACTICE, LEXICON, {}, LANGUAGE)
    assert content.call_said == ("If you see hives or a swollen face tonight, call us.",)
    assert [step.due for step in content.to_do] == ["by 19 March 2026"]


def test_weight_is_set_against_the_visit_before() -> None:
    version = signed("Weight twelve kilos.")
    past = {"weight": weights(11.2, 11.5)}
    content = sheet_content(version, PRACTICE, LEXICON, past, LANGUAGE)
    assert content.weight_change == "0.5 kg more than on 8 September 2025"
    assert content.chart is not None
    assert [value.value for value in content.chart.values] == [11.2, 11.5, 12.0]
    lighter = sheet_content(signed("Weight eleven kilos."), PRACTICE, LEXICON, past, LANGUAGE)
    assert lighter.weight_change == "0.5 kg less than on 8 September 2025"


def test_nothing_is_called_well_that_nobody_checked(tmp_path: Path) -> None:
    empty = text_of(take_home_sheet_pdf(signed("", None), PRACTICE, LEXICON).pdf, tmp_path)
    assert "all well" not in empty
    assert "nothing out of the ordinary" not in empty
    assert "No check was written down" in empty
    muzzled = signed("Ears clean.", operations=[MarkNotExamined(system="mouth", reason="wore a muzzle")])
    results = {
        one.name: one.result for one in sheet_content(muzzled, PRACTICE, LEXICON, {}, LANGUAGE).checked
    }
    assert results == {"Mouth and teeth": "not checked: wore a muzzle", "Ears": "all well"}


def test_well_is_said_of_what_was_looked_at_and_no_more() -> None:
    version = signed("Weight twelve kilos. Ears clean.")
    partly = version.record.model_copy(
        update={"not_examined": (NotExamined(system="ears", reason="right ear too sore"),)}
    )
    content = sheet_content(version.model_copy(update={"record": partly}), PRACTICE, LEXICON, {}, LANGUAGE)
    results = {one.name: one.result for one in content.checked}
    assert results == {"General look": "measured, see below", "Ears": "well as far as we got"}


def test_a_value_that_no_patient_can_have_is_for_the_record_alone() -> None:
    version = signed("Temperature three hundred and eighty six. Heart rate one twenty.")
    assert [m.status for m in version.record.measurements if m.kind == "temperature"] == ["implausible"]
    content = sheet_content(version, PRACTICE, LEXICON, {}, LANGUAGE)
    assert "386" not in content.model_dump_json()
    assert [one.name for one in content.measured] == ["Heart beats"]


def test_a_part_named_first_becomes_a_place() -> None:
    content = sheet_content(sample("dog_corrected"), PRACTICE, LEXICON, {}, LANGUAGE)
    assert "Wart (left elbow, about 5 mm)." in content.found


def test_a_sheet_of_an_amended_record_says_that_it_replaces_another() -> None:
    version = signed("Ears clean.").model_copy(update={"version": 2, "reason": "wrong ear"})
    late = version.model_copy(update={"signed_at": datetime(2026, 3, 9, 23, 30, tzinfo=UTC)})
    content = sheet_content(late, PRACTICE, LEXICON, {}, LANGUAGE, ZoneInfo("Europe/Vienna"))
    assert content.signed == (
        "From the exam that Ines Halloran signed anew on 10 March 2026. This sheet replaces the one before."
    )


def test_a_sheet_of_twelve_findings_and_a_long_name_keeps_the_standards(tmp_path: Path) -> None:
    long = DOG.model_copy(
        update={"name": "Champion Sir Bartholomew Thunderpaws of Westering-under-the-Hill " * 2}
    )
    said = sample("cat_senior").record.transcript.text
    pdf = take_home_sheet_pdf(signed(said, long), PRACTICE, LEXICON, paper="letter").pdf
    assert_archival(pdf, part="2")
    assert len(opened(pdf).pages) <= 2
    assert "Thunderpaws" in text_of(pdf, tmp_path)
