"""The annotated dictations hold together; nothing of their words is shown when one does not."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from pipeline.evaluation import Gold, read_gold, without_marks

GOLD = Path(__file__).parents[1] / "gold"
HALVES = {half: read_gold(GOLD / half) for half in ("dev", "test")}
SEVERITIES = {None, "trace", "mild", "moderate", "marked", "severe"}


@pytest.mark.parametrize("half", HALVES)
def test_no_system_is_both_found_and_missing(half: str) -> None:
    """A system with a result is not missing, and one that could not be examined neither."""
    wrong = [
        gold.name
        for gold in HALVES[half]
        if {*gold.missing_systems} & ({f.system for f in gold.findings} | {*gold.not_examined})
    ]
    assert wrong == []


@pytest.mark.parametrize("half", HALVES)
def test_severities_are_those_of_the_readme(half: str) -> None:
    """Severity has five words or none."""
    wrong = [gold.name for gold in HALVES[half] if {f.severity for f in gold.findings} - SEVERITIES]
    assert wrong == []


def test_every_way_of_talking_and_species_is_in_both_halves() -> None:
    """Six ways of talking and five species, so that figures of the halves compare."""
    for golds in HALVES.values():
        assert len(Counter(gold.style for gold in golds)) == 6
        assert set(Counter(gold.species for gold in golds)) == {
            "dog",
            "cat",
            "rabbit",
            "ferret",
            "guinea_pig",
        }


@pytest.mark.parametrize("half", HALVES)
def test_without_marks_every_fact_still_stands_on_its_words(half: str) -> None:
    """Taking marks, capitals and line breaks away moves the words of a fact and loses none."""
    for gold in HALVES[half]:
        plain = without_marks(gold)
        for before, after in zip(gold.findings, plain.findings, strict=True):
            start, end = plain.span(after)
            kept = plain.text[start:end] == after.words and len(after.words.split()) == len(
                before.words.split()
            )
            assert kept, gold.name


def test_without_marks_numbers_and_apostrophes_stay() -> None:
    """What a recogniser writes without marks still has its points in numbers."""
    gold = Gold(
        name="one", style="terse", species="dog", visit="sick", text="Temp 38.6, he's bright.\nNo wax!"
    )
    assert without_marks(gold).text.strip() == "temp 38.6 he's bright no wax"
