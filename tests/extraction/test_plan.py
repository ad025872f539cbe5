"""Plan items: which clauses plan, where one step ends and the next begins, of what kind, when due, done or not.

Clinical meaning of the sentences: common practice, no source. Dates: the calendar of the standard library (proleptic Gregorian).
"""

from __future__ import annotations

from datetime import date

import pytest
from said import hear, unpunctuated

from pipeline.extraction import extract
from pipeline.extraction.due import add_months
from pipeline.speech.model import Transcript

VISIT = date(2026, 11, 25)  # a Wednesday

# Sentence → the beginnings of its items, in order.
STEPS: dict[str, list[str]] = {
    "Right, so bloods today, start him on the drops twice daily and I'll see you in ten days.": [
        "bloods today",
        "start him on the drops",
        "I'll see you",
    ],
    "Plan: dental under GA, pre-op bloods, wt check 3/12.": ["dental under GA", "pre-op bloods", "wt check"],
    "So Mrs Harrow brush those teeth every night please.": ["brush those teeth"],
    "Keep him off the stairs for a fortnight, and pop back if it gets worse.": ["Keep him off", "pop back"],
    "If it's not better by Friday bring her back.": ["If it's not better by Friday bring her back"],
    "If he vomits again tonight, straight back in. Gums pink.": [],
    "He's due his booster in March.": ["He's due his booster"],
    "The wound wants bathing with salt water morning and night.": ["The wound wants bathing"],
    "She's had her jab.": ["She's had her jab"],
    "Nails clipped, anal sacs expressed, ears cleaned.": ["Nails clipped", "anal sacs", "ears cleaned"],
    "Hip x-rays under sedation next Tuesday, starve from ten the night before.": ["Hip x-rays", "starve"],
    "Mites confirmed on the tape, so treat all three of them, and bin the bedding.": ["treat all", "bin"],
    "Referred to the cardiologist for an echo.": ["Referred to the cardiologist"],
    "Let's go for a trial with a hydrolysed food, strictly nothing else, eight weeks.": ["Let's go for"],
    "Back tonight if nothing is passed by six.": ["Back tonight"],
    "He's back with me on Tuesday.": ["He's back with me"],
    "I've popped a catheter in.": ["I've popped a catheter in"],
    "She's due again in twelve months.": ["She's due again"],
    "I'd like him back tomorrow morning.": ["I'd like him back"],
    "If she's still stiff by Christmas we'll take some pictures of those hips.": ["If she's still stiff"],
    "Plan. Sedate, clip, lance this afternoon, cone. FIV test before he goes home.": [
        "Sedate",
        "clip",
        "lance",
        "cone",
        "FIV test",
    ],
}

# Of the examination, of what was, of how often, of animals in general: no plan.
NO_STEPS = [
    "I'll just have a look in the ears.",
    "I'm going to take your temperature now.",
    "Let's check your heart. Lovely, no murmur.",
    "Let's start with the eyes, both clear.",
    "We'd usually do bloods in a dog this age.",
    "Nothing else to do there.",
    "Murmur on the left side, I'd give it a three out of six.",
    "Give me that paw. Nails fine.",
    "Keep him there a sec. Heart one twenty, regular.",
    "Bloods last month were normal.",
    "Vaccinated last March, on flea treatment.",
    "Gets tinned food twice a day.",
    "Lame due to dental disease.",
    "Discharge, purulent, from the left ear.",
    "Let's go back to that murmur, it's quieter on the right.",
    "Grade three dental disease.",
    "Piggies don't give you a lot to go on.",
    "The old lesion has not come back.",
    "Nose dry, a little crusty on top.",
]

KINDS: dict[str, str] = {
    "Give one tablet twice a day with food.": "treatment",
    "Keep him off the stairs.": "advice",
    "No need for x-rays at this point.": "advice",
    "We'll run a thyroid level this afternoon.": "test",
    "Referred to the eye clinic.": "referral",
    "Recheck in ten days.": "recheck",
    "Teeth check in six weeks.": "recheck",
    "Booster given today.": "vaccination",
    "Worm him every fortnight.": "parasite_control",
    "Cut the pellets to a spoonful a day.": "diet",
    "Dental booked for the fourth of May.": "procedure",
    "Health certificate signed today.": "certificate",
}

STATES: dict[str, str] = {
    "Nails clipped today.": "done",
    "I've given him an injection.": "done",
    "Booster given today.": "done",
    "Injection to be given tomorrow.": "to_do",
    "Recheck in ten days.": "to_do",
    "They don't want bloods today.": "declined",
    "Owner declined x-rays.": "declined",
}

DUE: dict[str, str | None] = {
    "Recheck in ten days.": "2026-12-05",
    "Recheck in a fortnight.": "2026-12-09",
    "Recheck in two to three weeks.": "2026-12-16",
    "Recheck a week on Thursday.": "2026-12-03",
    "Recheck Thursday week.": "2026-12-03",
    "Recheck next Tuesday.": "2026-12-01",
    "Recheck on Friday.": "2026-11-27",
    "Recheck on Wednesday.": "2026-12-02",
    "Recheck at the end of the month.": "2026-11-30",
    "Recheck in March.": "2027-03-01",
    "Recheck on the fourteenth.": "2026-12-14",
    "Recheck on the twenty second of May.": "2027-05-22",
    "Recheck May 22nd.": "2027-05-22",
    "Recheck same time next year.": "2027-11-25",
    "Recheck tomorrow morning.": "2026-11-26",
    "Recheck in two weeks' time.": "2026-12-09",
    "Weight check 3/12.": "2027-02-25",
    "Recheck two weeks.": "2026-12-09",
    "Recheck over the next few days.": None,
    "Recheck at the next booster.": None,
    "Repeat bloods six monthly.": None,
    "Antibiotics for ten days.": None,
}


@pytest.mark.parametrize(("said", "expected"), STEPS.items())
def test_each_step_is_an_item(said: str, expected: list[str]) -> None:
    """One item for each thing done or to be done, beginning at its own words."""
    items = [item.text for item in hear(said).plan]
    if expected:
        assert len(items) == len(expected), items
        assert all(item.startswith(words) for item, words in zip(items, expected, strict=True)), items
    else:
        assert not any("Gums" in item for item in items)


@pytest.mark.parametrize("said", NO_STEPS)
@pytest.mark.parametrize("punctuated", [True, False])
def test_what_is_no_plan(said: str, *, punctuated: bool) -> None:
    """With marks and without."""
    assert not hear(said if punctuated else unpunctuated(said)).plan


@pytest.mark.parametrize(("said", "kind"), KINDS.items())
def test_kind(said: str, kind: str) -> None:
    """The thing that is given or done tells the kind, else the verb."""
    assert [item.kind for item in hear(said).plan] == [kind]


@pytest.mark.parametrize(("said", "state"), STATES.items())
def test_done_to_do_or_declined(said: str, state: str) -> None:
    """What was done today is told apart from what is to be done and from what the owner does not want."""
    assert [item.state for item in hear(said).plan] == [state]


@pytest.mark.parametrize(("said", "due"), DUE.items())
def test_due(said: str, due: str | None) -> None:
    """The day counts from the visit; the words are kept where they name none."""
    (item,) = extract(Transcript.from_text(said), on=VISIT).plan
    assert item.due == due
    assert item.due_text is not None or "for ten days" in said


def test_no_day_without_the_day_of_the_visit() -> None:
    """Words stay, no date is made up."""
    (item,) = hear("Recheck in ten days.").plan
    assert (item.due, item.due_text) == (None, "in ten days")


def test_months_keep_the_day_where_there_is_one() -> None:
    """31 January and a month is the last of February, in leap years too."""
    assert add_months(date(2027, 1, 31), 1) == date(2027, 2, 28)
    assert add_months(date(2028, 1, 31), 1) == date(2028, 2, 29)


def test_a_value_behind_a_plan_is_measured() -> None:
    """The score that follows is no part of the advice."""
    (value,) = hear("She needs to lose weight, six out of nine.").measurements
    assert (value.value, value.out_of) == (6, 9)


def test_what_is_seen_is_not_taken_for_a_plan() -> None:
    """A heading's list ends where a part is described."""
    heard = hear("Plan is a full check today. Bright and alert. Left ear red.")
    assert {finding.evidence[0].text for finding in heard.findings} >= {"Bright", "red"}
