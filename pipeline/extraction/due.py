"""When something is due: the day that words such as "in ten days" or "a week on Thursday" name, counted from the visit."""

from __future__ import annotations

import calendar
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from lexicon import Lexicon
from pipeline.extraction.numbers import Number
from pipeline.extraction.tokens import Analysis

_LAST = 31  # "end of": cut to the length of the month


def add_months(day: date, months: int) -> date:
    """The same day some months later, the month's last day where it has no such day (31 January + 1 → 28 February)."""
    month = day.month - 1 + months
    year, month = day.year + month // 12, month % 12 + 1
    return _day_of(year, month, day.day)


def _day_of(year: int, month: int, day: int) -> date:
    return date(year, month, min(day, calendar.monthrange(year, month)[1]))


@dataclass(frozen=True, slots=True)
class _Found:
    """Tokens start to end that say when, and how the day follows from the visit's; without a rule no day follows."""

    start: int
    end: int
    months: int = 0
    days: int = 0
    weekday: int | None = None
    next_week: bool = False
    month: int | None = None
    day: int | None = None
    dated: bool = True
    weak: bool = False

    def on(self, visit: date) -> date | None:
        """The day, or None where the words name none or one beyond the calendar."""
        if not self.dated:
            return None
        try:
            return self._named_day(visit) + timedelta(days=self.days)
        except (ValueError, OverflowError):
            return None

    def _named_day(self, visit: date) -> date:
        if self.weekday is not None:
            return _day_of_week(visit, self.weekday, next_week=self.next_week)
        if self.month is not None:
            day = _day_of(visit.year, self.month, self.day or 1)
            return day if day >= visit else _day_of(visit.year + 1, self.month, self.day or 1)
        if self.day is not None:
            if self.months:
                return _day_of(*_month_after(visit, self.months), self.day)
            day = _day_of(visit.year, visit.month, self.day)
            return day if day >= visit else _day_of(*_month_after(visit, 1), self.day)
        return add_months(visit, self.months)


def _day_of_week(visit: date, weekday: int, *, next_week: bool) -> date:
    if next_week:
        return visit + timedelta(days=7 - visit.weekday() + weekday)
    return visit + timedelta(days=(weekday - visit.weekday() - 1) % 7 + 1)


def _numbers_within(analysis: Analysis, start: int, end: int) -> dict[int, Number]:
    low = bisect_left(analysis.numbers, start, key=lambda number: number.start)
    high = bisect_left(analysis.numbers, end, key=lambda number: number.start)
    return {number.start: number for number in analysis.numbers[low:high]}


def _month_after(visit: date, months: int) -> tuple[int, int]:
    later = add_months(visit.replace(day=1), months)
    return later.year, later.month


class DueReader:
    """Reads times out of the words of a plan item.

    A span ("in two to three weeks") gives its later end, a month alone its first day, "Friday" the next Friday after the visit,
    "next Friday" that of the week after the visit's. Rates ("six monthly") and events ("at the next booster") give words, no day.
    """

    def __init__(self, lexicon: Lexicon) -> None:
        table = lexicon.plan["due"]
        self._units: Mapping[str, tuple[str, float]] = {
            word: (unit, float(count)) for word, (unit, count) in table["units"].items()
        }
        self._named: Mapping[tuple[str, ...], tuple[str, int]] = {
            tuple(phrase.split()): (unit, int(count)) for phrase, (unit, count) in table["named"].items()
        }
        self._first_named = frozenset(words[0] for words in self._named)
        self._weekdays: Mapping[str, int] = {word: at for at, word in enumerate(table["weekdays"])}
        self._months: Mapping[str, int] = {
            word: at for at, words in enumerate(table["months"], start=1) for word in words
        }
        self._ordinals: Mapping[str, int] = {word: at for at, word in enumerate(table["ordinals"], start=1)}
        self._tens = {word: int(value) for word, value in lexicon.numbers["tens"].items()}
        self._marks = frozenset(table["ordinal_marks"])
        self._shorthand: Mapping[int, str] = {int(per): unit for per, unit in table["shorthand"].items()}
        self._introduced = frozenset(table["introduced_by"])
        self._lasting = frozenset(table["lasting"])
        self._rates = frozenset(table["rates"])
        self._events = tuple(tuple(phrase.split()) for phrase in table["events"])
        self._due_words = frozenset(table["due_words"])
        self._today = frozenset(table["today"])

    def read(
        self, analysis: Analysis, start: int, end: int, on: date | None
    ) -> tuple[str | None, str | None]:
        """(ISO date or None, the words or None) of tokens start to end; the date needs the day of the visit."""
        found = self.find(analysis, start, end)
        if found is None:
            return None, None
        day = found.on(on) if on is not None else None
        return day.isoformat() if day is not None else None, analysis.words(found.start, found.end)

    def find(self, analysis: Analysis, start: int, end: int) -> _Found | None:
        """The first time in tokens start to end; a bare "today" only where nothing else is said."""
        norms = analysis.norms
        numbers = _numbers_within(analysis, start, end)
        weak = None
        at = start
        while at < end:
            found = self._at(norms, numbers, at, start, end)
            if found is None:
                at += 1
            elif found.weak:
                weak, at = weak or found, found.end
            else:
                return found
        return weak

    def _at(
        self, norms: Sequence[str], numbers: Mapping[int, Number], at: int, start: int, end: int
    ) -> _Found | None:
        word = norms[at]
        if word in self._first_named and (found := self._phrase(norms, at, end)):
            return found
        if word in self._weekdays and (found := self._by_weekday(norms, at, start, end)):
            return found
        for words in self._events:
            if word == words[0] and tuple(norms[at : min(at + len(words), end)]) == words:
                return _Found(at, at + len(words), dated=False, weak=True)
        if found := self._by_calendar(norms, numbers, at, start, end):
            return found
        return self._by_amount(norms, numbers, at, start, end)

    def _phrase(self, norms: Sequence[str], at: int, end: int) -> _Found | None:
        fitting = [words for words in self._named if tuple(norms[at : min(at + len(words), end)]) == words]
        if not fitting:
            return None
        words = max(fitting, key=len)
        unit, count = self._named[words]
        last = at + len(words)
        weak = words[0] in self._today and len(words) == 1
        if unit == "none":
            return _Found(at, last, dated=False)
        if unit == "month_end":
            return _Found(at, last, months=count, day=_LAST)
        return _Found(
            at, last, months=count if unit == "month" else 0, days=count if unit == "day" else 0, weak=weak
        )

    def _by_weekday(self, norms: Sequence[str], at: int, start: int, end: int) -> _Found | None:
        """ "Friday", "on Friday", "next Friday", "Friday week", "a week on Friday", "Friday the ninth"."""
        weekday = self._weekdays[norms[at]]
        first, last, days = at, at + 1, 0
        before = norms[at - 1] if at > start else ""
        following = norms[last] if last < end else ""
        if before in ("last", "since", "every", "previous"):
            return None
        if dated := self._day_number(norms, last + (following == "the"), end):
            day, last = dated
            month, last = self._month_after_day(norms, last, end)
            return _Found(first - (before == "on"), last, day=day, month=month)
        if following in ("week", "fortnight"):
            days, last = 7 * (1 + (following == "fortnight")), last + 1
        elif before == "on" and at - start >= 2 and norms[at - 2] in ("week", "fortnight"):
            days = 7 * (1 + (norms[at - 2] == "fortnight"))
            first = at - 2 - (at - start >= 3 and norms[at - 3] in ("a", "one"))
        elif before in ("on", "by", "this", "next", "from", "until", "till"):
            first = at - 1
        return _Found(
            first,
            last,
            days=days,
            weekday=weekday,
            next_week=before == "next",
            weak=before in ("until", "till"),
        )

    def _day_number(self, norms: Sequence[str], at: int, end: int) -> tuple[int, int] | None:
        """A day of the month: "fourteenth", "twenty second", "14th"; with the token after it."""
        if at >= end:
            return None
        word = norms[at]
        following = norms[at + 1] if at + 1 < end else ""
        if word in self._tens and self._tens[word] in (20, 30) and self._ordinals.get(following, 99) < 10:
            return self._valid(self._tens[word] + self._ordinals[following], at + 2)
        if word in self._ordinals:
            return self._ordinals[word], at + 1
        if word.isdecimal() and following in self._marks:
            return self._valid(int(word), at + 2)
        return None

    @staticmethod
    def _valid(day: int, end: int) -> tuple[int, int] | None:
        return (day, end) if 1 <= day <= _LAST else None

    def _month_after_day(self, norms: Sequence[str], at: int, end: int) -> tuple[int | None, int]:
        """The month after a day, "of May" or "May", or None and the same token."""
        of = at < end and norms[at] == "of"
        if at + of < end and (month := self._months.get(norms[at + of])):
            return month, at + of + 1
        return None, at

    def _by_calendar(
        self, norms: Sequence[str], numbers: Mapping[int, Number], at: int, start: int, end: int
    ) -> _Found | None:
        """ "On the fourteenth", "the second of May", "May second", "in March", "by the end of October"."""
        before = norms[at - 1] if at > start else ""
        if dated := self._day_number(norms, at, end):
            day, last = dated
            month, last = self._month_after_day(norms, last, end)
            introduced = before == "the" and at - start >= 2 and norms[at - 2] in ("on", "by", "for")
            if month is None and not introduced:
                return None
            return _Found(at - (2 if introduced else before == "the"), last, day=day, month=month)
        month = self._months.get(norms[at])
        if month is None:
            return None
        if dated := self._day_number(norms, at + 1, end):
            return _Found(at, dated[1], day=dated[0], month=month)
        if (number := numbers.get(at + 1)) and norms[at] != "may" and number.value in range(1, _LAST + 1):
            return _Found(at, number.end, day=int(number.value), month=month)
        if before == "of" and at - start >= 2 and norms[at - 2] in ("end", "start", "beginning", "middle"):
            day = {"end": _LAST, "middle": 15}.get(norms[at - 2], 1)
            return _Found(at - 2, at + 1, day=day, month=month)
        if before in ("in", "next", "by", "around", "until", "till", "from", "this", "early", "late", "mid"):
            return _Found(at - 1, at + 1, month=month, weak=before in ("until", "till", "from"))
        return None

    def _by_amount(
        self, norms: Sequence[str], numbers: Mapping[int, Number], at: int, start: int, end: int
    ) -> _Found | None:
        """ "In ten days", "in a couple of weeks", "two weeks' time", "3/12", "recheck two weeks"; "every six weeks" as a rate."""
        if found := self._by_shorthand(norms, numbers, at, start, end):
            return found
        amount = self._amount(norms, numbers, at, end)
        if amount is None:
            return self._by_rate(norms, numbers, at, start, end)
        quantity, unit_at = amount
        unit, factor = self._units[norms[unit_at]]
        before, first = self._before_amount(norms, at, start)
        last = unit_at + 1
        if last < end and norms[last] == "'s":
            last += 1
        after = norms[last] if last < end else ""
        if before in ("every", "each"):
            return _Found(first, last, dated=False, weak=True)
        if before in self._lasting or after in ("apart", "old", "ago"):
            return None
        if after == "on" and last + 1 < end and norms[last + 1] in self._weekdays:
            return None
        if not (before in self._introduced or after in ("time", "today") or before in self._due_words):
            return None
        if before in self._due_words and before not in self._introduced:
            first = at
        last += after in ("time", "today")
        count = round(quantity * factor)
        return _Found(first, last, months=count if unit == "month" else 0, days=count if unit == "day" else 0)

    def _before_amount(self, norms: Sequence[str], at: int, start: int) -> tuple[str, int]:
        """The word that introduces an amount, past "about" and "another"; with the token it stands at."""
        first = at - 1
        while first > start and norms[first] in (
            "about",
            "another",
            "roughly",
            "around",
            "say",
            "the",
            "next",
        ):
            first -= 1
        return (norms[first], first) if first >= start else ("", at)

    def _by_shorthand(
        self, norms: Sequence[str], numbers: Mapping[int, Number], at: int, start: int, end: int
    ) -> _Found | None:
        """ "3/12" is three months, "2/52" two weeks, "10/7" ten days: common practice in notes, no source."""
        if at + 2 >= end or norms[at + 1] != "/" or at not in numbers or not norms[at + 2].isdecimal():
            return None
        unit = self._shorthand.get(int(norms[at + 2]))
        before = norms[at - 1] if at > start else ""
        if unit is None or before in self._lasting:
            return None
        unit, factor = self._units[unit]
        count = round(numbers[at].value * factor)
        first = at - (before in self._introduced)
        return _Found(
            first, at + 3, months=count if unit == "month" else 0, days=count if unit == "day" else 0
        )

    def _by_rate(
        self, norms: Sequence[str], numbers: Mapping[int, Number], at: int, start: int, end: int
    ) -> _Found | None:
        """ "Monthly", "six monthly": how often, which names no day."""
        if norms[at] not in self._rates:
            return None
        first = at - 1 if at > start and any(number.end == at for number in numbers.values()) else at
        return _Found(first, at + 1, dated=False, weak=True)

    def _amount(
        self, norms: Sequence[str], numbers: Mapping[int, Number], at: int, end: int
    ) -> tuple[float, int] | None:
        if norms[at] in ("a", "an", "one") and at + 1 < end and norms[at + 1] in self._units:
            return 1.0, at + 1
        if (
            tuple(norms[at : at + 3]) == ("a", "couple", "of")
            and at + 3 < end
            and norms[at + 3] in self._units
        ):
            return 2.0, at + 3
        if norms[at] == "couple" and at + 1 < end and norms[at + 1] in self._units:
            return 2.0, at + 1
        number = numbers.get(at)
        if number is None:
            return None
        value, stop = number.value, number.end
        if stop + 1 < end and norms[stop] in ("to", "or", "\u2013") and stop + 1 in numbers:
            value, stop = numbers[stop + 1].value, numbers[stop + 1].end
        return (value, stop) if stop < end and norms[stop] in self._units else None


__all__ = ["DueReader", "add_months"]
