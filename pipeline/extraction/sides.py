"""Left, right or both: to which part or finding a side belongs, and when it carries over."""

from __future__ import annotations

from bisect import bisect_left

from pipeline.extraction.concepts import Cue, mentions_within
from pipeline.extraction.drafts import Item
from pipeline.extraction.meaning import Meaning
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import COMMA_MARKS


class Sides(Meaning):
    """Left, right or both: to which part or finding a side belongs, and when it carries over."""

    def _side_at(self, structure: Item, segment: Segment) -> str | None:
        """The side said with a structure: "left ear", "ear on the left"."""
        owned = [
            c for c in self._sides(segment.start, segment.end) if self._owner(c, segment) == structure.start
        ]
        if owned:
            return self._side_value(owned[-1])
        # A side may be part of the part's own name ("left apex").
        words = self.norms[structure.start : structure.end]
        return next((w for w in ("left", "right") if w in words), None)

    def _owner(self, cue: Cue, segment: Segment) -> int | None:
        """First token of the mention that a side belongs to; None when it stands for a part itself ("left one's fine")."""
        if cue.start in self.owners:
            return self.owners[cue.start]
        self.owners[cue.start] = self._find_owner(cue, segment)
        return self.owners[cue.start]

    def _find_owner(self, cue: Cue, segment: Segment) -> int | None:
        around = mentions_within(self.analysis.mentions, max(segment.start, cue.start - 8), cue.start)
        if around and cue.start in around[-1].passed:
            return around[-1].start  # "wax in the left ear" said as one term
        after = mentions_within(self.analysis.mentions, cue.end, min(segment.end, cue.end + 4))
        names_sides = self.norms[cue.end - 1] in self.rules.side_nouns and cue.end - cue.start > 1
        if after and not names_sides:
            gap = self.norms[cue.end : after[0].start]
            if not any(
                w in self.rules.copulas or w in self.rules.side_parted or w in COMMA_MARKS for w in gap
            ):
                return after[0].start
        before = mentions_within(self.analysis.mentions, max(segment.start, cue.start - 8), cue.start)
        posed = self.norms[cue.start] == "on" or (
            cue.start > segment.start and self.norms[cue.start - 1] in self.rules.prepositions
        )
        posed = posed or (
            cue.start > segment.start + 1
            and self.norms[cue.start - 1] == "the"
            and self.norms[cue.start - 2] in self.rules.prepositions
        )
        bilateral = names_sides or self.norms[cue.start] in self.rules.distributing
        if before and (posed or bilateral or before[-1].end == cue.start):
            following = self.norms[cue.end] if cue.end < segment.end else ""
            subject = following in self.rules.copulas or following in self.rules.side_subject
            if not subject:
                return before[-1].start
        return None

    def _side_for(self, item: Item, structure: str | None, segment: Segment) -> str | None:
        """The side of a finding: its own, else that of the subject before it, else the one in focus for the same part."""
        concept = self.lexicon.findings[item.entry.id]
        within = self.norms[item.start : item.end]
        if in_name := self._side_in_name(within):
            return in_name
        sides = self._sides(segment.start, segment.end)
        for cue in sides:
            if self._owner(cue, segment) == item.start:
                return self._side_value(cue)
        subjects = [
            c
            for c in sides
            if c.end <= item.start and self._owner(c, segment) is None and self._reaches(c, item)
        ]
        if subjects:
            return self._side_value(subjects[-1])
        trailing = [
            c
            for c in sides
            if c.start >= item.end and self._owner(c, segment) is None and c.start - item.end <= 6
        ]
        if trailing and not mentions_within(self.analysis.mentions, item.end, trailing[0].start):
            following = self.norms[trailing[0].end] if trailing[0].end < segment.end else ""
            if following not in self.rules.copulas and following not in self.rules.side_subject:
                return self._side_value(trailing[0])
        if self.leading_side is not None:
            return self.leading_side
        if concept.system == "mouth" and (numbered := self._numbered_teeth(segment)) is not None:
            return numbered
        if (
            structure is None
            or self.focus.side not in ("left", "right")
            or segment.sentence - self.focus.sentence > 1
        ):
            return None
        place = self.lexicon.structures[structure]
        if place.paired and self._related(structure, self.focus.structure):
            return self.focus.side
        if self.negation is not None:
            return None
        # "Off-loading the left front. At the walk, lame": a sided finding without a part goes with the side in hand.
        named = any(
            m.is_structure for m in mentions_within(self.analysis.mentions, segment.start, segment.end)
        )
        if (
            concept.sided
            and concept.nature == "abnormal"
            and concept.system == self.focus.system
            and not named
        ):
            return self.focus.side
        return None

    def _side_in_name(self, words: list[str]) -> str | None:
        """A side that is part of a finding's own words; "all right" and "right back" hold none."""
        for at, word in enumerate(words):
            before = words[at - 1] if at else ""
            after = words[at + 1] if at + 1 < len(words) else ""
            if word in ("left", "both") or (
                word == "right" and before != "all" and after not in self.rules.no_side_after_right
            ):
                return word
        return None

    def _numbered_teeth(self, segment: Segment) -> str | None:
        """The side of teeth named by their modified Triadan numbers: quadrants 1 and 4 are right, 2 and 3 left."""
        sides = set()
        at = bisect_left(self.analysis.numbers, segment.start, key=lambda number: number.start)
        for number in self.analysis.numbers[at:]:
            if number.start >= segment.end:
                break
            quadrant, tooth = divmod(int(number.value), 100)
            if number.value == int(number.value) and 1 <= quadrant <= 4 and 1 <= tooth <= 11:
                sides.add("right" if quadrant in (1, 4) else "left")
        return "both" if len(sides) == 2 else next(iter(sides), None)

    def _limb_side(self, item: Item, structure: str | None, segment: Segment) -> str | None:
        """The side being examined, for a single paired part of the same system named without a side."""
        if (
            structure is None
            or segment.sentence - self.focus.sentence > 1
            or self._sides(segment.start, segment.end)
        ):
            return None
        named = [
            m
            for m in mentions_within(self.analysis.mentions, segment.start, segment.end)
            if any(e.kind == "structure" and e.id == structure for e in m.entries)
        ]
        if not named:
            return None
        place = Item(named[-1], named[-1].entries[0])
        return self.focus.side if self._same_limb(place, self.lexicon.structures[structure]) else None

    def _reaches(self, cue: Cue, item: Item) -> bool:
        """No other part of the body lies between a side used as a subject and the finding."""
        return item.start - cue.end <= 14 and not any(
            m.is_structure for m in mentions_within(self.analysis.mentions, cue.end, item.start)
        )

    def _side_subject(self, item: Item, segment: Segment) -> bool:
        """ "Left one's fine", "right clear", "the rest fine": a side or remainder stands for the part in focus."""
        sides = [
            c for c in self._sides(segment.start, item.start) if self._owner(c, segment) in (None, item.start)
        ]
        before = self.norms[segment.start : item.start]
        light = all(
            w in self.rules.degrees
            or w in self.rules.copulas
            or w in self.rules.determiners
            or w in self.rules.side_fillers
            for w in before
            if w not in self.rules.sides
        )
        return light and (bool(sides) or any(w in self.rules.remainder for w in before))
