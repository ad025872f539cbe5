"""Where and how a value was taken: site, position, cuff, average of several readings; the words become the method."""

from __future__ import annotations

from pipeline.extraction.measuring.model import Reading
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.tokens import SENTENCE_MARKS

_REACH = {"systolic_blood_pressure": 12, "temperature": 4}
"""Tokens around a reading in which the words about its taking stand: for a temperature beside it ("rectal temp"), for parts such as
the tail are spoken of for themselves too."""


class Siting:
    """Finds the words about the taking, keeps their numbers from being read as values, adds them to the readings."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        own = self._cuffs() + self._counts()
        inside = {at for start, end in own for at in range(start, end)}
        cues = [(cue.start, cue.end) for cue in sheet.cues("taken").cues if cue.start not in inside]
        self._spans = sorted(own + cues)
        for start, end in self._spans:
            sheet.links.update(range(start, end))
            sheet.blocking.difference_update(range(start, end))
            sheet.number_tokens.difference_update(range(start, end))
            sheet.used.update(at for at in range(start, end) if at in sheet.numbers)

    def describe(self) -> None:
        """Write the words about the taking into the method of the readings they stand beside."""
        for index, reading in enumerate(self.sheet.out):
            if reading.kind in _REACH and (words := self._words(index, reading)):
                reading.method = "; ".join([reading.method, *words] if reading.method else words)

    def _cuffs(self) -> list[tuple[int, int]]:
        """ "Size three cuff", "cuff size three", "a four centimetre cuff"."""
        sheet, found = self.sheet, []
        for at, word in enumerate(sheet.norms):
            if word != "cuff":
                continue
            start, end = at, at + 1
            while end < at + 3 and sheet.is_word(end, "of_cuff"):
                end += 1
            after = sheet.numbers.get(end)
            if after is not None and end > at + 1:
                found.append((at, after.end))
                continue
            while (
                start > 0
                and start > at - 5
                and (start - 1 in sheet.number_tokens or sheet.is_word(start - 1, "of_cuff"))
            ):
                start -= 1
            found.append((start, at + 1))
        return found

    def _counts(self) -> list[tuple[int, int]]:
        """ "Average of five readings", "three measurements": how many, and no value."""
        sheet, found = self.sheet, []
        for number in sheet.analysis.numbers:
            if sheet.is_word(number.end, "readings"):
                start = number.start
                while start > 0 and sheet.is_word(start - 1, "averaged"):
                    start -= 1
                found.append((start, number.end + 1))
        return found

    def _words(self, index: int, reading: Reading) -> list[str]:
        """The words within reach in the same sentence, not beyond the neighbouring readings."""
        sheet = self.sheet
        out = sheet.out
        reach = _REACH[reading.kind]
        low = max(reading.start - reach, out[index - 1].end if index else 0)
        high = min(reading.end + reach, out[index + 1].start if index + 1 < len(out) else len(sheet.norms))
        said = []
        for start, end in self._spans:
            first, last = (start, reading.start) if start < reading.start else (reading.end, start)
            if (
                low <= start
                and end <= high
                and not any(sheet.norms[at] in SENTENCE_MARKS for at in range(first, max(first, last)))
            ):
                said.append(sheet.analysis.words(start, end).lower())
        return list(dict.fromkeys(said))
