"""The annotated dictations hold together; nothing of their words is shown when one does not."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from pipeline.evaluation import Gold, read_gold, without_marks

GOLD = Path(__file__).parents[1] / "gold"
PARTS = {part: read_gold(GOLD / part) for part in ("dev", "test", "fresh")}
STYLES = {"terse", "chatty", "teaching", "corrected", "noisy", "history"}
SPECIES = {"dog", "cat", "rabbit", "ferret", "guinea_pig"}
VISITS = {"health_check", "vaccination", "sick", "recheck", "pre_anaesthetic", "senior"}
SEVERITIES = {None, "trace", "mild", "moderate", "marked", "severe"}


@pytest.mark.parametrize("part", PARTS)
def test_no_system_is_both_found_and_missing(part: str) -> None:
    """A system with a result is not missing, and one that could not be examined neither."""
    wrong = [
        gold.name
        for gold in PARTS[part]
        if {*gold.missing_systems} & ({f.system for f in gold.findings} | {*gold.not_examined})
    ]
    assert wrong == []


@pytest.mark.parametrize("part", PARTS)
def test_severities_are_those_of_the_readme(part: str) -> None:
    """Severity has five words or none."""
    wrong = [gold.name for gold in PARTS[part] if {f.severity for f in gold.findings} - SEVERITIES]
    assert wrong == []


@pytest.mark.parametrize("part", PARTS)
def test_every_way_of_talking_and_species_is_in_each_part(part: str) -> None:
    """Six ways of talking and five species in each, and no others, so that figures of the parts compare."""
    assert {gold.style for gold in PARTS[part]} == STYLES
    assert {gold.species for gold in PARTS[part]} == SPECIES
    assert {gold.visit for gold in PARTS[part]} <= VISITS


def test_a_fresh_dictation_is_named_after_what_it_is() -> None:
    """The file's name says species and style as the file does, and no animal has two dictations there."""
    fresh = PARTS["fresh"]
    assert [gold.name for gold in fresh if not gold.name.startswith(f"{gold.species}_{gold.style}_")] == []
    animals = Counter(gold.name.rsplit("_", 1)[1] for gold in fresh)
    assert [animal for animal, times in animals.items() if times > 1] == []


@pytest.mark.parametrize("part", PARTS)
def test_without_marks_every_fact_still_stands_on_its_words(part: str) -> None:
    """Taking marks, capitals and line breaks away moves the words of a fact and loses none."""
    for gold in PARTS[part]:
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
