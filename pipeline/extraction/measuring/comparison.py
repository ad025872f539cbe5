"""Values said for comparison: earlier ones and the same thing measured again."""

from __future__ import annotations

from dataclasses import replace

from pipeline.extraction.measuring.amounts import Amounts
from pipeline.extraction.measuring.model import DECIMAL_UNITS, Reading, Value
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.measuring.writing import Writing, in_unit_of
from pipeline.extraction.numbers import Number
from pipeline.extraction.tokens import SENTENCE_MARKS

_REACH_OF_REPEAT = 14  # tokens from a value to the one measured after it


class Comparison:
    """Tells today's value from an earlier one and from a repeat."""

    def __init__(self, sheet: Sheet, amounts: Amounts, writing: Writing) -> None:
        self.sheet = sheet
        self._amounts = amounts
        self._writing = writing
        self._old_values = sheet.cues("old_value")
        self._repeats = sheet.cues("repeat")
        self._now = sheet.cues("now")
        self._past = sheet.cues("past")

    def from_to(self, number: Number) -> bool:
        """ "Weight's gone up from twelve kilos to thirteen point five": the first value is past, the second stands."""
        sheet = self.sheet
        start = number.start - (sheet.at(number.start - 1) == "a")
        if sheet.at(start - 1) != "from" or not self._moved(start - 1):
            return False
        value = self._amounts.plain(number)
        second = self._second(value.end)
        if second is None:
            return False
        later = self._amounts.value(second)
        given = value.unit or later.unit
        kind = self._kind_moved(start, given, later)
        if kind is None:
            return False
        scale = later.out_of if sheet.tables.row(kind).out_of else None
        self._writing.write(replace(value, unit=given, out_of=scale), kind, None).past = True
        self._writing.write(replace(later, unit=given), kind, None)
        return True

    def _moved(self, before: int) -> bool:
        """Whether words before "from" say that something has risen, fallen or gone."""
        near = range(max(0, before - 5), before)
        return bool(self.sheet.cues("change_before").within(before - 6, before)) or any(
            self.sheet.is_word(at, "moved") for at in near
        )

    def _second(self, end: int) -> Number | None:
        sheet = self.sheet
        if sheet.at(end) != "to":
            return None
        return sheet.numbers.get(end + 1) or (
            sheet.numbers.get(end + 2) if sheet.at(end + 1) == "a" else None
        )

    def _kind_moved(self, start: int, given: object, later: Value) -> str | None:
        name = self.sheet.name_before(start, 8)
        if name is not None and name.start not in self.sheet.used:
            self.sheet.used.add(name.start)
            return name.row.kind
        unit = later.unit if given is not None else None
        if unit is not None and unit.row.kind is not None:
            return unit.row.kind
        return "body_condition_score" if later.out_of == 9 else None

    def old_value(self, previous: Reading, value: Value) -> bool:
        """ "12.4 kilos, up from 11.8": a number introduced as an earlier one, without a name of its own."""
        sheet = self.sheet
        gap = sheet.norms[previous.end : value.start]
        marks = sum(w in SENTENCE_MARKS for w in gap)
        if value.start - previous.end > 10 or marks > 1 or not isinstance(previous.value, float):
            return False
        if sheet.is_word(value.start - 1, "before_current") or self._now.starting_at(value.end) is not None:
            return False
        if sheet.at(value.start - 2) in ("his", "hers") and sheet.at(value.start - 1) in ("is", "was"):
            return False  # "His was thirty eight nine" is this patient's, after talk of others
        old = self._old_values.within(max(previous.end, value.start - 8), value.start)
        now = self._now.within(previous.end, value.start)
        introduced = bool(old) and old[-1].end >= value.start - 3
        # "3.62 kilos, in June 4.1"
        before = self._past.within(previous.end, value.start)
        introduced = introduced or any(cue.end == value.start for cue in before)
        again = self._repeats.within(previous.end, value.start)
        if again or (introduced and now and now[-1].start > old[-1].start):
            introduced = False
        dated = any(
            cue.start <= value.end + 3 and not self._dates_another(cue.end)
            for cue in self._past.within(value.end, value.end + 8)
        )
        if not (introduced or dated):
            return False
        number = value.number.read(decimal=True)
        return previous.value / 4 < number < previous.value * 4 or in_unit_of(previous, value)

    def _dates_another(self, token: int) -> bool:
        """ "1.32, and last year 1.25": the date is of the number that follows it."""
        return any(at in self.sheet.numbers for at in range(token, token + 3))

    def repeated(self, previous: Reading, value: Value) -> bool:
        """ "two hundred, second time one eighty"; "last time ten kilos, today nine point four"."""
        sheet = self.sheet
        gap = sheet.norms[previous.end : value.start]
        if sheet.tables.row(previous.kind).repeats and all(
            sheet.is_word(t, "reading_on") for t in range(previous.end, value.start)
        ):
            return value.unit is None and (bool(gap) or _near(previous, value))
        if not isinstance(previous.value, float) or len(gap) > _REACH_OF_REPEAT:
            return False
        cues = self._repeats.within(previous.end, value.end + 4)
        if sum(w in SENTENCE_MARKS for w in gap) > (1 if cues else 0):
            return False
        now_between = bool(self._now.within(previous.end, value.start))
        superseding = now_between or self._now.starting_at(value.end) is not None
        number = value.number.read(decimal=previous.unit in DECIMAL_UNITS)
        like = (
            bool(sheet.tables.row(previous.kind).out_of)
            or previous.value / 2 < number < previous.value * 2
            or in_unit_of(previous, value)
        )
        alone = sheet.stands_alone(value) or any(cue.start >= value.end for cue in cues)
        if not (like and alone and (cues or superseding)):
            return False
        # "Was one forty and now it's one ten": the first was before.
        was = sheet.at(previous.end - 2) if previous.name is None else ""
        previous.past = previous.past or (superseding and (previous.past_said or was == "was" or not cues))
        return True


def _near(previous: Reading, value: Value) -> bool:
    """Read out without a pause ("148 152 150"): only values that can be of the same kind."""
    return isinstance(previous.value, float) and abs(value.number.value / previous.value - 1) < 0.4
