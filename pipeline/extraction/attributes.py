"""Grades, sizes and qualities: what is said about a finding beside that it is there."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from lexicon import Lexicon
from pipeline.extraction.concepts import Cue
from pipeline.extraction.numbers import Number
from pipeline.extraction.tokens import Analysis

_LENGTH_TO_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "[in_i]": 25.4}


@dataclass(frozen=True, slots=True)
class Graded:
    """A grade in tokens start to end: "grade two out of six", "two over six", "II/VI"."""

    start: int
    end: int
    value: float
    out_of: float | None
    named: bool = False
    """Said with the word "grade", "stage" or the like."""


@dataclass(frozen=True, slots=True)
class Sized:
    """A size in tokens start to end: the largest dimension in millimetres, or words ("the size of a pea")."""

    start: int
    end: int
    mm: float | None
    words: str | None


class CueIndex:
    """Cues of one kind in text order, found by position in logarithmic time."""

    def __init__(self, cues: Sequence[Cue]) -> None:
        self.cues = sorted(cues, key=lambda cue: cue.start)
        self._starts = [cue.start for cue in self.cues]

    def within(self, start: int, end: int) -> list[Cue]:
        """Cues that lie in tokens start to end (exclusive)."""
        low, high = bisect_left(self._starts, start), bisect_left(self._starts, end)
        return [cue for cue in self.cues[low:high] if cue.end <= end] if low < high else []

    def starting_at(self, token: int) -> Cue | None:
        """The cue that starts at a token."""
        at = bisect_left(self._starts, token)
        return self.cues[at] if at < len(self.cues) and self.cues[at].start == token else None

    def ending_at(self, token: int) -> Cue | None:
        """The longest cue that ends right before a token."""
        at = bisect_right(self._starts, token) - 1
        for cue in self.cues[max(0, at - 4) : at + 1]:
            if cue.end == token:
                return cue
        return None


class AttributeReader:
    """Finds grades and sizes in a text (needs numbers; skips what a measurement has taken)."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._roman = {word: int(value) for word, value in lexicon.numbers["roman"].items()}
        self._lengths = {
            term: _LENGTH_TO_MM[unit.code]
            for unit in lexicon.units
            if unit.quantity == "length"
            for term in unit.terms
        }
        self._lengths |= dict.fromkeys(lexicon.words["sizes"]["millimetres_said"], 1.0)
        self._grade_words = frozenset(lexicon.words["grading"]["names"])
        self._parts_of_unit: dict[str, float] = lexicon.words["sizes"]["parts_of_unit"]
        lasting = lexicon.words["lasting"]
        self._lasting = frozenset(lasting["openers"])
        self._before_amount = frozenset(lasting["before_amount"])
        self._vague_amounts = frozenset(lasting["vague_amounts"])
        self._time_units = frozenset(lexicon.plan["due"]["units"]) | frozenset(lasting["units"])
        self._after_grade_name = frozenset(lexicon.words["grading"]["after_name"])
        self._over = frozenset(lexicon.words["grading"]["over"])
        self._between_dimensions = frozenset(lexicon.words["sizes"]["between_dimensions"])
        self._before_likeness = frozenset(lexicon.words["sizes"]["before_likeness"])
        self._likenesses = frozenset(lexicon.words["sizes"]["likenesses"])

    def grades(self, analysis: Analysis) -> list[Graded]:
        """All grades in text order."""
        norms = analysis.norms
        by_start = {number.start: number for number in analysis.numbers}
        found: list[Graded] = []
        at = 0
        while at < len(norms):
            named = norms[at] in self._grade_words
            start = at + 1 if named else at
            graded = self._grade(norms, by_start, start, named)
            if graded is not None:
                found.append(Graded(at, graded.end, graded.value, graded.out_of, named))
                at = graded.end
            else:
                at += 1
        return found

    def _grade(self, norms: list[str], numbers: dict[int, Number], start: int, named: bool) -> Graded | None:
        if named:
            while start < len(norms) and norms[start] in self._after_grade_name:
                start += 1
        value, end = self._grade_number(norms, numbers, start)
        if value is None:
            return None
        if named and 100 <= value <= 606 and value % 100 in (3, 4, 5, 6) and value // 100 <= value % 100:
            # "two over six" heard as 206; the middle digit is the "over".
            return Graded(start, end, float(value // 100), float(value % 100))
        out_of, stop = self._grade_scale(norms, numbers, end)
        if out_of is not None and 0 <= value <= out_of <= 20:
            return Graded(start, stop, value, out_of)
        return Graded(start, end, value, None) if named and value <= 10 else None

    def _grade_number(
        self, norms: list[str], numbers: dict[int, Number], start: int
    ) -> tuple[float | None, int]:
        number = numbers.get(start)
        if number is not None:
            end = number.elided_from or number.end
            # "grade two to three": the higher end stands, the words keep both.
            if (
                end < len(norms)
                and norms[end] in ("to", "or")
                and (second := numbers.get(end + 1)) is not None
            ):
                return max(number.value, second.value), second.elided_from or second.end
            return number.value, end
        if (
            start < len(norms)
            and norms[start] in self._roman
            and start + 1 < len(norms)
            and norms[start + 1] == "/"
        ):
            return float(self._roman[norms[start]]), start + 1
        return None, start

    def _grade_scale(
        self, norms: list[str], numbers: dict[int, Number], end: int
    ) -> tuple[float | None, int]:
        words = norms[end : end + 2]
        if words[:2] == ["out", "of"]:
            at = end + 2
        elif words[:1] and words[0] in self._over:
            at = end + 1
        else:
            return None, end
        number = numbers.get(at)
        if number is not None and not number.pronoun:
            return number.value, number.elided_from or number.end
        if at < len(norms) and norms[at] in self._roman and words[0] == "/":
            return float(self._roman[norms[at]]), at + 1
        return None, end

    def sizes(self, analysis: Analysis) -> list[Sized]:
        """All sizes in text order."""
        norms = analysis.norms
        by_start = {number.start: number for number in analysis.numbers}
        found: list[Sized] = []
        done = 0
        for number in analysis.numbers:
            if number.start < done:
                continue
            values, end = [number.read(decimal=True)], number.end
            while end + 1 < len(norms) and norms[end] in self._between_dimensions and end + 1 in by_start:
                following = by_start[end + 1]
                values.append(following.read(decimal=True))
                end = following.end
            dose = norms[end + 1 : end + 2] == ["of"]  # "five mil of" something is no size
            if end < len(norms) and not dose and (factor := self._lengths.get(norms[end])) is not None:
                largest = max(values) * factor
                if largest > 0:
                    found.append(Sized(number.start, end + 1, round(largest, 1), None))
                done = end + 1
        found.extend(self._single_unit(norms))
        found.extend(self._likened(analysis))
        return sorted(found, key=lambda size: size.start)

    def _single_unit(self, norms: list[str]) -> list[Sized]:
        """ "About a centimetre", "an inch across", "a quarter of an inch"; of thirds and quarters the usual number is meant."""
        return [
            Sized(at, at + 2, round(factor * self._part_before(norms, at), 1), None)
            for at, norm in enumerate(norms[:-1])
            if norm in ("a", "an")
            and (at == 0 or norms[at - 1] not in self._parts_of_unit)
            and (factor := self._lengths.get(norms[at + 1])) is not None
            and len(norms[at + 1]) > 1
        ]

    def _part_before(self, norms: list[str], at: int) -> float:
        """How much of the unit is said before its article: 0.25 for "a quarter of an inch", else 1."""
        of_it = at > 1 and norms[at - 1] == "of"
        return self._parts_of_unit.get(norms[at - 2], 1.0) if of_it else 1.0

    def durations(self, analysis: Analysis) -> list[tuple[int, int]]:
        """Tokens of how long something has lasted, as said: "for about three weeks", "over the last two months"."""
        found = []
        for at, norm in enumerate(analysis.norms):
            if norm not in self._lasting:
                continue
            end = at + 1
            while end < len(analysis.norms) and end - at < 8 and analysis.norms[end] not in self._time_units:
                end += 1
            between = analysis.norms[at + 1 : end]
            numbers = {
                n for number in analysis.numbers_within(at, end) for n in range(number.start, number.end)
            }
            counted = bool(numbers) or any(word in self._vague_amounts for word in between)
            light = all(
                token in numbers or word in self._before_amount or word in self._vague_amounts
                for token, word in enumerate(between, start=at + 1)
            )
            if end < len(analysis.norms) and analysis.norms[end] in self._time_units and counted and light:
                found.append((at, end + 1))
        return found

    def _likened(self, analysis: Analysis) -> list[Sized]:
        """ "the size of a pea", "pea sized"."""
        norms = analysis.norms
        found = []
        for at, norm in enumerate(norms):
            if norm == "size" and norms[at + 1 : at + 2] == ["of"]:
                stop = at + 2
                while stop < len(norms) and norms[stop] in self._before_likeness:
                    stop += 1
                while (
                    norms[stop : stop + 1]
                    and norms[stop] in self._likenesses
                    and (norms[stop + 1 : stop + 2] and norms[stop + 1] in self._likenesses)
                ):
                    stop += 1  # "golf ball"
                if stop < len(norms) and norms[stop].isalpha():
                    start = at - 1 if at > 0 and norms[at - 1] in ("the", "about") else at
                    found.append(Sized(start, stop + 1, None, analysis.words(start, stop + 1)))
            elif norm in ("sized", "size") and at > 0 and norms[at - 1] in self._likenesses:
                start = at - 1
                while start > 0 and norms[start - 1] in self._likenesses:
                    start -= 1
                found.append(Sized(start, at + 1, None, analysis.words(start, at + 1)))
        return found
