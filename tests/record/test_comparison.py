"""Two examinations of one patient side by side."""

from __future__ import annotations

import pytest
from examples import DOG, LEXICON
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.exam import understand
from pipeline.record import ExamRecord, Visit
from pipeline.record.comparison import compare, follow_up_notices
from pipeline.speech.model import Transcript


def exam(said: str) -> ExamRecord:
    return understand(Transcript.from_text(said), DOG, Visit(kind="recheck"))


def courses(earlier: str, now: str) -> list[tuple[str, str]]:
    compared = compare(exam(earlier), exam(now), LEXICON)
    return [(found.course, found.system) for found in compared.findings]


@pytest.mark.parametrize(
    ("earlier", "now", "course"),
    [
        ("Heart sounds normal.", "Grade two out of six heart murmur.", "new"),
        ("Grade two out of six heart murmur.", "No heart murmur today.", "resolved"),
        ("Grade two out of six heart murmur.", "Heart is normal.", "resolved"),
        ("Grade two out of six heart murmur.", "Grade three out of six heart murmur.", "changed"),
        ("Grade two out of six heart murmur.", "Grade two out of six heart murmur.", "unchanged"),
        ("Grade two out of six heart murmur.", "Lungs are clear.", "not_named"),
    ],
)
def test_the_course_of_a_finding(earlier: str, now: str, course: str) -> None:
    assert courses(earlier, now) == [(course, "cardiovascular")]


def test_left_and_right_are_two_things() -> None:
    found = compare(exam("Left elbow swollen."), exam("Right elbow swollen."), LEXICON).findings
    assert sorted(course.course for course in found) == ["new", "not_named"]


def test_what_nobody_spoke_of_again_is_asked_for() -> None:
    now = exam("Teeth: tartar.")
    compared = compare(exam("Left ear is red. Tartar on the teeth."), now, LEXICON)
    (notice,) = follow_up_notices(compared.findings, now)
    assert notice.kind == "earlier_finding"
    assert "nothing was said of it this time" in notice.message


def test_a_system_that_was_not_examined_is_not_asked_for_again() -> None:
    now = exam("Didn't look at the ears today, he would not let me.")
    assert {review.state for review in now.systems if review.system == "ears"} == {"not_examined"}
    compared = compare(exam("Left ear is red."), now, LEXICON)
    assert follow_up_notices(compared.findings, now) == ()


def test_weight_changes_in_kilograms_and_per_cent() -> None:
    (weight,) = compare(exam("Weight twelve kilos."), exam("Weight eleven point four kilos."), LEXICON).values
    assert (weight.change, weight.percent, weight.unit) == (-0.6, -5.0, "kg")


def test_scores_on_two_scales_are_not_compared() -> None:
    compared = compare(
        exam("Body condition five out of nine."), exam("Body condition three out of five."), LEXICON
    )
    assert compared.values == ()


sentences = st.lists(
    st.sampled_from(
        [
            "Left ear red.",
            "Right ear red.",
            "Ears fine.",
            "Grade two of six murmur.",
            "No murmur.",
            "Small lump on the left flank.",
            "Weight twelve kilos.",
            "He coughs at home.",
        ]
    ),
    max_size=5,
).map(" ".join)


@settings(max_examples=60, deadline=None)
@given(said=sentences)
def test_a_record_compared_with_itself_has_nothing_new_and_nothing_gone(said: str) -> None:
    record = exam(said)
    compared = compare(record, record, LEXICON)
    assert {course.course for course in compared.findings} <= {"unchanged"}
    assert all(value.change == 0 for value in compared.values)
