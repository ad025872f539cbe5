"""Values said for comparison: earlier ones, amounts of change, and the same thing measured again."""

from __future__ import annotations

from dataclasses import replace

from pipeline.extraction.measuring.amounts import Amounts
from pipeline.extraction.measuring.conversion import convert
from pipeline.extraction.measuring.model import DECIMAL_UNITS, Reading, Value
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.measuring.writing import Writing, in_unit_of
from pipeline.extraction.numbers import Number
from pipeline.extraction.tokens import SENTENCE_MARKS


class Comparison:
    """Tells today's value from an earlier one, an amount of change and a repeat."""

    def __init__(self, sheet: Sheet, amounts: Amounts, writing: Writing) -> None:
        self.sheet = sheet
        self._amounts = amounts
        self._writing = writing
        self._changes = sheet.cues("weight_change")
        self._changes_before = sheet.cues("change_before")
        self._changes_after = sheet.cues("change_after")
        self._old_values = sheet.cues("old_value")
        self._repeats = sheet.cues("repeat")
        self._now = sheet.cues("now")
        self._past = sheet.cues("past")

    def from_to(self, number: Number) -> bool:
        """ "Weight's gone up from twelve kilos to thirteen point five": the first value is past, the second stands."""
        sheet = self.sheet
        if sheet.at(number.start - 1) != "from" or not self._changes.within(number.start - 6, number.start):
            return False
        unit = sheet.units.get(number.end)
        second = sheet.numbers.get((unit.end if unit else number.end) + 1)
        if second is None or sheet.at(second.start - 1) != "to":
            return False
        value, later = self._amounts.plain(number), self._amounts.plain(second)
        name = sheet.name_before(number.start, 6)
        name = name if name is not None and name.start not in sheet.used else None
        given = value.unit or later.unit
        kind = name.row.kind if name is not None else given.row.kind if given is not None else None
        if kind is None:
            return False
        self._writing.write(replace(value, unit=given), kind, None).past = True
        self._writing.write(
            replace(later, unit=given), kind, (name.start, name.end) if name is not None else None
        )
        return True

    def is_change(self, value: Value) -> bool:
        """ "lost two kilos", "two kilos heavier", "two kilos of food": no weight of the patient."""
        before = self._changes.within(value.start - 6, value.start)
        after = self._changes.starting_at(value.end)
        near = any(value.start - 4 <= cue.end for cue in before) or after is not None
        return near or self.sheet.at(value.end) == "of"

    def rise_or_fall(self, value: Value) -> bool:
        """ "up three pounds", "two kilos more than last time": by how much a weight just given has changed."""
        if value.unit is None or value.unit.row.quantity != "mass" or not self.sheet.out:
            return False
        previous = self.sheet.out[-1]
        if previous.kind != "weight" or not isinstance(previous.value, float):
            return False
        small = convert(value.number.read(decimal=True), value.unit.row) < previous.value / 3
        before = self._changes_before.ending_at(value.start)
        if not small or (before is None and self._changes_after.starting_at(value.end) is None):
            return False
        previous.compared_at = value.start
        return True

    def old_value(self, previous: Reading, value: Value) -> bool:
        """ "12.4 kilos, up from 11.8": a number introduced as an earlier one, without a name of its own."""
        sheet = self.sheet
        gap = sheet.norms[previous.end : value.start]
        marks = sum(w in SENTENCE_MARKS for w in gap)
        if value.start - previous.end > 10 or marks > 1:
            return False
        if sheet.is_word(value.start - 1, "before_current") or self._now.starting_at(value.end) is not None:
            return False
        if sheet.at(value.start - 2) in ("his", "hers") and sheet.at(value.start - 1) in ("is", "was"):
            return False  # "His was thirty eight nine" is this patient's, after talk of others
        introduced = any(
            cue.end >= value.start - 3 for cue in self._old_values.within(previous.end, value.start)
        )
        dated = any(cue.start <= value.end + 3 for cue in self._past.within(value.end, value.end + 8))
        if not (introduced or dated) or not isinstance(previous.value, float):
            return False
        number = value.number.read(decimal=True)
        return previous.value / 4 < number < previous.value * 4 or in_unit_of(previous, value)

    def repeated(self, previous: Reading, value: Value) -> bool:
        """ "two hundred, second time one eighty"; "last time ten kilos, today nine point four"."""
        sheet = self.sheet
        gap = sheet.norms[previous.end : value.start]
        if sheet.tables.row(previous.kind).repeats and all(
            sheet.is_word(t, "reading_on") for t in range(previous.end, value.start)
        ):
            return value.unit is None and (bool(gap) or _near(previous, value))
        if not isinstance(previous.value, float) or len(gap) > 9 or any(w in SENTENCE_MARKS for w in gap):
            return False
        now_between = bool(self._now.within(previous.end, value.start))
        cued = self._repeats.within(previous.end, value.start) or (previous.past_said and now_between)
        superseding = now_between or self._now.starting_at(value.end) is not None
        number = value.number.read(decimal=previous.unit in DECIMAL_UNITS)
        near = sheet.stands_alone(value) and previous.value / 2 < number < previous.value * 2
        if not near or not (cued or superseding):
            return False
        # "Was one forty and now it's one ten": the first was before.
        previous.past = previous.past or superseding
        return True


def _near(previous: Reading, value: Value) -> bool:
    """Read out without a pause ("148 152 150"): only values that can be of the same kind."""
    return isinstance(previous.value, float) and abs(value.number.value / previous.value - 1) < 0.4
