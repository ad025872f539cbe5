"""What is being measured when a value comes without its name: the name stands in an earlier clause, question or plan.

"Recheck temp in four hours, it's 39.6 now." "Weight? Thirty three point three." "Normal heart rate is one forty to two twenty,
hers is two hundred." "She's put on four hundred grams and is now five point four."
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.extraction.measuring.conversion import convert
from pipeline.extraction.measuring.model import Name, Value
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.tokens import MARKS, SENTENCE_MARKS

_REACH = 24  # tokens from the name to the value
_SENTENCES = 2
SURE = 0.8
"""Confidence of a kind that an earlier clause tells."""


@dataclass(frozen=True, slots=True)
class Answer:
    """The kind that a value answers, and the token where the answer begins."""

    kind: str
    lead: int


class Topic:
    """Remembers what was named without a value, or spoken of by way of comparison."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self._changed_at = -100
        self._asked: set[int] = set()

    def changed(self, value: Value) -> None:
        """An amount of change was said: the talk is about the weight."""
        self._changed_at = value.end

    def asked(self, name: Name) -> None:
        """A value was asked for ("is the weight fourteen?"): the answer may come without the name."""
        self._asked.add(name.start)

    def answer(self, value: Value) -> Answer | None:
        """What a value answers that a pronoun, a word of now, its unit or a pause ties to what was named before."""
        sheet = self.sheet
        if value.number.pronoun:
            return None
        lead = self._lead(value)
        arrived = sheet.at(value.start - 1) in ("to", "at") and self._ends(value)
        if self._open(self._changed_at, value) and (arrived or lead is not None):
            return Answer("weight", value.start) if self._suits("weight", value) else None
        name = self._name(value)
        if name is not None and self._suits(name.row.kind, value):
            if lead is None and value.unit is not None and value.unit.row.kind == name.row.kind:
                lead = value.start
            if lead is not None:
                sheet.used.add(name.start)
                return Answer(name.row.kind, lead)
        last = sheet.out[-1] if sheet.out else None
        if last is not None and self._of_patient(value) and self._open(last.end, value):
            return Answer(last.kind, value.start - 2) if self._suits(last.kind, value) else None
        return None

    def _name(self, value: Value) -> Name | None:
        """The last name before the value, if no reading has it and no other part was named since."""
        name = self.sheet.name_before(value.start, _REACH)
        if name is None or name.start in self.sheet.used or not self._open(name.end, value):
            return None
        # A weak name ("heart", "scales") carries over only where it is asked after or announced.
        asked = name.start in self._asked or self.sheet.at(name.end) in ("?", ":")
        announced = not name.weak or asked or self._announces(name)
        return name if announced else None

    def _announces(self, name: Name) -> bool:
        return any(self.sheet.is_word(at, "announces") for at in range(max(0, name.start - 6), name.start))

    def _open(self, end: int, value: Value) -> bool:
        """Nothing else was named since, and the sentences are few."""
        if value.start - end > _REACH:
            return False
        gap = range(end, value.start)
        marks = sum(self.sheet.norms[at] in SENTENCE_MARKS for at in gap)
        return marks <= _SENTENCES and not any(at in self.sheet.blocking for at in gap)

    def _lead(self, value: Value) -> int | None:
        """The token where the answer begins: "it's 39.6", "… now five point four", or a number between two pauses."""
        sheet, at, tied = self.sheet, value.start - 1, False
        if not self._ends(value):
            return None
        while sheet.is_word(at, "before_lone_value") or at in sheet.links or sheet.is_word(at, "ties"):
            tied = tied or sheet.is_word(at, "ties")
            at -= 1
        return at + 1 if tied or sheet.at(at) in ("", *MARKS) else None

    def _ends(self, value: Value) -> bool:
        return self.sheet.stands_alone(value) or self.sheet.cues("now").starting_at(value.end) is not None

    def _of_patient(self, value: Value) -> bool:
        """ "Hers is two hundred", after what is usual."""
        sheet = self.sheet
        return (
            sheet.is_word(value.start - 2, "owned")
            and sheet.at(value.start - 1) in ("is", "was", "'s")
            and self._ends(value)
        )

    def _suits(self, kind: str, value: Value) -> bool:
        row = self.sheet.tables.row(kind)
        if row.out_of:
            scale = value.out_of if value.out_of is not None else max(row.out_of)
            return value.out_of in (None, *row.out_of) and value.number.value <= scale
        if value.out_of is not None or (kind == "hydration_deficit" and value.unit is None):
            return False
        if value.unit is not None and (
            value.unit.row.to != row.unit or value.unit.row.kind not in (None, kind)
        ):
            return False
        if kind == "temperature":
            low, high = self.sheet.tables.bare_temperature
            amount = value.number.read(decimal=True)
            return low <= amount <= high or low <= convert(amount, self.sheet.tables.unit("[degF]")) <= high
        low, high = row.plausible or (0.0, 0.0)
        return low <= value.amount(row.unit) <= high
