"""Which name a value belongs to: the one before it, else the one after."""

from __future__ import annotations

from bisect import bisect_left

from lexicon.schema import MeasurementName
from pipeline.extraction.measuring.conversion import convert
from pipeline.extraction.measuring.model import Name, Value
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.tokens import SENTENCE_MARKS

_REACH = 12  # tokens between a name and its value
_SLOWEST_LOOSE = 40  # a minute
_RATES = frozenset(("heart_rate", "pulse_rate", "respiratory_rate"))


class Naming:
    """Finds the name of a value."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet

    def name_of(self, value: Value) -> Name | None:
        """The name whose value this is, or None."""
        return self._before(value) or self._after(value)

    def _before(self, value: Value) -> Name | None:
        """The nearest name to the left with nothing but linking words between."""
        name = self.sheet.name_before(value.start, _REACH)
        if name is None or name.start in self.sheet.used or not self.fits(name, value):
            return None
        gap = range(name.end, value.start)
        return name if self.sheet.linked(gap) or self._loosely_linked(name, gap, value) else None

    def _loosely_linked(self, name: Name, gap: range, value: Value) -> bool:
        """ "Heart's ticking along at ninety": other words between, the value plainly one of this kind and on its own."""
        sheet = self.sheet
        if not gap or len(gap) > 8 or not sheet.stands_alone(value):
            return False
        if any(sheet.norms[t] in SENTENCE_MARKS or t in sheet.number_tokens for t in gap):
            return False
        low, high = name.row.plausible or (0.0, 1000.0)
        plausible = value.unit is not None or low <= value.amount(name.row.unit) <= high
        # Without a word that leads to it the value must be too large to count something.
        rate = name.row.unit == "/min" and value.number.value >= _SLOWEST_LOOSE
        renamed = any(sheet.is_word(t, "rate_names") for t in gap)
        leads = sheet.is_link(gap[-1]) or (rate and len(gap) <= 5 and not renamed) or self._warm(name, value)
        own = sheet.mention_over(name.start)
        blocked = any(t in sheet.blocking and not (own and own.start <= t < own.end) for t in gap)
        return plausible and leads and not blocked

    def _warm(self, name: Name, value: Value) -> bool:
        """ "Temperature last, sorry sweetheart, 38.4": decimals of a body's warmth count nothing else."""
        low, high = self.sheet.tables.bare_temperature
        amount = value.number.read(decimal=True)
        return name.row.kind == "temperature" and low <= amount <= high and amount != int(amount)

    def _after(self, value: Value) -> Name | None:
        """ "ninety six on the heart rate", "a 38.6 temperature"."""
        sheet = self.sheet
        index = bisect_left(sheet.name_ends, value.number.end + 1)
        if index >= len(sheet.names):
            return None
        name = sheet.names[index]
        if name.start in sheet.used or name.start < value.number.end:
            return None
        gap = range(value.end, name.start)
        if len(gap) > 3 or (gap and not sheet.is_word(gap[0], "opens_name_after")):
            return None
        if not all(sheet.is_word(t, "before_name_after") for t in gap) or not self.fits(name, value):
            return None
        # "ninety six resps twenty four": a name that a number follows takes that one.
        return None if not gap and self._number_follows(name) else name

    def _number_follows(self, name: Name) -> bool:
        sheet, at = self.sheet, name.end
        while at < len(sheet.norms) and at < name.end + 4 and sheet.is_link(at):
            if at in sheet.numbers:
                return True
            at += 1
        return at in sheet.numbers

    def fits(self, name: Name, value: Value) -> bool:
        """Whether unit and scale of the value suit the name."""
        row = name.row
        if name.weak and not self._within_reach(row, value):
            return False
        if value.unit is not None:
            unit = value.unit.row
            if unit.kind is not None and unit.kind != row.kind:
                return {unit.kind, row.kind} <= _RATES
            if row.unit == "/min" and unit.to == "s" and self.sheet.norms[value.unit.start] == "s":
                return True  # "28s" written by a recogniser for "twenty eight"
            if unit.to != row.unit and unit.quantity not in ("time", "temperature"):
                return False
            return unit.to == row.unit or value.window_s is not None
        if row.kind == "hydration_deficit":
            return False
        if value.out_of is not None and not row.out_of and row.kind != "systolic_blood_pressure":
            return False
        if row.out_of and value.out_of is None:
            return value.number.value <= max(row.out_of) and self.sheet.stands_alone(value)
        low_reach = row.plausible is not None and value.number.value < row.plausible[0] / 3
        return not (low_reach and not self.sheet.stands_alone(value))

    def _within_reach(self, row: MeasurementName, value: Value) -> bool:
        """A weak name ("t", "heart", "scales") needs a value that can be one of its kind."""
        if row.plausible is None or value.unit is not None or value.window_s is not None:
            return True
        low, high = row.plausible
        amount = value.amount(row.unit)
        if row.kind == "temperature":
            return low <= amount <= high or low <= convert(amount, self.sheet.tables.unit("[degF]")) <= high
        if row.unit == "kg" and amount > high:
            amount = convert(amount, self.sheet.tables.unit("g"))  # grams go unsaid for small patients
        return low <= amount <= high
