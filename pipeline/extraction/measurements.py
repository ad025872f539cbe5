"""Reads measured values: finds the number that belongs to a name or a unit, its bounds, its scale, and converts the unit.

What a value means is decided by the name before or after it ("temperature thirty eight six", "ninety six for the heart rate"),
else by its unit ("twelve point four kilos"), else by its scale ("five out of nine"). A number that nothing claims is left alone.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal
from typing import TypeVar

from spacy.matcher import PhraseMatcher
from spacy.tokens import Doc
from spacy.vocab import Vocab

from lexicon import Entry, Lexicon
from lexicon.schema import MeasurementName, UnitWord
from pipeline.extraction.attributes import CueIndex
from pipeline.extraction.concepts import Cue, Mention
from pipeline.extraction.numbers import Number
from pipeline.extraction.tokens import MARKS, SENTENCE_MARKS, Analysis, SpokenTokenizer, analysis_of

_REACH = 12  # tokens between a name and its value
_READING_ON = frozenset(
    (",", "and", "then", "first", "second", "third", "fourth", "one", "reading", "was", "is", "next", "again")
)
_DECIMAL_UNITS = frozenset({"Cel", "kg", "s"})


@dataclass(slots=True)
class Reading:
    """A measured value in tokens start to end (exclusive), converted to the stored unit.

    `name` are the tokens that named it, `said_in` is the unit that was said, `compared_at` the token where an amount of change
    begins ("thirty kilos, two less than last time"): the words after it date the other value.
    """

    kind: str
    start: int
    end: int
    value: float | str | None
    value_high: float | None = None
    unit: str | None = None
    comparator: str | None = None
    out_of: float | None = None
    method: str | None = None
    unit_inferred: bool = False
    past: bool = False
    superseded: bool = False
    confidence: float = 1.0
    name: tuple[int, int] | None = None
    said_in: UnitWord | None = None
    past_said: bool = False
    compared_at: int | None = None


@dataclass(frozen=True, slots=True)
class _Name:
    start: int
    end: int
    row: MeasurementName
    weak: bool


@dataclass(frozen=True, slots=True)
class _Unit:
    start: int
    end: int
    row: UnitWord


@dataclass(frozen=True, slots=True)
class _Value:
    """A number with what surrounds it: bound, upper end, scale, unit, and the amount in a smaller unit."""

    start: int
    end: int
    number: Number
    high: Number | None = None
    comparator: str | None = None
    out_of: float | None = None
    unit: _Unit | None = None
    minor: tuple[Number, _Unit] | None = None
    window_s: float | None = None


def half_up(value: float, places: int) -> float:
    """Round half up in decimal arithmetic (2.675 → 2.68), as clinical tables do."""
    return float(Decimal(repr(value)).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP))


def convert(value: float, unit: UnitWord) -> float:
    """A value in a spoken unit in the stored unit; the factor and offset stand in lexicon/units.toml with their source."""
    exact = (Decimal(repr(value)) + Decimal(repr(unit.offset))) * Decimal(repr(unit.factor))
    places = {"Cel": 1, "kg": 2}.get(unit.to)
    return half_up(float(exact), places) if places is not None and unit.code != unit.to else float(exact)


class MeasurementReader:
    """spaCy component that fills `readings` of the Analysis (needs its numbers, mentions and cues)."""

    def __init__(self, vocab: Vocab, lexicon: Lexicon, tokenizer: SpokenTokenizer) -> None:
        self._names: dict[int, tuple[MeasurementName, bool]] = {}
        self._units: dict[int, UnitWord] = {}
        self._name_matcher = PhraseMatcher(vocab, attr="ORTH")
        self._unit_matcher = PhraseMatcher(vocab, attr="ORTH")
        self._rows = lexicon.measurements
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
        self._lexicon = lexicon
        low, high = lexicon.words["measuring"]["bare_temperature"]
        self.bare_temperature = (float(low), float(high))
        measuring = lexicon.words["measuring"]
        self.rates: dict[str, str] = measuring["rates"]
        self.rate_names = frozenset(measuring["rate_names"])
        self.scoring = frozenset(measuring["scoring"])
        self.before_counted = frozenset(measuring["before_counted"])
        self.not_systolic = frozenset(lexicon.words["measuring"]["not_systolic"])
        self.counts_time = frozenset(lexicon.words["due"]["units"]) | frozenset(("th", "st", "nd", "rd"))
        self.decimals_after = frozenset(lexicon.words["measuring"]["decimals_without_unit_after"])
        self.small_after = frozenset(lexicon.words["measuring"]["minor_without_unit_before"])

    def __call__(self, doc: Doc) -> Doc:
        """Read the text that the Doc carries."""
        analysis = analysis_of(doc)
        names = self._find_names(doc)
        units = {unit.start: unit for unit in self._find_units(doc)}
        analysis.readings = _Pass(self, analysis, names, units).run()
        return doc

    def _find_names(self, doc: Doc) -> list[_Name]:
        found = [_Name(start, end, *self._names[key]) for key, start, end in self._name_matcher(doc)]
        return _longest(found)

    def _find_units(self, doc: Doc) -> list[_Unit]:
        return _longest([_Unit(start, end, self._units[key]) for key, start, end in self._unit_matcher(doc)])

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
        return self._rows[kind]


_Spanned = TypeVar("_Spanned", _Name, _Unit)


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


class _Pass:
    """One reading of one text, left to right."""

    def __init__(
        self, reader: MeasurementReader, analysis: Analysis, names: list[_Name], units: dict[int, _Unit]
    ) -> None:
        self.reader = reader
        self.analysis = analysis
        self.norms = analysis.norms
        self.names = names
        self.units = units
        self.numbers = {number.start: number for number in analysis.numbers}
        self.cues: dict[str, list[Cue]] = defaultdict(list)
        for cue in analysis.cues:
            self.cues[cue.kind].append(cue)
        self.links = {t for cue in self.cues["measure_link"] for t in range(cue.start, cue.end)}
        self.links |= {t for cue in self.cues["comparator"] for t in range(cue.start, cue.end)}
        self.name_ends = [name.end for name in names]
        self.name_starts = {name.start for name in names}
        self.used: set[int] = set()
        self.out: list[Reading] = []
        self.comparators = CueIndex(self.cues["comparator"])
        self.comparators_after = CueIndex(self.cues["comparator_after"])
        self.old_values = CueIndex(self.cues["old_value"])
        self.mention_starts = [m.start for m in analysis.mentions]
        self.mention_systems = [
            "any" if m.entries[0].in_focus else reader.system_of(m.entries[0]) for m in analysis.mentions
        ]
        self.bare_temperature = reader.bare_temperature
        self.number_tokens = {t for n in analysis.numbers if not n.pronoun for t in range(n.start, n.end)}
        self.blocking = {
            t for m in analysis.mentions if not reader.is_verdict(m) for t in range(m.start, m.end)
        } | {t for name in names for t in range(name.start, name.end)}
        self.repeats = CueIndex(self.cues["repeat"])
        self.now = CueIndex(self.cues["now"])
        self.past = CueIndex(self.cues["past"])
        self.changes = CueIndex(self.cues["weight_change"])
        self.changes_before = CueIndex(self.cues["change_before"])
        self.changes_after = CueIndex(self.cues["change_after"])
        self.replacing = CueIndex(self.cues["replace"] + self.cues["withdraw"])
        self.replacing_tokens = {t for cue in self.replacing.cues for t in range(cue.start, cue.end)}

    def run(self) -> list[Reading]:
        """All readings in text order."""
        self._sequences()
        self._listed()
        for number in self.analysis.numbers:
            if number.start not in self.used:
                self._claim(number)
        self._worded()
        self.out.sort(key=lambda reading: reading.start)
        if any("Fahrenheit" in (reading.method or "") for reading in self.out):
            for reading in self.out:
                if reading.kind == "weight" and reading.unit_inferred:
                    # Someone who says Fahrenheit weighs in pounds as often as not.
                    reading.confidence = 0.5
        return self.out

    # --- numbers with their surroundings ---------------------------------------------------------------------------

    def _value(self, number: Number) -> _Value:
        end = number.end
        high, end = self._upper_end(number, end)
        out_of, end = self._scale(end)
        unit = self.units.get(end)
        window = None
        if unit is not None:
            end = unit.end
        elif out_of is None and high is None:
            unit = self._unit_after_pause(end)
        minor = None
        if unit is not None and unit.row.quantity == "mass":
            minor = self._minor(end)
            end = max(minor[1].end, minor[0].end) if minor else end
        window, end = self._window(unit, end)
        comparator = self._comparator(number.start, end)
        return _Value(number.start, end, number, high, comparator, out_of, unit, minor, window)

    def _unit_after_pause(self, end: int) -> _Unit | None:
        """ "twelve point four, kilos": a comma before the unit."""
        unit = self.units.get(end + 1) if self._at(end) == "," else None
        # "one fifty, second one fifty five": an ordinal, no unit.
        return unit if unit is not None and unit.row.quantity != "time" else None

    def _upper_end(self, number: Number, end: int) -> tuple[Number | None, int]:
        """The second number of "thirty to thirty six", "between thirty and thirty six", "30-36"."""
        word = self._at(end)
        before = self._at(number.start - 1)
        joins = word in ("to", "till") or (word == "and" and before in ("between", "from"))
        second = self.numbers.get(end + 1) if joins else self._hyphenated(end)
        if (
            second is not None
            and second.read(decimal=True) > number.read(decimal=True)
            and not second.pronoun
        ):
            self.used.add(second.start)
            return second, second.end
        return None, end

    def _hyphenated(self, end: int) -> Number | None:
        second = self.numbers.get(end)
        if second is None or end == 0:
            return None
        between = self.analysis.text[self.analysis.ends[end - 1] : self.analysis.starts[end]]
        return second if between.strip() in ("-", "\u2013") else None

    def _scale(self, end: int) -> tuple[float | None, int]:
        """ "out of nine", "of nine", "over six", "/ 9"."""
        at = end
        if self._at(at) == "out" and self._at(at + 1) == "of":
            at += 2
        elif self._at(at) in ("of", "over", "/"):
            at += 1
        elif (
            self.analysis.from_sound
            and self._at(at) in ("r", "are")
            and self._at(at + 1) in ("9", "5", "nine", "five")
        ):
            at += 1  # "three of nine" heard as "3R9"
        else:
            return None, end
        scale = self.numbers.get(at)
        if scale is None and self._at(at) in ("a", "the"):
            scale = self.numbers.get(at + 1)
        if scale is None or scale.pronoun:
            return None, end
        self.used.add(scale.start)
        # A digit after the scale belongs to something else ("five of nine, four...").
        return scale.value, scale.elided_from or scale.end

    def _minor(self, end: int) -> tuple[Number, _Unit] | None:
        """The ounces of "nine pounds four ounces", the grams of "four kilos two hundred grams"."""
        at = end + 1 if self._at(end) in ("and", ",") else end
        number = self.numbers.get(at)
        unit = self.units.get(number.end) if number is not None else None
        if number is not None and unit is None and at == end and self._bare_ounces(number, end):
            self.used.add(number.start)
            return number, _Unit(number.end, number.end, self.reader.unit("[oz_av]"))
        if number is not None and unit is None and at == end and self._bare_grams(number, end):
            self.used.add(number.start)
            grams = number.value * 10.0 ** (3 - len(f"{number.value:g}"))
            exact = Number(number.start, number.end, grams)
            return exact, _Unit(number.end, number.end, self.reader.unit("g"))
        if number is None or unit is None or unit.row.code not in ("[oz_av]", "g", "[lb_av]"):
            return None
        self.used.add(number.start)
        return number, unit

    def _bare_ounces(self, number: Number, end: int) -> bool:
        """ "nine pounds four": ounces go without saying right after pounds."""
        return (
            self.norms[end - 1] in self.reader.small_after
            and number.value < 16
            and not self._counts_noun(number.end)
        )

    def _bare_grams(self, number: Number, end: int) -> bool:
        """ "four kilo two", "four kilos two hundred": the decimals of the kilogram."""
        whole = number.elided is None and number.value == int(number.value) and 0 < number.value < 1000
        return (
            self.norms[end - 1] in self.reader.decimals_after and whole and not self._counts_noun(number.end)
        )

    def _counts_noun(self, token: int) -> bool:
        index = bisect_left(self.mention_starts, token)
        following = self._at(token)
        if index >= len(self.mention_starts) or self.mention_starts[index] > token:
            return following in self.reader.before_counted
        return token not in self.name_starts

    def _window(self, unit: _Unit | None, end: int) -> tuple[float | None, int]:
        """Seconds counted over: "28 in fifteen seconds", "twenty eight times four"."""
        word = self._at(end)
        number = self.numbers.get(end + 1)
        if number is None:
            return None, end
        if word in ("in", "over", "per"):
            seconds = self.units.get(number.end)
            if seconds is not None and seconds.row.code == "s":
                self.used.add(number.start)
                return number.value, seconds.end
        if word in ("times", "x") and number.value in (2, 3, 4, 6):
            self.used.add(number.start)
            return 60 / number.value, number.end
        return None, end

    def _comparator(self, start: int, end: int) -> str | None:
        for stop in (start, start - 1):
            cue = self.comparators.ending_at(stop)
            if (
                cue is not None
                and self.norms[cue.start] == "up"
                and self._at(cue.start - 1) in ("is", "'s", "are", "gone")
            ):
                return None  # "weight's up to 31 kilos" has risen to it
            if cue is not None and all(
                word in ("about", "than", "a", "say") for word in self.norms[stop:start]
            ):
                return cue.group.value
        after = self.comparators_after.starting_at(end)
        return after.group.value if after is not None else None

    # --- whose value is it -------------------------------------------------------------------------------------------

    def _claim(self, number: Number) -> None:
        if (
            number.pronoun
            and number.end not in self.units
            and not self._scaled(number)
            and not self._begins_range(number)
        ):
            return
        if self._at(number.end) in self.reader.counts_time:
            return  # "weigh her again in six months", "on the 30th"
        if self._other_pressure(number) or self._from_to(number):
            return
        value = self._value(number)
        name = self._name_before(value) or self._name_after(value)
        if self._rise_or_fall(value) or (name is not None and self._reference(name, value)):
            return
        previous = self.out[-1] if self.out else None
        if name is not None:
            self._add(value, name.row.kind, (name.start, name.end))
            return
        if rate := self._bare_rate(value):
            self._add(value, *rate)
            return
        if previous is not None and self._same_quantity(previous, value):
            if self._replaces(previous, value):
                if reading := self._add(value, previous.kind, previous.name):
                    previous.superseded = True
                    reading.name = None
                return
            if self._old_value(previous, value):
                if reading := self._add(value, previous.kind, None):
                    reading.past = True
                return
            if self._repeated(previous, value):
                self._add(value, previous.kind, None)
                return
        kind = self._kind_by_unit(value)
        if kind is not None:
            self._add(value, kind, None)
        elif (bare := self._kind_alone(value)) is not None and (reading := self._add(value, bare[0], None)):
            reading.confidence = min(reading.confidence, bare[1])

    def _bare_rate(self, value: _Value) -> tuple[str, tuple[int, int]] | None:
        """ "rate one twelve": of the heart or of breathing, as the words before say."""
        for at in range(value.start - 1, max(-1, value.start - 6), -1):
            if self.norms[at] in self.reader.rate_names:
                kind = self.reader.rates.get(self._system_before(at) or "", "heart_rate")
                return kind, (at, at + 1)
            if at not in self.links and self.norms[at] not in ("'s", ",", ":"):
                break
        if self._at(value.start - 1) == "at" and value.number.value >= 20 and self._stands_alone(value):
            system = (
                self._system_before(value.start)
                if value.start - self._last_mention_end(value.start) <= 3
                else None
            )
            rate = self.reader.rates.get(system or "")
            return (rate, (value.start, value.start)) if rate else None
        return None

    def _reference(self, name: _Name, value: _Value) -> bool:
        """ "Normal temp is up to 39.2": what is usual, explained, and not this patient's value."""
        explained = self._at(name.start - 1) == "normal" and self._at(name.end) in ("is", "'s", "would")
        upper = value.comparator == "<=" or self.norms[value.start - 2 : value.start] == ["up", "to"]
        return explained and (value.high is not None or upper)

    def _last_mention_end(self, token: int) -> int:
        index = bisect_left(self.mention_starts, token) - 1
        return self.analysis.mentions[index].end if index >= 0 else -100

    def _other_pressure(self, number: Number) -> bool:
        """A diastolic or mean pressure, which is none of the kinds kept."""
        before = "" if number.start - 1 in self.replacing_tokens else self._at(number.start - 1)
        if before in self.reader.not_systolic:
            return True
        # "Systolic 120 diastolic 75": the name after belongs to the number after it.
        return self._at(number.end) in self.reader.not_systolic and number.end + 1 not in self.numbers

    def _from_to(self, number: Number) -> bool:
        """ "Weight's gone up from twelve kilos to thirteen point five": the first value is past, the second stands."""
        if self._at(number.start - 1) != "from" or not self.changes.within(number.start - 6, number.start):
            return False
        unit = self.units.get(number.end)
        second = self.numbers.get((unit.end if unit else number.end) + 1)
        if second is None or self._at(second.start - 1) != "to":
            return False
        value, later = self._plain(number), self._plain(second)
        name = self._named_before(number.start)
        kind = name.row.kind if name is not None else self._unit_kind(value) or self._unit_kind(later)
        if kind is None:
            return False
        given = value.unit or later.unit
        old = self._add(replace(value, unit=given), kind, None)
        new = self._add(
            replace(later, unit=given), kind, (name.start, name.end) if name is not None else None
        )
        if old is not None and new is not None:
            old.past = True
        return True

    def _plain(self, number: Number) -> _Value:
        unit = self.units.get(number.end)
        return _Value(number.start, unit.end if unit else number.end, number, unit=unit)

    def _named_before(self, token: int) -> _Name | None:
        index = bisect_left(self.name_ends, token + 1) - 1
        near = index >= 0 and token - self.names[index].end <= 6
        return self.names[index] if near and self.names[index].start not in self.used else None

    @staticmethod
    def _unit_kind(value: _Value) -> str | None:
        return value.unit.row.kind if value.unit is not None else None

    def _begins_range(self, number: Number) -> bool:
        return self._at(number.end) == "to" and number.end + 1 in self.numbers

    def _scaled(self, number: Number) -> bool:
        return self._at(number.end) in ("out", "/") or (
            self._at(number.end) in ("of", "over") and number.end + 1 in self.numbers
        )

    def _name_before(self, value: _Value) -> _Name | None:
        """The nearest name to the left with nothing but linking words between."""
        index = bisect_left(self.name_ends, value.start + 1) - 1
        if index < 0:
            return None
        name = self.names[index]
        if name.start in self.used or value.start - name.end > _REACH:
            return None
        gap = range(name.end, value.start)
        if not self._fits(name, value):
            return None
        return name if self._linked(gap) or self._loosely_linked(name, gap, value) else None

    def _linked(self, gap: range) -> bool:
        for token in gap:
            word = self.norms[token]
            if token in self.links or word in (",", ":", "\u2013", "\u2014", "'s"):
                continue
            if token in self.replacing_tokens:
                continue
            return False
        return True

    def _loosely_linked(self, name: _Name, gap: range, value: _Value) -> bool:
        """ "Heart's ticking along at ninety": other words between, the value plainly one of this kind and on its own."""
        if not gap or len(gap) > 8 or not self._stands_alone(value):
            return False
        last = gap[-1]
        if last not in self.links and self.norms[last] not in (",", ":", "'s"):
            return False
        if any(self.norms[t] in SENTENCE_MARKS or t in self.number_tokens for t in gap):
            return False
        if any(t in self.blocking for t in gap):
            return False
        low, high = name.row.plausible or (0.0, 1000.0)
        amount = value.number.read(decimal=name.row.unit in _DECIMAL_UNITS)
        return value.unit is not None or low <= amount <= high

    def _name_after(self, value: _Value) -> _Name | None:
        """ "ninety six on the heart rate", "a 38.6 temperature"."""
        index = bisect_left(self.name_ends, value.number.end + 1)
        if index >= len(self.names):
            return None
        name = self.names[index]
        if name.start in self.used or name.start < value.number.end:
            return None
        gap = self.norms[value.end : name.start]
        allowed = ("on", "for", "as", "the", "his", "her", "is", "was", "of", "a", "even", "flat", "dead")
        opens = not gap or gap[0] in ("on", "for", "as", "is", "even", "flat", "dead")
        if (
            len(gap) > 3
            or not opens
            or any(word not in allowed for word in gap)
            or not self._fits(name, value)
        ):
            return None
        # "ninety six resps twenty four": a name that a number follows takes that one.
        if not gap and self._number_follows(name):
            return None
        return name

    def _number_follows(self, name: _Name) -> bool:
        at = name.end
        while (
            at < len(self.norms) and at < name.end + 4 and (at in self.links or self.norms[at] in (",", ":"))
        ):
            if at in self.numbers:
                return True
            at += 1
        return at in self.numbers

    def _fits(self, name: _Name, value: _Value) -> bool:
        """Whether unit and scale of the value suit the name."""
        row = name.row
        if name.weak and not self._within_reach(row, value):
            return False
        if value.unit is not None:
            unit = value.unit.row
            if unit.kind is not None and unit.kind != row.kind:
                return {unit.kind, row.kind} <= {"heart_rate", "pulse_rate", "respiratory_rate"}
            if row.unit == "/min" and unit.to == "s" and self.norms[value.unit.start] == "s":
                return True  # "28s" written by a recogniser for "twenty eight"
            if unit.to != row.unit and unit.quantity not in ("time", "temperature"):
                return False
            return unit.to == row.unit or value.window_s is not None
        if row.kind == "hydration_deficit":
            return False
        if value.out_of is not None and not row.out_of and row.kind != "systolic_blood_pressure":
            return False
        if row.out_of and value.out_of is None:
            return value.number.value <= max(row.out_of) and self._stands_alone(value)
        low_reach = row.plausible is not None and value.number.value < row.plausible[0] / 3
        return not (low_reach and not self._stands_alone(value))

    def _within_reach(self, row: MeasurementName, value: _Value) -> bool:
        """A weak name ("t", "heart", "scales") needs a value that can be one of its kind."""
        if row.plausible is None or value.unit is not None or value.window_s is not None:
            return True
        low, high = row.plausible
        amount = value.number.read(decimal=row.unit in _DECIMAL_UNITS)
        if row.kind == "temperature":
            return low <= amount <= high or low <= convert(amount, self.reader.unit("[degF]")) <= high
        return low <= amount <= high

    def _stands_alone(self, value: _Value) -> bool:
        """No noun follows that the number could count ("weighed in fine, two lumps")."""
        following = self._at(value.end)
        if self.replacing.starting_at(value.end) is not None:
            return True
        return (
            following == ""
            or not following[0].isalpha()
            or following in ("and", "but", "today", "now", "so", "which", "with")
        )

    def _kind_by_unit(self, value: _Value) -> str | None:
        if value.unit is None:
            if value.out_of == 9 and 1 <= value.number.value <= 9 and not self._graded_nearby(value):
                return "body_condition_score"
            return None
        kind = value.unit.row.kind
        if value.unit.row.code == "deg" and self._warm(value):
            return "temperature"
        if kind is None:
            return None
        if kind == "weight" and self._is_change(value):
            return None
        return kind

    def _warm(self, value: _Value) -> bool:
        """Degrees that are no angle: a body's warmth in Celsius or Fahrenheit."""
        low, high = self.bare_temperature
        amount = value.number.read(decimal=True)
        return low <= amount <= high or low <= convert(amount, self.reader.unit("[degF]")) <= high

    def _graded_nearby(self, value: _Value) -> bool:
        if "grade" in self.norms[max(0, value.start - 3) : value.start]:
            return True
        index = bisect_left(self.mention_starts, value.start) - 1
        near = index >= 0 and value.start - self.mention_starts[index] <= 8
        return near and self.reader.is_graded(self.analysis.mentions[index])

    def _is_change(self, value: _Value) -> bool:
        """ "lost two kilos", "two kilos heavier", "two kilos of food": no weight of the patient."""
        before = self.changes.within(value.start - 6, value.start)
        after = self.changes.starting_at(value.end)
        near = any(value.start - 4 <= cue.end for cue in before) or after is not None
        return near or self._at(value.end) == "of"

    def _rise_or_fall(self, value: _Value) -> bool:
        """ "up three pounds", "two kilos more than last time": by how much a weight just given has changed."""
        if value.unit is None or value.unit.row.quantity != "mass" or not self.out:
            return False
        previous = self.out[-1]
        if previous.kind != "weight" or not isinstance(previous.value, float):
            return False
        small = convert(value.number.read(decimal=True), value.unit.row) < previous.value / 3
        before = self.changes_before.ending_at(value.start)
        if not small or (before is None and self.changes_after.starting_at(value.end) is None):
            return False
        previous.compared_at = value.start
        return True

    @staticmethod
    def _same_quantity(previous: Reading, value: _Value) -> bool:
        if value.unit is None:
            return True
        return value.unit.row.to == previous.unit or value.unit.row.kind == previous.kind

    def _replaces(self, previous: Reading, value: _Value) -> bool:
        """A word of correction between the last reading and this number ("one twenty, no, one thirty two")."""
        if value.start - previous.end > 14:
            return False
        cues = self.replacing.within(previous.end, value.start)
        if not cues:
            return False
        before = [
            w for w in self.norms[previous.end : cues[0].start] if w not in (",", ".", "\u2014", "\u2013")
        ]
        bridge = [
            word
            for token, word in enumerate(self.norms[cues[0].end : value.start], start=cues[0].end)
            if token not in self.links
            and token not in self.replacing_tokens
            and word not in (",", "\u2013", "\u2014")
        ]
        # A reason may stand between ("no, I tell a lie, the towel's on there, two point six") if the number stands alone.
        strong = any(cue.end - cue.start > 1 for cue in cues) and self._alone(value)
        if before or (bridge and not strong):
            return False
        high = previous.value if isinstance(previous.value, float) else 0.0
        number = value.number.read(decimal=True)
        return previous.out_of is not None or high == 0 or high / 12 < number < high * 12

    def _alone(self, value: _Value) -> bool:
        """The value fills the stretch between two marks."""
        before = value.start - 1
        while self._at(before) in (
            "and",
            "so",
            "still",
            "was",
            "his",
            "hers",
            "is",
            "'s",
            "at",
            "he",
            "she",
            "just",
            "about",
            "it",
            "that",
            "he's",
        ):
            before -= 1
        return self._at(before) in ("", *MARKS) and self._at(value.end) in ("", *MARKS)

    def _old_value(self, previous: Reading, value: _Value) -> bool:
        """ "12.4 kilos, up from 11.8": a number introduced as an earlier one, without a name of its own."""
        gap = self.norms[previous.end : value.start]
        marks = sum(w in SENTENCE_MARKS for w in gap)
        if value.start - previous.end > 10 or marks > 1:
            return False
        if self._at(value.start - 1) in ("is", "now", "today") or self.now.starting_at(value.end) is not None:
            return False
        if self._at(value.start - 2) in ("his", "hers") and self._at(value.start - 1) in ("is", "was"):
            return False  # "His was thirty eight nine" is this patient's, after talk of others
        introduced = any(
            cue.end >= value.start - 3 for cue in self.old_values.within(previous.end, value.start)
        )
        dated = any(cue.start <= value.end + 3 for cue in self.past.within(value.end, value.end + 8))
        if not (introduced or dated) or not isinstance(previous.value, float):
            return False
        number = value.number.read(decimal=True)
        return previous.value / 4 < number < previous.value * 4 or self._in_unit_of(previous, value)

    def _repeated(self, previous: Reading, value: _Value) -> bool:
        """ "two hundred, second time one eighty"; "last time ten kilos, today nine point four"."""
        gap = self.norms[previous.end : value.start]
        if self.reader.row(previous.kind).repeats and all(w in _READING_ON for w in gap):
            return value.unit is None and (bool(gap) or self._near(previous, value))
        if not isinstance(previous.value, float) or len(gap) > 9 or any(w in SENTENCE_MARKS for w in gap):
            return False
        cued = self.repeats.within(previous.end, value.start) or (
            previous.past_said and self.now.within(previous.end, value.start)
        )
        superseding = (
            bool(self.now.within(previous.end, value.start)) or self.now.starting_at(value.end) is not None
        )
        number = value.number.read(decimal=previous.unit in _DECIMAL_UNITS)
        near = self._stands_alone(value) and previous.value / 2 < number < previous.value * 2
        if not near or not (cued or superseding):
            return False
        # "Was one forty and now it's one ten": the first was before.
        previous.past = previous.past or superseding
        return True

    @staticmethod
    def _near(previous: Reading, value: _Value) -> bool:
        """Read out without a pause ("148 152 150"): only values that can be of the same kind."""
        return isinstance(previous.value, float) and abs(value.number.value / previous.value - 1) < 0.4

    def _in_unit_of(self, previous: Reading, value: _Value) -> bool:
        """The earlier value was said in another unit than the stored one, so this one is too."""
        unit = previous.said_in
        if unit is None or not isinstance(previous.value, float):
            return False
        return previous.value / 4 < convert(value.number.read(decimal=True), unit) < previous.value * 4

    def _kind_alone(self, value: _Value) -> tuple[str, float] | None:
        """What a bare number between two marks can only be in its context: (kind, confidence).

        "Bright, thirty eight three" is a temperature; "no murmur, one hundred and four" a heart rate.
        """
        if value.out_of == 5.0 and self._scoring(value) and not self._graded_nearby(value):
            return "body_condition_score", 0.7
        if not self._alone(value) or value.unit is not None or value.number.pronoun:
            return None
        if self.out and self.out[-1].value in (value.number.value, value.number.elided):
            return None  # the same value once more
        decimal = value.number.read(decimal=True)
        low, high = self.bare_temperature
        if value.out_of is None and decimal != int(decimal) and low <= decimal <= high:
            return "temperature", 0.8
        if value.out_of == 5.0 and not self._graded_nearby(value):
            return "body_condition_score", 0.7
        if value.out_of is None and value.number.value >= 40 and self._heart_in_focus(value):
            return "heart_rate", 0.7
        return None

    def _scoring(self, value: _Value) -> bool:
        """ "I'd score him three out of five"."""
        before = self.norms[max(0, value.start - 6) : value.start]
        return any(word in self.reader.scoring for word in before)

    def _heart_in_focus(self, value: _Value) -> bool:
        """A word of heart or pulses in the sentence so far or right after."""
        around = (self._system_before(value.start), self._system_after(value.end))
        return any(self.reader.rates.get(system or "") == "heart_rate" for system in around)

    def _system_before(self, token: int) -> str | None:
        index = bisect_left(self.mention_starts, token) - 1
        while index >= 0 and token - self.mention_starts[index] <= 12:
            if self.mention_systems[index] != "any":
                return self.mention_systems[index]
            index -= 1
        return None

    def _system_after(self, token: int) -> str | None:
        index = bisect_left(self.mention_starts, token)
        if index >= len(self.mention_starts) or self.mention_starts[index] - token > 2:
            return None
        return self.mention_systems[index]

    # --- what it says ------------------------------------------------------------------------------------------------

    def _add(self, value: _Value, kind: str, name: tuple[int, int] | None) -> Reading | None:
        row = self.reader.row(kind)
        decimal = row.unit in _DECIMAL_UNITS
        number = value.number
        end = value.end
        if not decimal and number.elided_from is not None and value.end == number.end:
            end = number.elided_from
        reading = Reading(
            kind, value.start, end, number.read(decimal=decimal), unit=row.unit, comparator=value.comparator
        )
        if value.high is not None:
            reading.value_high = value.high.read(decimal=decimal)
        if row.out_of:
            reading.out_of, reading.unit = value.out_of, None
        elif value.out_of is not None and kind == "systolic_blood_pressure":
            reading.method = f"over {value.out_of:g} diastolic"
        self._apply_unit(reading, value)
        reading.name = name
        if name is not None and name[0] < name[1]:
            reading.start, reading.end = min(reading.start, name[0]), max(reading.end, name[1])
        self.used.add(number.start)
        if name is not None:
            self.used.add(name[0])
        reading.past_said = bool(self.past.within(max(0, reading.start - 5), reading.start))
        self.out.append(reading)
        return reading

    def _apply_unit(self, reading: Reading, value: _Value) -> None:
        amount = reading.value
        reading.said_in = value.unit.row if value.unit is not None else None
        if not isinstance(amount, float):
            return
        if value.window_s is not None and reading.unit == "/min":
            reading.method = f"counted {amount:g} in {value.window_s:g} s"
            reading.value = half_up(amount * 60 / value.window_s, 0)
            return
        unit = value.unit.row if value.unit is not None else self._unit_carried(reading, value)
        if reading.kind == "temperature" and (unit is None or unit.code == "deg"):
            self._infer_temperature(reading, amount)
            return
        if unit is None:
            reading.unit_inferred = reading.unit in ("kg",)
            if reading.unit_inferred:
                reading.method = "no unit said, taken as kilograms"
                reading.confidence = 0.8
            return
        if unit.to == reading.unit:
            total = convert(amount, unit)
            if value.minor is not None:
                total = self._with_minor(amount, unit, value.minor)
            reading.value = total
            if reading.value_high is not None:
                reading.value_high = convert(reading.value_high, unit)
            if unit.code == "[degF]":
                reading.method = "said in degrees Fahrenheit"
            elif unit.code == "[lb_av]":
                reading.method = "said in pounds"

    def _unit_carried(self, reading: Reading, value: _Value) -> UnitWord | None:
        """The unit of the reading that this one corrects or is compared with."""
        previous = self.out[-1] if self.out else None
        if previous is None or previous.kind != reading.kind or reading.kind != "weight":
            return None
        unit = previous.said_in
        if unit is not None and self._in_unit_of(previous, value):
            reading.said_in = unit
            return unit
        return None

    @staticmethod
    def _with_minor(amount: float, unit: UnitWord, minor: tuple[Number, _Unit]) -> float:
        number, minor_unit = minor
        exact = Decimal(repr(amount)) * Decimal(repr(unit.factor))
        exact += Decimal(repr(number.value)) * Decimal(repr(minor_unit.row.factor))
        return half_up(float(exact), 2)

    def _infer_temperature(self, reading: Reading, amount: float) -> None:
        """No scale was said: what is far too hot for Celsius can only be Fahrenheit."""
        reading.unit_inferred = True
        fahrenheit = self.reader.unit("[degF]")
        low, high = self.reader.row("temperature").plausible or (0.0, 0.0)
        if low <= convert(amount, fahrenheit) <= high:
            reading.value = convert(amount, fahrenheit)
            if reading.value_high is not None:
                reading.value_high = convert(reading.value_high, fahrenheit)
            reading.method = "no scale said, read as degrees Fahrenheit"
        elif self.analysis.from_sound and low * 10 <= amount <= high * 10:
            # Recognisers write "thirty eight one" as 381; a person is asked to look.
            reading.value = amount / 10
            reading.method = f"heard as {amount:g}, read as {amount / 10:g} Celsius"
            reading.confidence = 0.5
        else:
            reading.method = "no scale said, taken as Celsius"

    def _listed(self) -> None:
        """ "Temp, pulse and resps were 38.4, 88 and 20": names in a row, then as many values, in the same order."""
        at = 0
        while at < len(self.names):
            row = [self.names[at]]
            while at + len(row) < len(self.names) and self._joined(
                row[-1].end, self.names[at + len(row)].start
            ):
                row.append(self.names[at + len(row)])
            at += len(row)
            values = self._values_after(row[-1].end, len(row)) if len(row) > 1 else []
            pairs = list(zip(row, values, strict=False))
            if len(values) == len(row) and all(self._fits(name, value) for name, value in pairs):
                for name, value in pairs:
                    self._add(value, name.row.kind, (name.start, name.end))
                    # The names stand apart from the values, so each reading covers its value alone.
                    self.out[-1].start, self.out[-1].end = value.start, value.end

    def _joined(self, end: int, start: int) -> bool:
        gap = self.norms[end:start]
        return len(gap) <= 2 and all(word in (",", "and") for word in gap)

    def _values_after(self, at: int, wanted: int) -> list[_Value]:
        """Numbers one after the other with only links, commas and "and" around them, up to `wanted`."""
        values: list[_Value] = []
        while len(values) < wanted and at < len(self.norms):
            number = self.numbers.get(at)
            if number is not None and not number.pronoun and number.start not in self.used:
                values.append(self._value(number))
                at = values[-1].end
            elif self.norms[at] in (",", ":", "and") or (not values and at in self.links):
                at += 1
            else:
                break
        return values

    def _sequences(self) -> None:
        """Three vital signs in a row under one name ("TPR 38.5, 96, 24")."""
        for cue in self.cues["sequence"]:
            kinds = (cue.group.value or "").split()
            at = cue.end
            for kind in kinds:
                while (
                    at < len(self.norms)
                    and (at in self.links or self.norms[at] in (",", ":", "'s", "and"))
                    and at not in self.numbers
                ):
                    at += 1
                number = self.numbers.get(at)
                if number is None:
                    break
                value = self._value(number)
                self._add(value, kind, None)
                at = value.end

    def _worded(self) -> None:
        """Values that are words: muscle condition, and panting in place of a count."""
        words = [c for kind in ("muscle_condition", "panting") for c in self.cues[kind]]
        for name in self.names:
            if name.start in self.used or name.row.kind not in ("muscle_condition_score", "respiratory_rate"):
                continue
            wanted = "panting" if name.row.kind == "respiratory_rate" else "muscle_condition"
            for cue in words:
                if cue.kind != wanted or not name.end <= cue.start <= name.end + 4:
                    continue
                if not self._linked(range(name.end, cue.start)):
                    continue
                reading = Reading(name.row.kind, name.start, cue.end, None, name=(name.start, name.end))
                if wanted == "muscle_condition":
                    reading.value = cue.group.value
                else:
                    reading.unit, reading.method = name.row.unit, "panting, not counted"
                self.out.append(reading)
                self.used.add(name.start)
                break

    def _at(self, index: int) -> str:
        return self.norms[index] if 0 <= index < len(self.norms) else ""
