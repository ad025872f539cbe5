"""Teeth named by number: the modified Triadan system, as spoken ("one oh eight", "tooth 204") or written.

The first digit is the quadrant: 1 right upper, 2 left upper, 3 left lower, 4 right lower; 5 to 8 the same for deciduous teeth. The
two others count from the midline: 01 to 03 incisors, 04 the canine, 05 to 08 premolars, 09 to 11 molars. Read in WikiVet,
"Modified Triadan System"; first published by Floyd, Journal of Veterinary Dentistry, 1991 (not read).
"""

from __future__ import annotations

from dataclasses import dataclass

from lexicon import Entry, Lexicon
from pipeline.extraction.mentions import Mention, mentions_within
from pipeline.extraction.tokens import MARKS, Analysis

_REACH = 7  # tokens between a tooth's number and the word that shows that teeth are spoken of
_LAST_POSITION = 11


@dataclass(frozen=True, slots=True)
class Tooth:
    """A tooth named by number in tokens start to end."""

    start: int
    end: int
    number: int
    structure: str

    @property
    def side(self) -> str:
        """Left or right, from the quadrant."""
        return "right" if self.number // 100 % 4 in (0, 1) else "left"

    def mention(self) -> Mention:
        """The tooth as a part of the body."""
        return Mention(self.start, self.end, (Entry(str(self.number), "structure", self.structure, False),))


class ToothNumbers:
    """Finds teeth named by number; needs numbers, mentions and readings."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.words["teeth"]
        self._positions: list[str] = words["positions"]
        self._names = frozenset(words["names"])
        self._between = frozenset(words["between"])
        self._lexicon = lexicon

    def find(self, analysis: Analysis, measured: set[int]) -> list[Tooth]:
        """Teeth in text order; a number that a measurement has taken is none, nor one with nothing of teeth near it."""
        found: list[Tooth] = []
        for number in analysis.numbers:
            quadrant, position = divmod(int(number.value), 100)
            whole = number.value == int(number.value) and number.start not in measured
            if not (whole and 1 <= quadrant <= 8 and 1 <= position <= _LAST_POSITION):
                continue
            listed = bool(found) and self._between.issuperset(analysis.norms[found[-1].end : number.start])
            if listed or self._of_teeth(analysis, number.start, number.end):
                structure = self._positions[position - 1] if quadrant <= 4 else "deciduous_tooth"
                found.append(Tooth(number.start, number.end, int(number.value), structure))
        return found

    def _of_teeth(self, analysis: Analysis, start: int, end: int) -> bool:
        if not self._names.isdisjoint(analysis.norms[max(0, start - 3) : start]):
            return True
        near = [
            m
            for m in mentions_within(analysis.mentions, max(0, start - _REACH), end + _REACH)
            if MARKS.isdisjoint(analysis.norms[min(m.end, end) : max(m.start, start)])
        ]
        systems = [self._systems(m) for m in near]
        return any("mouth" in system for system in systems) and all(
            "mouth" in system or "any" in system for system in systems
        )

    def _systems(self, mention: Mention) -> set[str]:
        structures, findings = self._lexicon.structures, self._lexicon.findings
        return {
            structures[e.id].system if e.kind == "structure" else findings[e.id].system
            for e in mention.entries
        }
