"""The sheet to take home: plain words, only what was signed, and easy to read."""

from __future__ import annotations

from signed import LEXICON, PRACTICE, sample, signed, weights

from pipeline.filing.language import load_language
from pipeline.filing.sheet import sheet_content, take_home_sheet_pdf


def test_the_same_version_gives_the_same_bytes() -> None:
    version, past = sample("dog_chatty"), {"weight": weights(26.9, 27.5, 28.2)}
    one, two = (take_home_sheet_pdf(version, PRACTICE, LEXICON, past=past).pdf for _ in range(2))
    assert one == two


def test_findings_are_told_in_plain_words() -> None:
    content = sheet_content(sample("dog_chatty"), PRACTICE, LEXICON, {}, load_language())
    assert content.found == (
        "Tartar on the teeth (right back tooth, mild).",
        "Fatty lump (left, about 20 mm).",
        "Heart beats: 112 per minute, above the usual range of 60 to 110.",
    )


def test_a_reason_to_call_that_was_signed_stands_with_the_others() -> None:
    said = "Ears clean. If you see hives or a swollen face tonight, call us. Recheck in ten days."
    content = sheet_content(signed(said), PRACTICE, LEXICON, {}, load_language())
    assert content.call_said == ("If you see hives or a swollen face tonight, call us.",)
    assert [step.due for step in content.to_do] == ["by 19 March 2026"]
