"""Problems, the steps that speak of each, and the one notice for those that none speaks of; common practice, no source."""

from __future__ import annotations

from lexicon import load_lexicon
from pipeline.extraction import extract
from pipeline.record import assemble
from pipeline.record.model import ExamRecord, Visit
from pipeline.speech.model import Transcript


def record_of(text: str) -> ExamRecord:
    """Dictate and assemble."""
    transcript = Transcript.from_text(text)
    return assemble(extract(transcript), transcript, None, Visit(), load_lexicon())


def answers(record: ExamRecord) -> dict[str, list[str]]:
    """The steps that speak of each problem."""
    return {p.concept: [record.plan[at].text for at in p.plan] for p in record.problems}


def left_over(record: ExamRecord) -> list[str]:
    """The messages of the notice for problems without a plan."""
    return [n.message for n in record.notices if n.kind == "no_plan"]


def test_a_step_speaks_of_the_part_or_system_it_names() -> None:
    """The dental is for the mouth, the scan for the heart."""
    record = record_of(
        "Heavy tartar. Heart murmur, grade three out of six. Plan: dental in May, heart scan on Friday."
    )
    assert answers(record) == {
        "dental_calculus": ["dental in May"],
        "heart_murmur": ["heart scan on Friday"],
    }
    assert not left_over(record)


def test_a_step_that_points_back_speaks_of_what_was_found_last() -> None:
    """ "Needle that" is for the lump."""
    record = record_of("Heart murmur. Lump on the left flank. We'll needle that on Monday.")
    (lump,) = [p for p in record.problems if p.concept != "heart_murmur"]
    assert [record.plan[at].text for at in lump.plan] == ["We'll needle that on Monday"]
    assert len(left_over(record)) == 1
    assert "murmur" in left_over(record)[0]


def test_a_step_that_names_nothing_may_be_for_every_problem() -> None:
    """A course of tablets and a recheck leave no problem over."""
    record = record_of("Left ear red, waxy. Start the drops twice daily, recheck in ten days.")
    assert record.problems
    assert all(p.plan for p in record.problems)
    assert not left_over(record)


def test_a_booster_answers_no_murmur() -> None:
    """One notice, with every problem left over; the slight one is not asked for."""
    record = record_of("Heart murmur. Mild tartar. Booster given today.")
    (message,) = left_over(record)
    assert "murmur" in message
    assert "calculus" not in message


def test_only_what_the_vet_found_today_is_a_problem() -> None:
    """Not what the owner told, what was, or what is not there."""
    record = record_of("Owner reports vomiting. No murmur. Last year he had an ear infection. Gums pink.")
    assert record.problems == ()


def test_assessments_are_kept_as_said() -> None:
    """In order, a list of differentials to the end of its sentence."""
    record = record_of(
        "Left hock swollen. My main concern is the joint. Differentials are sprain, infection, or worse. Recheck Friday."
    )
    assert [a.text for a in record.assessments] == [
        "My main concern is the joint",
        "Differentials are sprain, infection, or worse",
    ]
