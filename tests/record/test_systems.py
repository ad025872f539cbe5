"""The state of each system: what makes it normal, abnormal, not examined or not mentioned."""

from __future__ import annotations

import pytest
from examples import finding, heard, measured, record_of, state

from pipeline.extraction.model import Finding, NotExamined
from pipeline.record.model import ExamRecord

DECLINED = NotExamined(system="mouth", reason="he would not let me", evidence=heard())


def reason(record: ExamRecord, system: str) -> str | None:
    return next(review.reason for review in record.systems if review.system == system)


@pytest.mark.parametrize(
    ("fact", "expected"),
    [
        (finding("heart_murmur"), "abnormal"),
        (finding("heart_murmur", assertion="possible"), "abnormal"),
        (finding("heart_murmur", assertion="absent"), "normal"),
        (finding("normal", system="cardiovascular"), "normal"),
        (finding("normal", system="cardiovascular", assertion="absent"), "abnormal"),
        (finding("heart_murmur", when="past"), "not_mentioned"),
        (finding("heart_murmur", superseded=True), "not_mentioned"),
        (finding("heart_murmur", reported_by="owner"), "not_mentioned"),
        (finding("heart_murmur", nature="neutral"), "not_mentioned"),
    ],
)
def test_one_finding_decides(fact: Finding, expected: str) -> None:
    assert state(record_of(fact), "cardiovascular") == expected


def test_one_abnormal_among_normal_makes_abnormal_in_any_order() -> None:
    facts = [finding("normal", system="cardiovascular"), finding("heart_murmur")]
    assert state(record_of(*facts), "cardiovascular") == "abnormal"
    assert state(record_of(*reversed(facts)), "cardiovascular") == "abnormal"


def test_the_owner_alone_makes_nothing_normal_or_abnormal() -> None:
    """Nobody looked: the record must not read as if the vet had, and the missing result is asked for."""
    record = record_of(finding("vomiting", reported_by="owner"), visit="health_check")
    assert (state(record, "abdomen"), reason(record, "abdomen")) == (
        "not_mentioned",
        "only reported by the owner",
    )
    assert any(notice.kind == "missing_system" and notice.about == "abdomen" for notice in record.notices)


def test_declined_keeps_its_reason() -> None:
    record = record_of(not_examined=(DECLINED,))
    assert (state(record, "mouth"), reason(record, "mouth")) == ("not_examined", "he would not let me")


def test_a_result_beside_a_refusal_stands_and_keeps_the_reason() -> None:
    gums = finding("normal", system="mouth", structure=None)
    record = record_of(gums, not_examined=(DECLINED,))
    assert (state(record, "mouth"), reason(record, "mouth")) == (
        "normal",
        "not complete: he would not let me",
    )


def test_a_named_system_without_result_says_so() -> None:
    record = record_of(mentioned=("eyes",))
    assert (state(record, "eyes"), reason(record, "eyes")) == (
        "not_mentioned",
        "named, but no result was said",
    )
    assert reason(record, "ears") is None


def test_a_value_alone_decides_by_its_range_and_beside_a_finding_changes_nothing() -> None:
    assert state(record_of(measured("heart_rate", 90)), "cardiovascular") == "normal"
    fast = record_of(measured("heart_rate", 200))
    assert (state(fast, "cardiovascular"), reason(fast, "cardiovascular")) == (
        "abnormal",
        "only measured: heart rate",
    )
    weighed = record_of(measured("weight", 20.0))
    assert state(weighed, "general") == "not_mentioned"
    quiet = record_of(measured("heart_rate", 200), finding("normal", system="cardiovascular"))
    assert state(quiet, "cardiovascular") == "normal"


def test_all_thirteen_systems_stand_nose_to_tail() -> None:
    systems = [review.system for review in record_of().systems]
    assert systems[:3] == ["general", "nose", "mouth"]
    assert systems[-1] == "neurological"
    assert len(systems) == 13


def test_the_record_carries_its_caution() -> None:
    caution = record_of().caution
    assert "do not replace" in caution
    assert "local rules" in caution
    assert "doses" in caution
