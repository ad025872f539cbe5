"""Amounts of change ("up three pounds", "lost two kilos", "two less than last time") and aims ("down to ten kilos"): no weights."""

from __future__ import annotations

from pipeline.extraction.measuring.conversion import convert
from pipeline.extraction.measuring.model import Reading, Unit, Value
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.tokens import SENTENCE_MARKS

_SMALL = 1 / 3  # share of a weight below which an amount beside "up" or "down" is a change


class Change:
    """Tells an amount gained or lost, or aimed at, from a weight."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self._changes = sheet.cues("weight_change")
        self._before = sheet.cues("change_before")
        self._after = sheet.cues("change_after")

    def is_change(self, value: Value) -> bool:
        """Whether a mass, or a bare number after a weight, is by how much a weight has changed; it then dates that weight."""
        previous = self.sheet.out[-1] if self.sheet.out else None
        if previous is not None and (previous.kind != "weight" or not isinstance(previous.value, float)):
            previous = None
        if value.unit is None or value.unit.row.quantity != "mass":
            return previous is not None and value.unit is None and self._bare_change(previous, value)
        if (
            previous is not None
            and self._moves(value)
            and _is_small(previous, value.number.read(decimal=True), value.unit)
        ):
            previous.compared_at = value.start
            return True
        lost = self._changes.within(value.start - 6, value.start)
        same_sentence = bool(lost) and SENTENCE_MARKS.isdisjoint(self.sheet.norms[lost[-1].end : value.start])
        if same_sentence and lost[-1].end >= value.start - 4 and not self._arrives(lost[-1].end, value):
            return True
        if self._changes.starting_at(value.end) is not None or self.sheet.is_word(value.end, "after_portion"):
            return True
        return previous is None and self._before.ending_at(value.start) is not None

    def is_aim(self, value: Value) -> bool:
        """ "We want her at about four kilos", "ideal weight twenty five": what a weight should be."""
        near = self.sheet.cues("target").within(value.start - 8, value.start)
        return bool(near) and self.sheet.linked(range(near[-1].end, value.start))

    def _arrives(self, changed: int, value: Value) -> bool:
        """ "Lost a bit, down to ten kilos": what comes after "to" or "now" is where the weight has got to."""
        return any(self.sheet.is_word(at, "arrives") for at in range(changed, value.start))

    def _moves(self, value: Value) -> bool:
        """Right beside "up", "down", "more", "less"."""
        return (
            self._before.ending_at(value.start) is not None or self._after.starting_at(value.end) is not None
        )

    def _bare_change(self, previous: Reading, value: Value) -> bool:
        """ "We're down two from last visit": no unit, and said of the weight before."""
        if not self._moves(value) or self.sheet.cues("past").within(value.end, value.end + 4) == []:
            return False
        small = isinstance(previous.value, float) and value.number.value < previous.value
        if small:
            previous.compared_at = value.start
        return small


def _is_small(previous: Reading, amount: float, unit: Unit) -> bool:
    high = previous.value if isinstance(previous.value, float) else 0.0
    return convert(amount, unit.row) < high * _SMALL
