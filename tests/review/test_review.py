"""A reviewer's operations on a record, each beside what was understood."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter

from lexicon import SYSTEMS, load_lexicon
from pipeline.exam import understand
from pipeline.extraction.model import Finding, Measurement, PlanItem
from pipeline.record import ExamRecord, Patient, Visit
from pipeline.review import (
    Mark,
    Operation,
    Review,
    Reviewed,
    ReviewError,
    apply,
    current,
    hindrances,
    notice_key,
    open_review,
)
from pipeline.speech.model import Transcript

LEXICON = load_lexicon()
OPERATION: TypeAdapter[Operation] = TypeAdapter(Operation)
MARK = Mark(by="Ines Halloran", at=datetime(2025, 6, 16, 9, 30, tzinfo=UTC))
DOG = Patient(name="Bramley", species="dog", age_months=60, sex="male")
SAID = (
    "Left ear is red and sore, no discharge. Both eyes are clear. Grade two out of six murmur on the left."
    " Temperature forty point nine. Heart rate one twenty. Weight twelve kilos. Maybe a small lump on the flank."
    " Recheck the ear in ten days."
)
RECORD = understand(Transcript.from_text(SAID), DOG, Visit(kind="recheck", on=date(2025, 6, 16)))


def do(review: Review, *operations: dict[str, Any]) -> Review:
    for operation in operations:
        review = apply(review, OPERATION.validate_python(operation), MARK, LEXICON)
    return review


def finding(review: Review, concept: str) -> Reviewed[Finding]:
    return next(fact for fact in review.findings if concept in fact.value.concept and fact.stands)


def measurement(review: Review, kind: str) -> str:
    return next(fact.id for fact in review.measurements if fact.value.kind == kind)


def record(review: Review) -> ExamRecord:
    return current(review, LEXICON)


@pytest.fixture
def review() -> Review:
    return open_review(RECORD)


def test_a_review_without_decisions_is_the_record_as_understood(review: Review) -> None:
    assert record(review) == RECORD


def test_a_corrected_finding_keeps_what_was_understood_and_names_the_person(review: Review) -> None:
    murmur = finding(review, "murmur")
    review = do(
        review,
        {
            "do": "correct_finding",
            "fact": murmur.id,
            "changes": {"grade": {"value": 3, "out_of": 6, "text": "three of six"}, "side": None},
        },
    )
    after = finding(review, "murmur")
    assert after.said == murmur.value
    assert after.value.grade is not None
    assert (after.value.grade.value, after.value.side) == (3, None)
    assert after.value.evidence == murmur.value.evidence
    (shown,) = (f for f in record(review).findings if "murmur" in f.concept)
    assert shown.entered_by == MARK.by


def test_a_corrected_value_is_judged_anew(review: Review) -> None:
    assert any(n.about == "temperature" for n in hindrances(record(review)))
    fact = measurement(review, "temperature")
    review = do(review, {"do": "correct_measurement", "fact": fact, "changes": {"value": 38.9}})
    (shown,) = (m for m in record(review).measurements if m.kind == "temperature")
    assert (shown.value, shown.unit, shown.status) == (38.9, "Cel", "normal")
    assert not any(n.about == "temperature" for n in hindrances(record(review)))


def test_confirming_a_value_answers_the_notice_that_asks_for_it(review: Review) -> None:
    review = do(review, {"do": "accept", "fact": measurement(review, "temperature")})
    assert not any(n.about == "temperature" for n in record(review).notices)


def test_a_slip_of_the_keyboard_is_asked_about_again(review: Review) -> None:
    fact = measurement(review, "temperature")
    review = do(
        review,
        {"do": "accept", "fact": fact},
        {"do": "correct_measurement", "fact": fact, "changes": {"value": 388}},
    )
    assert any(n.kind == "implausible" for n in hindrances(record(review)))


def test_what_cannot_be_right_is_not_confirmed_away(review: Review) -> None:
    """An impossible value is corrected, or acknowledged with a reason; accepting it is not enough."""
    fact = measurement(review, "heart_rate")
    review = do(
        review,
        {"do": "correct_measurement", "fact": fact, "changes": {"value": 4000}},
        {"do": "accept", "fact": fact},
    )
    (notice,) = (n for n in hindrances(record(review)) if n.kind == "implausible")
    review = do(review, {"do": "acknowledge", "notice": notice_key(notice), "reason": "kept for the audit"})
    assert not any(n.kind == "implausible" for n in hindrances(record(review)))
    assert review.acknowledged[0].message == notice.message


def test_a_rejected_finding_leaves_the_record_and_stays_in_the_review(review: Review) -> None:
    murmur = finding(review, "murmur")
    review = do(review, {"do": "reject", "fact": murmur.id, "reason": "said of another dog"})
    assert not any("murmur" in f.concept for f in record(review).findings)
    states = {r.system: r.state for r in record(review).systems}
    assert states["cardiovascular"] != "abnormal"
    assert review.findings[int(murmur.id[1:]) - 1].said == murmur.value
    assert finding(do(review, {"do": "restore", "fact": murmur.id}), "murmur").standing == "open"


def test_one_finding_is_split_into_two_with_its_words(review: Review) -> None:
    eyes = next(f for f in review.findings if f.value.system == "eyes")
    review = do(
        review,
        {"do": "split", "fact": eyes.id, "into": [{"side": "left"}, {"side": "right", "severity": "mild"}]},
    )
    made = [f for f in review.findings if f.made_from == (eyes.id,)]
    assert [f.value.side for f in made] == ["left", "right"]
    assert all(f.value.evidence == eyes.value.evidence for f in made)
    assert len([f for f in record(review).findings if f.system == "eyes"]) == 2
    with pytest.raises(ReviewError, match="split or merged"):
        do(review, {"do": "restore", "fact": eyes.id})


def test_findings_merged_carry_the_words_of_all(review: Review) -> None:
    ears = [f for f in review.findings if f.value.system == "ears"][:2]
    review = do(review, {"do": "merge", "facts": [f.id for f in ears], "changes": {"severity": "moderate"}})
    (merged,) = (f for f in review.findings if f.made_from)
    assert set(merged.value.evidence) == {e for f in ears for e in f.value.evidence}
    assert merged.value.severity == "moderate"


def test_a_system_is_marked_normal_only_without_a_fault_in_it(review: Review) -> None:
    with pytest.raises(ReviewError, match="abnormal"):
        do(review, {"do": "mark_normal", "system": "ears"})
    states = {r.system: r.state for r in record(do(review, {"do": "mark_normal", "system": "nose"})).systems}
    assert states["nose"] == "normal"


def test_a_system_not_examined_has_its_reason_and_no_notice() -> None:
    silent = understand(Transcript.from_text("Heart is fine."), DOG, Visit(on=date(2025, 6, 16)))
    review = open_review(silent)
    assert any(n.about == "mouth" for n in record(review).notices)
    review = do(review, {"do": "mark_not_examined", "system": "mouth", "reason": "would not tolerate it"})
    (mouth,) = (r for r in record(review).systems if r.system == "mouth")
    assert (mouth.state, mouth.reason) == ("not_examined", "would not tolerate it")
    assert not any(n.about == "mouth" for n in record(review).notices)


def test_facts_added_by_hand_say_who_typed_them(review: Review) -> None:
    review = do(
        review,
        {
            "do": "add_finding",
            "finding": {"system": "skin", "concept": "unlisted", "label": "green paint on coat"},
        },
        {"do": "add_measurement", "measurement": {"kind": "respiratory_rate", "value": 24}},
        {"do": "add_plan_item", "item": {"text": "bathe tomorrow", "due": "2025-06-17"}},
    )
    shown = record(review)
    facts: list[Finding | Measurement | PlanItem] = [*shown.findings, *shown.measurements, *shown.plan]
    by_hand = [fact.entered_by for fact in facts if not fact.evidence]
    assert by_hand == [MARK.by] * 3
    (rate,) = (m for m in shown.measurements if m.kind == "respiratory_rate")
    assert (rate.unit, rate.status) == ("/min", "normal")


def test_all_that_is_certain_is_accepted_at_once_and_nothing_else(review: Review) -> None:
    review = do(review, {"do": "accept_certain"})
    open_facts = {fact.id for fact in review.facts if fact.standing == "open"}
    assert measurement(review, "temperature") in open_facts  # far out of range: a person looks
    assert measurement(review, "heart_rate") not in open_facts
    assert finding(review, "murmur").confirmed


@pytest.mark.parametrize(
    ("operation", "says"),
    [
        ({"do": "accept", "fact": "f99"}, "no such fact"),
        ({"do": "correct_finding", "fact": "f1", "changes": {"concept": "purple_ear"}}, "knows no finding"),
        ({"do": "correct_finding", "fact": "f1", "changes": {"structure": "wing"}}, "knows no structure"),
        ({"do": "correct_finding", "fact": "f1", "changes": {"system": None}}, "cannot be left empty"),
        ({"do": "correct_finding", "fact": "f1", "changes": {}}, "Nothing of f1"),
        ({"do": "correct_finding", "fact": "m1", "changes": {"side": "left"}}, "no such fact"),
        ({"do": "correct_measurement", "fact": "m1", "changes": {"value": "warm"}}, "as a number"),
        ({"do": "add_measurement", "measurement": {"kind": "weight"}}, "kind and a value"),
        ({"do": "add_finding", "finding": {"system": "skin"}}, "system and a concept"),
        ({"do": "add_plan_item", "item": {"text": "x", "due": "2025-02-30"}}, "no day 2025-02-30"),
        ({"do": "split", "fact": "f1", "into": [{}, {}]}, "are the same"),
        ({"do": "merge", "facts": ["f1", "f1"]}, "with itself"),
        ({"do": "acknowledge", "notice": "0", "reason": "x"}, "does not stand any more"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(
    review: Review, operation: dict[str, Any], says: str
) -> None:
    with pytest.raises(ReviewError, match=says):
        do(review, operation)


identifiers = st.sampled_from([fact.id for fact in open_review(RECORD).facts] + ["f40", "m9"])
concepts = st.sampled_from(["heart_murmur", "swelling", "normal", "unlisted", "nonsense"])
finding_changes = st.fixed_dictionaries(
    {},
    optional={
        "system": st.sampled_from(SYSTEMS),
        "concept": concepts,
        "label": st.sampled_from(["a label", "x"]),
        "side": st.sampled_from(["left", "right", "both", None]),
        "severity": st.sampled_from(["mild", "severe", None]),
        "size_mm": st.sampled_from([None, 3.0]),
        "assertion": st.sampled_from(["present", "absent", "possible"]),
    },
)
measurement_changes = st.fixed_dictionaries(
    {},
    optional={
        "kind": st.sampled_from(["heart_rate", "weight", "body_condition_score", "muscle_condition_score"]),
        "value": st.sampled_from([0.0, 4.0, 38.6, 4000.0, "mild loss", None]),
        "out_of": st.sampled_from([None, 5.0, 9.0]),
    },
)
operations = st.one_of(
    st.builds(
        lambda fact, do: {"do": do, "fact": fact},
        identifiers,
        st.sampled_from(["accept", "reject", "restore"]),
    ),
    st.just({"do": "accept_certain"}),
    st.builds(lambda f, c: {"do": "correct_finding", "fact": f, "changes": c}, identifiers, finding_changes),
    st.builds(
        lambda f, c: {"do": "correct_measurement", "fact": f, "changes": c}, identifiers, measurement_changes
    ),
    st.builds(
        lambda f, a, b: {"do": "split", "fact": f, "into": [a, b]},
        identifiers,
        finding_changes,
        finding_changes,
    ),
    st.builds(lambda a, b: {"do": "merge", "facts": [a, b]}, identifiers, identifiers),
    st.builds(lambda c: {"do": "add_finding", "finding": c}, finding_changes),
    st.builds(lambda s: {"do": "mark_normal", "system": s}, st.sampled_from(SYSTEMS)),
    st.builds(lambda s: {"do": "mark_not_examined", "system": s, "reason": "x"}, st.sampled_from(SYSTEMS)),
)


@settings(max_examples=60, deadline=None)
@given(steps=st.lists(operations, max_size=12))
def test_any_sequence_of_operations_gives_a_record_and_can_be_repeated(steps: list[dict[str, Any]]) -> None:
    """Done or refused in words; the original never changes; the same steps give the same review, also through JSON."""
    review = open_review(RECORD)
    done = []
    for step in steps:
        try:
            operation = OPERATION.validate_python(step)
            review = apply(review, operation, MARK, LEXICON)
        except ReviewError:
            continue
        done.append(operation)
    assert review.original == RECORD
    record(review)
    again = open_review(RECORD)
    for operation in done:
        again = apply(again, OPERATION.validate_json(OPERATION.dump_json(operation)), MARK, LEXICON)
    assert again == review
    assert Review.model_validate_json(review.model_dump_json()) == review
