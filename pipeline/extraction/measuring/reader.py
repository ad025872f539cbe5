"""Reads the measured values of a text, number by number.

What a value means is decided by the name before or after it ("temperature thirty eight six", "ninety six for the heart rate"),
else by what was measured just before (a correction, a repeat, an earlier value), else by its unit ("twelve point four kilos") or
its scale ("five out of nine"). A number that nothing claims is left alone.
"""

from __future__ import annotations

from dataclasses import replace

from spacy.tokens import Doc
from spacy.vocab import Vocab

from lexicon import Lexicon
from pipeline.extraction.measuring.amounts import Amounts
from pipeline.extraction.measuring.change import Change
from pipeline.extraction.measuring.comparison import Comparison
from pipeline.extraction.measuring.model import Name, Reading, Value
from pipeline.extraction.measuring.naming import Naming
from pipeline.extraction.measuring.replacement import replaces
from pipeline.extraction.measuring.series import Series
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.measuring.siting import Siting
from pipeline.extraction.measuring.tables import MeasuringTables
from pipeline.extraction.measuring.topic import SURE, Topic
from pipeline.extraction.measuring.unnamed import Unnamed
from pipeline.extraction.measuring.worded import read_words
from pipeline.extraction.measuring.writing import Writing
from pipeline.extraction.numbers import Number
from pipeline.extraction.tokens import MARKS, SpokenTokenizer, analysis_of


class MeasurementReader:
    """spaCy component that fills `readings` of the Analysis (needs its numbers, mentions and cues)."""

    def __init__(self, vocab: Vocab, lexicon: Lexicon, tokenizer: SpokenTokenizer) -> None:
        self._tables = MeasuringTables(vocab, lexicon, tokenizer)

    def __call__(self, doc: Doc) -> Doc:
        """Read the text that the Doc carries."""
        analysis_of(doc).readings = _Pass(Sheet(self._tables, doc)).run()
        return doc


class _Pass:
    """One reading of one text, left to right."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self._siting = Siting(sheet)
        self._amounts = Amounts(sheet)
        self._naming = Naming(sheet)
        self._writing = Writing(sheet)
        self._unnamed = Unnamed(sheet)
        self._comparison = Comparison(sheet, self._amounts, self._writing)
        self._change = Change(sheet)
        self._topic = Topic(sheet)

    def run(self) -> list[Reading]:
        """All readings in text order."""
        series = Series(self.sheet, self._amounts, self._naming, self._writing)
        series.sequences()
        series.listed()
        for number in self.sheet.analysis.numbers:
            if number.start not in self.sheet.used and not self._is_talk(number):
                self._claim(number)
        read_words(self.sheet)
        self.sheet.out.sort(key=lambda reading: reading.start)
        self._writing.doubt_units()
        self._siting.describe()
        return self.sheet.out

    def _is_talk(self, number: Number) -> bool:
        """ "One of the teeth", "again in six months", "on the 30th", "diastolic seventy five"."""
        sheet = self.sheet
        following = sheet.at(number.end)
        begins_range = following == "to" and number.end + 1 in sheet.numbers
        counted = number.end in sheet.units or self._scaled(number) or begins_range or self._of_refill(number)
        if number.pronoun and not counted:
            return True
        return following in sheet.tables.counts_time or self._other_pressure(number)

    def _of_refill(self, number: Number) -> bool:
        """ "CRT about one": seconds go unsaid, and one is what it mostly is."""
        name = self.sheet.name_before(number.start, 4)
        if name is None or name.weak or name.row.unit != "s":
            return False
        ends = self.sheet.at(number.end) in ("", *MARKS)
        return ends and self.sheet.linked(range(name.end, number.start))

    def _scaled(self, number: Number) -> bool:
        following = self.sheet.at(number.end)
        return following in ("out", "/") or (
            following in ("of", "over") and number.end + 1 in self.sheet.numbers
        )

    def _other_pressure(self, number: Number) -> bool:
        """A diastolic or mean pressure, which is none of the kinds kept."""
        sheet = self.sheet
        if number.start - 1 not in sheet.replacing_tokens and sheet.is_word(number.start - 1, "not_systolic"):
            return True
        # "Systolic 120 diastolic 75": the name after belongs to the number after it.
        return sheet.is_word(number.end, "not_systolic") and number.end + 1 not in sheet.numbers

    def _claim(self, number: Number) -> None:
        if self._comparison.from_to(number):
            return
        value = self._amounts.value(number)
        if self._change.is_aim(value) or self._change.is_change(value):
            self._topic.changed(value)
            return
        name = self._naming.name_of(value)
        if name is not None and self._reference(name, value):
            return
        if name is not None and self._asked(name):
            self._topic.asked(name)
            return
        if name is not None:
            self._writing.write(value, name.row.kind, (name.start, name.end))
        elif rate := self._unnamed.by_rate_word(value):
            self._writing.write(value, *rate)
        elif not self._goes_with_previous(value) and not self._goes_with_topic(value):
            self._by_itself(value)

    def _asked(self, name: Name) -> bool:
        """ "Is her weight still fourteen": the verb before its subject asks, also without a question mark."""
        sheet = self.sheet
        inverted = sheet.is_word(name.start - 1, "determiners") and sheet.is_word(name.start - 2, "asks")
        return inverted and not sheet.is_word(name.start - 3, "subjects")

    def _reference(self, name: Name, value: Value) -> bool:
        """ "Normal temp is up to 39.2": what is usual, explained, and not this patient's value."""
        sheet = self.sheet
        usual = sheet.is_word(name.start - 1, "usual")
        verbs = [
            at for at in range(name.end, value.start) if sheet.is_word(at, "asks") or sheet.at(at) == "'s"
        ]
        up_to = sheet.norms[value.start - 2 : value.start] == ["up", "to"]
        bounded = value.high is not None or up_to or value.comparator in ("<", "<=", ">", ">=")
        return usual and bool(verbs) and bounded

    def _goes_with_previous(self, value: Value) -> bool:
        """The value corrects the last reading, is its earlier value, or the same measured again."""
        previous = self.sheet.out[-1] if self.sheet.out else None
        if previous is None or not _same_quantity(previous, value):
            return False
        if replaces(self.sheet, previous, value):
            self._writing.write(self._on_scale_of(previous, value), previous.kind, None)
            previous.superseded = True
        elif self._comparison.old_value(previous, value):
            self._writing.write(self._on_scale_of(previous, value), previous.kind, None).past = True
        elif self._comparison.repeated(previous, value):
            self._writing.write(self._on_scale_of(previous, value), previous.kind, None)
            if previous.past and previous.out_of is None:
                previous.out_of = value.out_of
        else:
            return False
        return True

    def _on_scale_of(self, previous: Reading, value: Value) -> Value:
        """ "Five out of nine, actually six": the scale said once holds for the next score."""
        scored = value.out_of is None and previous.out_of is not None
        fits = scored and value.number.value <= (previous.out_of or 0)
        return replace(value, out_of=previous.out_of) if fits else value

    def _goes_with_topic(self, value: Value) -> bool:
        """The value answers a name of an earlier clause."""
        answer = self._topic.answer(value)
        if answer is None:
            return False
        reading = self._writing.write(value, answer.kind, None)
        reading.confidence = min(reading.confidence, SURE)
        reading.answers_from = answer.lead
        return True

    def _by_itself(self, value: Value) -> None:
        kind = self._unnamed.by_unit(value)
        if kind is not None:
            self._writing.write(value, kind, None)
        elif alone := self._unnamed.alone(value):
            reading = self._writing.write(value, alone[0], None)
            reading.confidence = min(reading.confidence, alone[1])


def _same_quantity(previous: Reading, value: Value) -> bool:
    if value.unit is None:
        return True
    return value.unit.row.to == previous.unit or value.unit.row.kind == previous.kind
