"""Several values in a row: three vital signs under one name ("TPR"), and lists of names before lists of values."""

from __future__ import annotations

from pipeline.extraction.measuring.amounts import Amounts
from pipeline.extraction.measuring.model import Value
from pipeline.extraction.measuring.naming import Naming
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.measuring.writing import Writing
from pipeline.extraction.numbers import Number


class Series:
    """Reads values that stand in a row in the order of their names."""

    def __init__(self, sheet: Sheet, amounts: Amounts, naming: Naming, writing: Writing) -> None:
        self.sheet = sheet
        self._amounts = amounts
        self._naming = naming
        self._writing = writing

    def sequences(self) -> None:
        """ "TPR 38.5, 96, 24", "TPR 38.1/100/28": the kinds stand in the cue."""
        for cue in self.sheet.cues("sequence").cues:
            kinds = (cue.group.value or "").split()
            numbers = self._numbers_after(cue.end, len(kinds))
            for kind, number in zip(kinds, numbers, strict=False):
                self._writing.write(self._amounts.plain(number), kind, None)

    def listed(self) -> None:
        """ "Temp, pulse and resps were 38.4, 88 and 20": names in a row, then as many values, in the same order."""
        sheet, at = self.sheet, 0
        while at < len(sheet.names):
            row = [sheet.names[at]]
            while at + len(row) < len(sheet.names) and self._joined(
                row[-1].end, sheet.names[at + len(row)].start
            ):
                row.append(sheet.names[at + len(row)])
            at += len(row)
            if len(row) == 1:
                continue
            numbers = self._numbers_after(row[-1].end, len(row))
            values: list[Value] = [self._amounts.value(number) for number in numbers]
            pairs = list(zip(row, values, strict=False))
            if len(values) == len(row) and all(self._naming.fits(name, value) for name, value in pairs):
                for name, value in pairs:
                    reading = self._writing.write(value, name.row.kind, (name.start, name.end))
                    # The names stand apart from the values, so each reading covers its value alone.
                    reading.start, reading.end = value.start, value.end

    def _joined(self, end: int, start: int) -> bool:
        gap = self.sheet.norms[end:start]
        return len(gap) <= 2 and all(word in (",", "and") for word in gap)

    def _numbers_after(self, at: int, wanted: int) -> list[Number]:
        """Numbers one after the other with only links, units, commas and "and" around them, up to `wanted`."""
        sheet = self.sheet
        found: list[Number] = []
        while len(found) < wanted and at < len(sheet.norms):
            number = sheet.numbers.get(at)
            unit = sheet.units.get(at)
            if number is not None and not number.pronoun and number.start not in sheet.used:
                found.append(number)
                at = number.end
            elif found and unit is not None:
                at = unit.end
            elif sheet.norms[at] in (",", ":", "and", "/", "'s") or (not found and at in sheet.links):
                at += 1
            else:
                break
        return self._parted(found, wanted)

    def _parted(self, numbers: list[Number], wanted: int) -> list[Number]:
        """ "100 and 28", added up to one number where two are wanted, taken apart again."""
        for at, number in enumerate(numbers):
            words = self.sheet.norms[number.start : number.end]
            if len(numbers) == wanted - 1 and "and" in words and number.value > 100 and number.elided is None:
                middle = number.start + words.index("and")
                hundreds = number.value - number.value % 100
                first = Number(number.start, middle, hundreds)
                second = Number(middle + 1, number.end, number.value - hundreds)
                return [*numbers[:at], first, second, *numbers[at + 1 :]]
        return numbers
