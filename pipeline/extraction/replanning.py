"""Planned steps corrected by voice: "recheck in two weeks, no, make it three" leaves one step taken back and one that stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lexicon import Lexicon
from pipeline.extraction.attributes import CueIndex
from pipeline.extraction.concepts import Cue
from pipeline.extraction.numbers import Number
from pipeline.extraction.tokens import MARKS, Analysis


@dataclass(frozen=True, slots=True)
class Planned:
    """A planned step: the token ranges whose words it has, its text, and whether it was taken back.

    `restated` says that the text joins words from two places: when it is due has to be read from the text.
    """

    pieces: tuple[tuple[int, int], ...]
    text: str
    superseded: bool = False
    restated: bool = False
    cue: Cue | None = None


@dataclass(frozen=True, slots=True)
class _Time:
    """A time in tokens start to end: its number ends at `amount_end`, where the unit begins."""

    start: int
    amount_end: int
    end: int


class PlanCorrector:
    """Applies spoken corrections to the token ranges of planned steps."""

    def __init__(self, lexicon: Lexicon) -> None:
        due = lexicon.plan["due"]
        self._units = frozenset(due["units"])
        self._days = frozenset(due["days"])
        self._leading = frozenset(lexicon.words["correcting"]["before_new_time"])
        self._ordinals = frozenset(tuple(day.split()) for day in due["ordinals"])

    def corrected(
        self, analysis: Analysis, items: list[tuple[int, int]], undone: set[int]
    ) -> Iterator[Planned]:
        """The steps as they stand after all corrections; `undone` are tokens of steps taken back as a whole."""
        numbers = {number.start: number for number in analysis.numbers}
        withdrawing = CueIndex([c for c in analysis.cues if c.kind == "withdraw"])
        replacing = CueIndex([c for c in analysis.cues if c.kind == "replace"])
        for start, end in items:
            stop = next((c.start for c in withdrawing.within(start + 1, end)), end)
            stop = self._before_marks(analysis, start, stop)
            if stop <= start or withdrawing.starting_at(start) is not None:
                continue
            taken_back = any(start <= token < end for token in undone)
            cues = replacing.within(start + 1, stop)
            changed = next((p for c in cues if (p := self._changed(analysis, numbers, c, start, stop))), None)
            if changed is not None:
                yield from changed
            else:
                yield Planned(((start, stop),), analysis.words(start, stop), taken_back)

    def _changed(
        self, analysis: Analysis, numbers: dict[int, Number], cue: Cue, start: int, end: int
    ) -> tuple[Planned, Planned] | None:
        """The step as said before and after a correction of its time; None where the words correct nothing of it."""
        old = self._last_time(analysis, numbers, start, cue.start)
        new = self._new_time(analysis, numbers, cue.end, end)
        if old is None or new is None:
            return None
        stop = self._before_marks(analysis, start, cue.start)
        unit = (new.amount_end, new.end) if new.end > new.amount_end else (old.amount_end, old.end)
        pieces = [(start, old.start), (new.start, new.amount_end), unit, (old.end, stop)]
        pieces = [piece for piece in pieces if piece[1] > piece[0]]
        words = " ".join(analysis.words(*piece) for piece in pieces)
        said = tuple(piece for piece in ((start, old.start), (new.start, new.end)) if piece[1] > piece[0])
        return (
            Planned(((start, stop),), analysis.words(start, stop), superseded=True, cue=cue),
            Planned(said, words, restated=True),
        )

    def _last_time(
        self, analysis: Analysis, numbers: dict[int, Number], start: int, end: int
    ) -> _Time | None:
        times = (self._time_at(analysis, numbers, at, end) for at in range(end - 1, start, -1))
        return next((time for time in times if time is not None and time.end > time.amount_end), None)

    def _new_time(self, analysis: Analysis, numbers: dict[int, Number], start: int, end: int) -> _Time | None:
        """A time that is all that follows the words of correction."""
        at = start
        while at < end and (analysis.norms[at] in self._leading or analysis.norms[at] in MARKS):
            if (time := self._time_at(analysis, numbers, at, end)) is not None and time.end == end:
                return time
            at += 1
        time = self._time_at(analysis, numbers, at, end) if at < end else None
        return time if time is not None and time.end == end else None

    def _time_at(self, analysis: Analysis, numbers: dict[int, Number], at: int, end: int) -> _Time | None:
        """ "Three weeks", "three", "a fortnight", "Monday", "the twenty first"."""
        norms, number = analysis.norms, numbers.get(at)
        if norms[at] in self._days:
            return _Time(at, at, at + 1)
        for length in (2, 1):
            if norms[at] == "the" and tuple(norms[at + 1 : at + 1 + length]) in self._ordinals:
                return _Time(at, at, at + 1 + length) if at + 1 + length <= end else None
        if norms[at] in ("a", "another") and at + 1 < end and norms[at + 1] in self._units:
            return _Time(at, at + 1, at + 2)
        if number is None or number.end > end:
            return None
        unit = number.end < end and norms[number.end] in self._units
        return _Time(at, number.end, number.end + unit)

    @staticmethod
    def _before_marks(analysis: Analysis, start: int, end: int) -> int:
        while end > start and analysis.norms[end - 1] in MARKS:
            end -= 1
        return end
