"""The state of each system: what makes it normal, abnormal, not examined or not mentioned."""

from __future__ import annotations

import pytest
from examples import finding, heard, measured, notices, record_of, state

from pipeline.extraction.model import Finding, Measurement, NotExamined
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


@pytest.mark.parametrize(
    "rest", [finding("rest_normal"), finding("rest_abnormal", assertion="absent")], ids=lambda f: f.concept
)
def test_what_is_said_of_the_rest_covers_what_was_not_spoken_of(rest: Finding) -> None:
    """ "Rest of exam unremarkable": common practice in notes, no source. What was found or refused stands as it is."""
    record = record_of(finding("heart_murmur"), rest, not_examined=(DECLINED,))
    assert state(record, "cardiovascular") == "abnormal"
    assert state(record, "mouth") == "not_examined"
    assert state(record, "eyes") == "normal"
    assert (reason(record, "eyes") or "").startswith("said of all that was not spoken of")
    assert not any(notice.kind == "missing_system" for notice in record.notices)


def test_an_abnormal_rest_covers_nothing() -> None:
    assert state(record_of(finding("rest_abnormal")), "eyes") == "not_mentioned"


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


@pytest.mark.parametrize(
    ("facts", "measures"),
    [
        ([measured("heart_rate", 90)], "heart rate (in range)"),
        ([measured("heart_rate", 200)], "heart rate (high)"),
        (
            [measured("heart_rate", 90), measured("systolic_blood_pressure", 140)],
            "heart rate (in range), systolic blood pressure (in range)",
        ),
        ([measured("heart_rate", 5)], "heart rate (implausible)"),
    ],
)
def test_a_value_alone_decides_nothing_and_the_result_is_asked_for(
    facts: list[Measurement], measures: str
) -> None:
    """A count is no auscultation: nobody listened to the heart because its rate is known."""
    record = record_of(*facts, visit="health_check")
    assert (state(record, "cardiovascular"), reason(record, "cardiovascular")) == (
        "not_mentioned",
        f"only measured: {measures}",
    )
    (notice,) = [n for n in notices(record, "missing_system") if n.about == "cardiovascular"]
    assert f"only measured: {measures}" in notice.message


def test_a_value_without_a_range_is_not_called_in_range() -> None:
    assert reason(record_of(measured("weight", 20.0)), "general") == "only measured: weight (not judged)"


def test_a_value_beside_a_finding_changes_nothing() -> None:
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


def test_weight_and_temperature_are_the_examination_of_the_general_state() -> None:
    """Elsewhere a value alone is none: a heart rate is no auscultation."""
    record = record_of(measured("weight", 20.0), measured("temperature", 38.5), measured("heart_rate", 90))
    assert state(record, "general") == "normal"
    assert state(record, "cardiovascular") == "not_mentioned"
    assert state(record_of(measured("temperature", 40.9)), "general") == "abnormal"
