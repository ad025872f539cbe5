"""What a value without a name measures: its unit, its scale or the part of the body being spoken of tells."""

from __future__ import annotations

from pipeline.extraction.measuring.conversion import convert
from pipeline.extraction.measuring.model import Value
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.tokens import SENTENCE_MARKS

_ALONE = 0.7  # confidence of a kind that only the surroundings tell
_ALONE_TEMPERATURE = 0.8
_REACH_OF_WEIGHT = 6  # tokens from a word of weight to the number
_BREATHS_ALONE = (10, 120)  # a minute
_SLOWEST_ALONE = 40  # beats a minute; a smaller number on its own is more often something counted


class Unnamed:
    """Finds the kind of a value that no name claims."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet

    def by_rate_word(self, value: Value) -> tuple[str, tuple[int, int]] | None:
        """ "Rate one twelve": of the heart or of breathing, as the words before say; the kind and the naming tokens."""
        sheet = self.sheet
        rates = sheet.tables.rates
        for at in range(value.start - 1, max(-1, value.start - 6), -1):
            if sheet.is_word(at, "rate_names"):
                return rates.get(sheet.system_before(at) or "", "heart_rate"), (at, at + 1)
            if not sheet.is_link(at) and not sheet.is_word(at, "after_rate"):
                break
        if sheet.at(value.start - 1) == "at" and value.number.value >= 20 and sheet.stands_alone(value):
            near = value.start - sheet.last_mention_end(value.start) <= 3
            rate = rates.get((sheet.system_before(value.start) if near else None) or "")
            return (rate, (value.start, value.start)) if rate else None
        return None

    def by_unit(self, value: Value) -> str | None:
        """The kind that the unit settles, or the scale of nine."""
        sheet = self.sheet
        if value.unit is None:
            scored = value.out_of == 9 and 1 <= value.number.value <= 9 and not sheet.graded_nearby(value)
            return "body_condition_score" if scored else None
        if value.unit.row.code == "deg" and self._warm(value):
            return "temperature"
        if value.unit.row.code == "s" and sheet.between_marks(value):
            # "Gums pink, press and let go, about one second"
            return "capillary_refill_time" if sheet.system_before(value.start) == "mouth" else None
        return value.unit.row.kind

    def alone(self, value: Value) -> tuple[str, float] | None:
        """What a bare number between two marks can only be in its context: (kind, confidence).

        "Bright, thirty eight three" is a temperature; "no murmur, one hundred and four" a heart rate.
        """
        sheet = self.sheet
        scored = self._of_whole_patient(value) and not sheet.graded_nearby(value)
        if value.out_of == 5 and scored and self._scoring(value):
            return "body_condition_score", _ALONE
        if value.unit is None and value.out_of is None and self._is_said_to_be(value):
            return "weight", _ALONE
        if not sheet.between_marks(value) or value.unit is not None or value.number.pronoun:
            return None
        if sheet.out and sheet.out[-1].value in (value.number.value, value.number.elided):
            return None  # the same value once more
        decimal = value.number.read(decimal=True)
        low, high = sheet.tables.bare_temperature
        if value.out_of is None and decimal != int(decimal) and low <= decimal <= high:
            return "temperature", _ALONE_TEMPERATURE
        if value.out_of == 5 and scored:
            return "body_condition_score", _ALONE
        if value.out_of is None and decimal != int(decimal) and self._of_weight(value):
            return "weight", _ALONE
        if value.out_of is not None:
            return None
        if value.number.value >= _SLOWEST_ALONE and self._heart_in_focus(value):
            return "heart_rate", _ALONE
        fewest, most = _BREATHS_ALONE
        system = sheet.system_before(value.start) or ""
        if fewest <= value.number.value <= most and sheet.tables.rates.get(system) == "respiratory_rate":
            return "respiratory_rate", _ALONE
        return None

    def _warm(self, value: Value) -> bool:
        """Degrees that are no angle: a body's warmth in Celsius or Fahrenheit."""
        low, high = self.sheet.tables.bare_temperature
        amount = value.number.read(decimal=True)
        return low <= amount <= high or low <= convert(amount, self.sheet.tables.unit("[degF]")) <= high

    def _scoring(self, value: Value) -> bool:
        """ "I'd score him three out of five"."""
        return any(self.sheet.is_word(at, "scoring") for at in range(max(0, value.start - 6), value.start))

    def _is_said_to_be(self, value: Value) -> bool:
        """ "She's twenty eight point seven": an animal is a decimal number of kilos and of nothing else, but for a fever."""
        sheet, amount = self.sheet, value.number.read(decimal=True)
        low, high = sheet.tables.bare_temperature
        said = sheet.at(value.start - 1) in ("is", "was", "'s") and sheet.at(value.start - 2) in ("he", "she")
        alone = sheet.stands_alone(value) and not value.number.pronoun
        return said and alone and amount != int(amount) and not low <= amount <= high

    def _of_whole_patient(self, value: Value) -> bool:
        """No part of the body was spoken of right before: "head nod, left fore, two out of five" is no condition."""
        return self.sheet.system_before(value.start) in (None, "general")

    def _of_weight(self, value: Value) -> bool:
        """ "You're thinner than last time. Four point one.", "She's gained, eight point six": talk of weight right before."""
        near = range(max(0, value.start - _REACH_OF_WEIGHT), value.start)
        said = [at for at in near if self.sheet.is_word(at, "of_weight")]
        gap = self.sheet.norms[said[-1] : value.start] if said else []
        return bool(said) and sum(word in SENTENCE_MARKS for word in gap) <= 1

    def _heart_in_focus(self, value: Value) -> bool:
        """A word of heart or pulses in the sentence so far or right after."""
        around = (self.sheet.system_before(value.start), self.sheet.system_after(value.end))
        return any(self.sheet.tables.rates.get(system or "") == "heart_rate" for system in around)
