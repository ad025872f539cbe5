"""What was said twice becomes one fact; what only looks alike stays apart."""

from __future__ import annotations

import pytest
from examples import finding, heard, measured, record_of

from pipeline.extraction.model import Finding, Grade
from pipeline.record.merge import merge_findings, merge_measurements

WAX = finding("ear_wax", side="left", evidence=heard(0))


def test_one_fact_said_twice_keeps_both_words_and_the_best_detail() -> None:
    vague = finding("ear_wax", side="left", confidence=0.5, modifiers=("dark",), evidence=heard(0))
    exact = finding(
        "ear_wax", side="left", severity="mild", confidence=0.9, modifiers=("dry",), evidence=heard(9)
    )
    (merged,) = merge_findings((vague, exact))
    assert (merged.severity, merged.confidence, merged.modifiers) == ("mild", 0.9, ("dark", "dry"))
    assert [evidence.start_char for evidence in merged.evidence] == [0, 9]


@pytest.mark.parametrize(
    "other",
    [
        {"side": "right"},
        {"side": None},
        {"assertion": "possible"},
        {"when": "past"},
        {"reported_by": "owner"},
        {"superseded": True},
        {"structure": "pinna"},
        {"system": "skin"},
    ],
)
def test_a_difference_keeps_facts_apart(other: dict[str, object]) -> None:
    assert len(merge_findings((WAX, WAX.model_copy(update=other)))) == 2


def test_two_lumps_stay_two() -> None:
    small, large = (finding("mass", size_mm=size, evidence=heard()) for size in (10, 30))
    assert len(merge_findings((small, large))) == 2


def test_two_grades_stay_two() -> None:
    grades = [finding("heart_murmur", grade=Grade(value=n, out_of=6, text=str(n))) for n in (2, 3)]
    assert len(merge_findings(tuple(grades))) == 2


def test_a_value_said_twice_is_one_and_a_unit_said_once_is_enough() -> None:
    first = measured("weight", 12.4, unit_inferred=True, confidence=0.8, evidence=heard(0))
    (merged,) = merge_measurements((first, measured("weight", 12.4, evidence=heard(5))))
    assert not merged.unit_inferred
    assert merged.confidence == 1.0
    assert len(merged.evidence) == 2
    assert len(merge_measurements((first, measured("weight", 12.5)))) == 2


def test_findings_stand_nose_to_tail_then_as_said() -> None:
    said: tuple[Finding, ...] = (
        finding("heart_murmur"),
        finding("ear_wax", side="right"),
        finding("ear_wax", side="left"),
    )
    record = record_of(*said)
    assert [(f.system, f.side) for f in record.findings] == [
        ("ears", "right"),
        ("ears", "left"),
        ("cardiovascular", None),
    ]
