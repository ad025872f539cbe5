"""Plan items: what was done, given, booked or advised, in the words that were said, with the day it is due."""

from __future__ import annotations

import calendar
from datetime import date, timedelta

from lexicon import Lexicon
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.numbers import Number
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import Analysis


def add_months(day: date, months: int) -> date:
    """The same day some months later, the month's last day where it has no such day (31 January + 1 → 28 February)."""
    month = day.month - 1 + months
    year, month = day.year + month // 12, month % 12 + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


class PlanReader:
    """Gathers plan segments to items."""

    def __init__(self, lexicon: Lexicon) -> None:
        table = lexicon.words["due"]
        self._continues = frozenset(lexicon.words["clauses"]["plan_continues"])
        self._heading_words = frozenset(lexicon.words["clauses"]["plan_heading"])
        self._units: dict[str, tuple[str, int]] = {
            word: (unit, int(count)) for word, (unit, count) in table["units"].items()
        }
        self._named: dict[tuple[str, ...], tuple[str, int]] = {
            tuple(phrase.split()): (unit, int(count)) for phrase, (unit, count) in table["named"].items()
        }
        self._kinds: dict[str, str] = {
            word: kind for kind, words in lexicon.words["plan_kinds"].items() for word in words
        }

    def items(self, analysis: Analysis) -> list[tuple[int, int]]:
        """Token ranges of the plan items, continuations joined to what they continue."""
        found: list[tuple[int, int]] = []
        previous: Segment | None = None
        for segment in analysis.segments:
            if segment.act is not SpeechAct.PLAN:
                previous = None
                continue
            continues = (
                previous is not None
                and previous.sentence == segment.sentence
                and (analysis.norms[segment.start] in self._continues or segment.end - segment.start <= 3)
                and not self._names_a_step(analysis, segment)
                and not self._heading(analysis, *found[-1])
            )
            if continues:
                found[-1] = (found[-1][0], segment.end)
            else:
                found.append((segment.start, segment.end))
            previous = segment
        return [item for item in found if not self._heading(analysis, *item)]

    def _names_a_step(self, analysis: Analysis, segment: Segment) -> bool:
        """ "..., and recheck in two weeks", "..., and we'll see her again": the segment opens with a step of its own."""
        opening = segment.start + (analysis.norms[segment.start] in self._continues)
        cue = segment.act_cue
        cued = cue is not None and segment.start <= cue.start <= opening
        return cued or any(
            word in self._kinds for word in analysis.norms[opening : min(opening + 1, segment.end)]
        )

    def _heading(self, analysis: Analysis, start: int, end: int) -> bool:
        """ "So the plan" announces items and is none."""
        return all(word in self._heading_words for word in analysis.norms[start:end])

    def kind(self, analysis: Analysis, start: int, end: int) -> str:
        """Sort of plan item by its first telling word; "advice" when none tells."""
        for word in analysis.norms[start:end]:
            if kind := self._kinds.get(word):
                return kind
        return "advice"

    def due(self, analysis: Analysis, start: int, end: int, on: date | None) -> tuple[str | None, str | None]:
        """(ISO date or None, the words): "in ten days", "in a fortnight", "next week"; the date needs the visit's day."""
        norms = analysis.norms
        numbers = {number.start: number for number in analysis.numbers}
        for at in range(start, end):
            for words, (unit, count) in self._named.items():
                if tuple(norms[at : at + len(words)]) == words:
                    return self._date(on, unit, count), analysis.words(at, at + len(words))
            amount = self._amount(norms, numbers, at, end)
            if amount is not None:
                quantity, unit_at = amount
                unit, factor = self._units[norms[unit_at]]
                introduced = norms[at - 1] if at > start else ""
                after = norms[unit_at + 1] if unit_at + 1 < end else ""
                if introduced in ("in", "within", "after", "another") or after == "time":
                    return self._date(on, unit, round(quantity * factor)), analysis.words(at - 1, unit_at + 1)
        return None, None

    def _amount(
        self, norms: list[str], numbers: dict[int, Number], at: int, end: int
    ) -> tuple[float, int] | None:
        if norms[at] in ("a", "an", "one", "another") and at + 1 < end and norms[at + 1] in self._units:
            return 1.0, at + 1
        if norms[at : at + 3] == ["a", "couple", "of"] and at + 3 < end and norms[at + 3] in self._units:
            return 2.0, at + 3
        number = numbers.get(at)
        if number is None:
            return None
        value, stop = number.value, number.end
        if stop + 1 < end and norms[stop] in ("to", "or") and stop + 1 in numbers:
            value, stop = numbers[stop + 1].value, numbers[stop + 1].end
        return (value, stop) if stop < end and norms[stop] in self._units else None

    @staticmethod
    def _date(on: date | None, unit: str, count: int) -> str | None:
        if on is None:
            return None
        try:
            day = add_months(on, count) if unit == "month" else on + timedelta(days=count)
        except (ValueError, OverflowError):
            return None
        return day.isoformat()


__all__ = ["PlanReader", "add_months"]
