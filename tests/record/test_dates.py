"""Which days of plans are shown for the time to come: only those that were said."""

from __future__ import annotations

from datetime import date

import pytest
from examples import TODAY, record_of

from pipeline.extraction.model import PlanItem, PlanKind, PlanState
from pipeline.record import ExamRecord
from pipeline.record.dates import dates_said


def planned(*steps: PlanItem) -> ExamRecord:
    return record_of().model_copy(update={"plan": steps})


def step(text: str, due: str | None, state: PlanState = "to_do", *, taken_back: bool = False) -> PlanItem:
    return PlanItem(text=text, kind=PlanKind.RECHECK, due=due, state=state, superseded=taken_back)


def test_the_next_day_that_was_said_comes_first() -> None:
    later, sooner = (
        planned(step("booster in a year", "2026-06-16")),
        planned(step("recheck in ten days", "2025-06-26")),
    )
    found = dates_said([later, sooner, sooner], TODAY)
    assert [(one.due, one.text, one.said_on) for one in found] == [
        (date(2025, 6, 26), "recheck in ten days", TODAY),
        (date(2026, 6, 16), "booster in a year", TODAY),
    ]


@pytest.mark.parametrize(
    "gone",
    [
        step("recheck last week", "2025-06-09"),
        step("at the next booster", None),
        step("bloods in a week", "2025-06-23", "declined"),
        step("vaccinated", "2025-06-16", "done"),
        step("recheck in two weeks", "2025-06-30", taken_back=True),
    ],
    ids=lambda one: one.text,
)
def test_what_is_past_done_declined_or_taken_back_is_not_shown(gone: PlanItem) -> None:
    assert dates_said([planned(gone)], TODAY) == ()
