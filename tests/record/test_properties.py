"""Whatever is understood, a record comes of it, and nothing is lost on the way."""

from __future__ import annotations

from datetime import date
from typing import get_args

from examples import LEXICON
from hypothesis import given, settings
from hypothesis import strategies as st

from lexicon.schema import System
from pipeline.extraction.model import (
    Comparator,
    Correction,
    Evidence,
    Finding,
    Grade,
    Measurement,
    MeasurementKind,
    NotExamined,
    PlanItem,
    PlanKind,
    Side,
    Statements,
)
from pipeline.record import Patient, Visit, assemble, assess
from pipeline.record.merge import merge_findings, merge_measurements
from pipeline.record.model import VisitKind
from pipeline.speech.model import Transcript

# Few texts, sides and numbers on purpose: facts have to meet to be merged or to contradict.
words = st.sampled_from(["mild", "severe", "left", "", "twelve", "\u00e4 \u2603"])
systems = st.sampled_from(get_args(System))
numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True), st.sampled_from([0.0, 1.0, 2.0, 5.0, 38.6, 40.1, 120.0])
)
probabilities = st.floats(0, 1)
evidences = st.builds(
    Evidence,
    text=words,
    start_char=st.integers(0, 50),
    end_char=st.integers(0, 50),
    start_s=st.none(),
    end_s=st.none(),
).map(lambda evidence: (evidence,))
concepts = st.sampled_from([*sorted(LEXICON.findings)[::40], "pregnancy", "normal", "redness", "of no table"])
structures = st.sampled_from([None, *sorted(LEXICON.structures)[::40], "testicle", "ear", "of no table"])
findings = st.builds(
    Finding,
    system=systems,
    concept=concepts,
    label=words,
    plain=words,
    nature=st.sampled_from(["abnormal", "normal", "neutral"]),
    structure=structures,
    assertion=st.sampled_from(["present", "absent", "possible"]),
    side=st.sampled_from([None, *get_args(Side)]),
    severity=st.one_of(st.none(), words),
    grade=st.one_of(st.none(), st.builds(Grade, value=numbers, out_of=st.none(), text=words)),
    size_mm=st.one_of(st.none(), st.sampled_from([5.0, 20.0])),
    modifiers=st.lists(words, max_size=2).map(tuple),
    reported_by=st.sampled_from(["vet", "owner"]),
    when=st.sampled_from(["now", "past"]),
    superseded=st.booleans(),
    confidence=probabilities,
    evidence=evidences,
)
measurements = st.builds(
    Measurement,
    kind=st.sampled_from(get_args(MeasurementKind)),
    value=st.one_of(st.none(), words, numbers),
    value_high=st.one_of(st.none(), numbers),
    unit=st.sampled_from([None, "Cel", "/min"]),
    comparator=st.sampled_from([None, *get_args(Comparator)]),
    out_of=st.one_of(st.none(), st.sampled_from([0.0, 5.0, 9.0, 24.0]), numbers),
    method=st.one_of(st.none(), words),
    unit_inferred=st.booleans(),
    when=st.sampled_from(["now", "past"]),
    superseded=st.booleans(),
    confidence=probabilities,
    evidence=evidences,
)
plans = st.builds(
    PlanItem, text=words, kind=st.sampled_from(PlanKind), superseded=st.booleans(), evidence=evidences
)
statements = st.builds(
    Statements,
    findings=st.lists(findings, max_size=6).map(tuple),
    measurements=st.lists(measurements, max_size=6).map(tuple),
    not_examined=st.lists(st.builds(NotExamined, system=systems, reason=words), max_size=2).map(tuple),
    mentioned=st.lists(systems, max_size=3).map(tuple),
    plan=st.lists(plans, max_size=2).map(tuple),
    corrections=st.lists(st.builds(Correction, about=words, message=words), max_size=2).map(tuple),
)
patients = st.one_of(
    st.none(),
    st.builds(
        Patient,
        name=st.just("Wren"),
        species=st.sampled_from(["dog", "cat", "rabbit", "ferret", "guinea pig", "newt"]),
        sex=st.sampled_from([None, "male", "female"]),
        birth_date=st.one_of(st.none(), st.dates(date(2000, 1, 1), date(2040, 1, 1))),
        age_months=st.none(),
        weight_kg=st.one_of(st.none(), st.floats(0.01, 100)),
    ),
)
visits = st.builds(
    Visit, kind=st.sampled_from(get_args(VisitKind)), on=st.sampled_from([None, date(2025, 6, 16)])
)
TRANSCRIPT = Transcript.from_text("x" * 60)


def _evidence(found: tuple[Finding, ...], values: tuple[Measurement, ...]) -> set[Evidence]:
    of_findings = {evidence for finding in found for evidence in finding.evidence}
    return of_findings | {evidence for value in values for evidence in value.evidence}


@settings(max_examples=300, deadline=None)
@given(said=statements, patient=patients, visit=visits)
def test_a_record_always_comes_and_nothing_is_lost(
    said: Statements, patient: Patient | None, visit: Visit
) -> None:
    record = assemble(said, TRANSCRIPT, patient, visit, LEXICON)
    assert _evidence(record.findings, record.measurements) == _evidence(said.findings, said.measurements)
    assert [review.system for review in record.systems] == list(get_args(System))
    assert record.plan == said.plan
    assert len([notice for notice in record.notices if notice.kind == "correction"]) == len(said.corrections)


@settings(max_examples=200, deadline=None)
@given(said=statements, patient=patients, visit=visits)
def test_assessing_a_record_again_changes_nothing(
    said: Statements, patient: Patient | None, visit: Visit
) -> None:
    """So a record can be assessed after every change that a reviewer makes."""
    record = assemble(said, TRANSCRIPT, patient, visit, LEXICON)
    # By text: a number that is none differs from itself.
    assert repr(assess(record, LEXICON)) == repr(record)


@settings(max_examples=200, deadline=None)
@given(said=st.lists(findings, max_size=8).map(tuple))
def test_merging_findings_twice_changes_nothing_more(said: tuple[Finding, ...]) -> None:
    once = merge_findings(said)
    assert merge_findings(once) == once


@settings(max_examples=200, deadline=None)
@given(said=st.lists(measurements, max_size=8).map(tuple))
def test_merging_measurements_twice_changes_nothing_more(said: tuple[Measurement, ...]) -> None:
    once = merge_measurements(said)
    assert repr(merge_measurements(once)) == repr(once)  # by text: a number that is none differs from itself


@settings(max_examples=200, deadline=None)
@given(said=statements, patient=patients, visit=visits, order=st.randoms(use_true_random=False))
def test_the_order_of_findings_changes_no_state_and_no_missing_notice(
    said: Statements, patient: Patient | None, visit: Visit, order: object
) -> None:
    shuffled = list(said.findings)
    order.shuffle(shuffled)  # type: ignore[attr-defined]
    other = said.model_copy(update={"findings": tuple(shuffled)})
    one, two = (assemble(s, TRANSCRIPT, patient, visit, LEXICON) for s in (said, other))
    assert [(r.system, r.state) for r in one.systems] == [(r.system, r.state) for r in two.systems]
    missing = [[n for n in r.notices if n.kind.startswith("missing")] for r in (one, two)]
    assert [n.about for n in missing[0]] == [n.about for n in missing[1]]


@settings(max_examples=100, deadline=None)
@given(said=statements, patient=patients, visit=visits)
def test_the_same_statements_give_the_same_record(
    said: Statements, patient: Patient | None, visit: Visit
) -> None:
    one, two = (assemble(said, TRANSCRIPT, patient, visit, LEXICON) for _ in range(2))
    assert one.model_dump_json() == two.model_dump_json()
