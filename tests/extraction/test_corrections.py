"""Corrections by voice: what is replaced, what is taken back, and what only sounds like a correction.

Spoken forms: common practice, no source.
"""

from __future__ import annotations

from datetime import date

import pytest
from marked import disagreements
from said import hear, in_words, unpunctuated

from pipeline.extraction import extract
from pipeline.speech.model import Transcript

# Read with punctuation and without: the words are enough.
SAID = [
    # --- a side, a grade, a degree, a finding is replaced
    "Mild [wax|left mild withdrawn;right mild] in the left ear, I mean the right ear.",
    "There's a grade two [murmur|grade=2 withdrawn], no wait, grade three [murmur|grade=3].",
    "Moderate [tartar|moderate left withdrawn;right moderate] on the upper left, no, upper right.",
    "The right pupil is [dilated|right withdrawn], let me redo that, left pupil is [dilated|left].",
    "[Lump|left withdrawn;right] on the left side of the chest, no, the right side.",
    "No [murmur|absent withdrawn]. Actually, there is a [murmur|present].",
    "No [murmur|absent withdrawn;present]. No, hang on, there is a soft one.",
    "Mild [gingivitis|mild withdrawn], actually I'd call that moderate [gingivitis|moderate].",
    "He has [otitis|withdrawn], no sorry, [conjunctivitis|left] in the left eye.",
    # --- the last statement is taken back, and no more
    "Teeth have moderate [tartar|moderate]. Left eye is [red|left withdrawn]. Scratch that.",
    "No [fleas|absent] in the coat, there's [wax|left withdrawn] in the left ear, scratch that.",
    "There's [discharge|left withdrawn;right] from the left eye. Scratch that, the right eye.",
    "Left ear [red|left withdrawn]. Right ear [swollen|right withdrawn]. Scratch the last two.",
    "Abdomen is [tense|withdrawn]. No I take that back, it's [soft|present].",
    # --- what was said of a named part is taken back, across other systems
    "Teeth have mild [tartar|mild withdrawn]. Heart has no [murmur|absent]. Strike that bit about the teeth.",
    "Grade two [murmur|grade=2 withdrawn]. Nose is [clean|present]. Forget the murmur, that was him moving.",
    # --- no correction
    "Sorry mate, cold hands. Belly's [soft|present].",
    "Actually the heart sounds [normal|present].",
    "He can scratch that ear all day. Nose is [clean|present].",
    "Heart sounds [normal|present]. Sorry about the noise. Left ear [red|left].",
    "No, no, good boy, stay there. Nose is [clean|present].",
    # --- restarts and hesitations
    "The left, the left eye has some [discharge|left].",
    "Left, uh, no, right ear is [red|right].",
    "Uh the um left ear has has a bit of uh [wax|left mild].",
]


@pytest.mark.parametrize("marked", SAID)
def test_corrections_change_what_they_mean(marked: str) -> None:
    """What was corrected is superseded and stays; what replaces it stands; all else is untouched."""
    assert disagreements(marked) == []


@pytest.mark.parametrize("marked", SAID)
def test_corrections_need_no_punctuation(marked: str) -> None:
    """The same from a recogniser that writes neither marks nor capitals."""
    assert disagreements(marked, punctuation=False) == []


VALUES = {
    "BCS five out of nine, actually six.": [
        "body_condition_score 5 of 9 withdrawn",
        "body_condition_score 6 of 9",
    ],
    "Weight nine forty grams, hang on, nine fourteen.": ["weight 0.94 kg withdrawn", "weight 0.91 kg"],
    "Heart rate about two fifty, no, closer to two eighty.": [
        "heart_rate ~250 /min withdrawn",
        "heart_rate ~280 /min",
    ],
    "Weight 14.2, let me read that again, 12.4.": ["weight 14.2 kg withdrawn", "weight 12.4 kg"],
    "Temp thirty, thirty eight six.": ["temperature 38.6 Cel"],
    "Weight is twelve, twelve point four kilos.": ["weight 12.4 kg"],
    "Heart rate a hundred and, uh, a hundred and ten.": ["heart_rate 110 /min"],
    "Temperature 38 .5.": ["temperature 38.5 Cel"],
}


@pytest.mark.parametrize(("said", "measured"), VALUES.items())
def test_values_are_corrected_and_begun_again(said: str, measured: list[str]) -> None:
    """A corrected value stays as withdrawn, a number only begun leaves nothing."""
    for text in (said, unpunctuated(said)):
        assert [in_words(m) for m in hear(text).measurements] == measured


def test_every_correction_is_told() -> None:
    """A withdrawn fact has a notice with the words that withdrew it."""
    statements = hear("Left ear red. Scratch that. Temp thirty eight, sorry, thirty nine.")
    assert [c.about for c in statements.corrections] == ["erythema", "temperature"] or len(
        statements.corrections
    ) == 2
    assert statements.corrections[0].evidence[0].text == "Scratch that"


@pytest.mark.parametrize(
    ("said", "stands", "due"),
    [
        ("Recheck in two weeks, no, make it three.", "Recheck in three weeks", "2026-03-22"),
        ("Recheck in two weeks, sorry, ten days.", "Recheck in ten days", "2026-03-11"),
    ],
)
def test_a_planned_time_is_replaced(said: str, stands: str, due: str) -> None:
    """The step with its new time stands, the old one is kept as taken back, and the correction is told."""
    statements = extract(Transcript.from_text(said), on=date(2026, 3, 1))
    old, new = statements.plan
    assert (old.superseded, old.text) == (True, "Recheck in two weeks")
    assert (new.superseded, new.text, new.due) == (False, stands, due)
    assert [c.about for c in statements.corrections] == ["plan"]


def test_a_planned_step_is_taken_back() -> None:
    """ "Scratch that" after a plan means the plan."""
    statements = hear("Teeth are clean. Recheck in ten days. Scratch that.")
    assert [(item.text, item.superseded) for item in statements.plan] == [("Recheck in ten days", True)]
    assert not any(finding.superseded for finding in statements.findings)


def test_a_denial_in_a_plan_corrects_nothing() -> None:
    """ "No" inside a plan forbids."""
    plan = hear("Recheck in two weeks, no running until three weeks.").plan
    assert plan
    assert not any(item.superseded for item in plan)
