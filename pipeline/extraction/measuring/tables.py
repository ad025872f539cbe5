"""What the lexicon knows of measured values: names, units, closed classes of words, and where they stand in a text."""

from __future__ import annotations

from typing import TypeVar

from spacy.matcher import PhraseMatcher
from spacy.tokens import Doc
from spacy.vocab import Vocab

from lexicon import Entry, Lexicon
from lexicon.schema import MeasurementName, UnitWord
from pipeline.extraction.measuring.model import Name, Unit
from pipeline.extraction.mentions import Mention
from pipeline.extraction.tokens import SpokenTokenizer


class MeasuringTables:
    """Names and units of lexicon/measurements.toml and units.toml, the words of [measuring] in words.toml."""

    def __init__(self, vocab: Vocab, lexicon: Lexicon, tokenizer: SpokenTokenizer) -> None:
        self._names: dict[int, tuple[MeasurementName, bool]] = {}
        self._units: dict[int, UnitWord] = {}
        self._name_matcher = PhraseMatcher(vocab, attr="ORTH")
        self._unit_matcher = PhraseMatcher(vocab, attr="ORTH")
        self._lexicon = lexicon
        for row in lexicon.measurements.values():
            for weak, terms in ((False, row.names), (True, row.weak_names)):
                if terms:
                    key = f"measurement {row.kind} {weak}"
                    self._name_matcher.add(key, [Doc(vocab, words=tokenizer.phrase(term)) for term in terms])
                    self._names[vocab.strings.add(key)] = (row, weak)
        for number, unit in enumerate(lexicon.units):
            key = f"unit {number}"
            self._unit_matcher.add(key, [Doc(vocab, words=tokenizer.phrase(term)) for term in unit.terms])
            self._units[vocab.strings.add(key)] = unit
        self._by_code = {unit.code: unit for unit in lexicon.units}
        words = lexicon.words["measuring"]
        low, high = words["bare_temperature"]
        self.bare_temperature = (float(low), float(high))
        self.rates: dict[str, str] = words["rates"]
        self.words: dict[str, frozenset[str]] = {
            name: frozenset(group)
            for name, group in words.items()
            if isinstance(group, list) and name != "bare_temperature"
        }
        self.counts_time = frozenset(lexicon.plan["due"]["units"]) | self.words["ordinal_endings"]

    def names(self, doc: Doc) -> list[Name]:
        """The names in a text, longer ones first where they overlap."""
        return _longest([Name(start, end, *self._names[key]) for key, start, end in self._name_matcher(doc)])

    def units(self, doc: Doc) -> list[Unit]:
        """The units in a text, longer ones first where they overlap."""
        return _longest([Unit(start, end, self._units[key]) for key, start, end in self._unit_matcher(doc)])

    def is_verdict(self, mention: Mention) -> bool:
        """Whether a mention is an adjective or verb, which may stand between a name and its value ("temp's up at")."""
        return all(e.kind == "predicate" for e in mention.entries)

    def is_graded(self, mention: Mention) -> bool:
        """Whether a mention can be a finding that is graded on a scale of its own (lameness, murmur)."""
        findings = (self._lexicon.findings[e.id] for e in mention.entries if e.kind != "structure")
        return any(finding.grade_out_of for finding in findings)

    def system_of(self, entry: Entry) -> str:
        """System of a surface form."""
        table = self._lexicon.structures if entry.kind == "structure" else self._lexicon.findings
        return table[entry.id].system

    def unit(self, code: str) -> UnitWord:
        """The unit row with a UCUM code."""
        return self._by_code[code]

    def row(self, kind: str) -> MeasurementName:
        """The measurement row of a kind."""
        return self._lexicon.measurements[kind]


_Spanned = TypeVar("_Spanned", Name, Unit)


def _longest(found: list[_Spanned]) -> list[_Spanned]:
    """Non-overlapping spans, longer ones first, in text order."""
    taken: set[int] = set()
    kept: list[_Spanned] = []
    for item in sorted(found, key=lambda item: (item.start - item.end, item.start)):
        tokens = range(item.start, item.end)
        if taken.isdisjoint(tokens):
            taken.update(tokens)
            kept.append(item)
    return sorted(kept, key=lambda item: item.start)
