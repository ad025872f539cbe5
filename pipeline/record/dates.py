"""The days that vets named in plans, gathered over a patient's examinations. Nothing is suggested that nobody said."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from pipeline.extraction.model import PlanKind
from pipeline.record.model import ExamRecord
from pipeline.speech.model import Frozen


class DateSaid(Frozen):
    """A day that a plan named: when it is, what was to be done, and at which visit that was said."""

    due: date
    text: str
    kind: PlanKind
    said_on: date


def dates_said(records: Iterable[ExamRecord], since: date) -> tuple[DateSaid, ...]:
    """What plans of signed records set for `since` or later and nobody took back, declined or did; the next day first."""
    found = {
        DateSaid(due=date.fromisoformat(step.due), text=step.text, kind=step.kind, said_on=record.visit.on)
        for record in records
        for step in record.plan
        if step.due is not None and step.state == "to_do" and not step.superseded
    }
    return tuple(
        sorted((one for one in found if one.due >= since), key=lambda one: (one.due, one.said_on, one.text))
    )
