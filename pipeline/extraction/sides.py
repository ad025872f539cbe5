"""Left, right or both: to which part or finding a side belongs, and when it carries over."""

from __future__ import annotations

from lexicon.schema import FindingConcept
from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import Draft, Item
from pipeline.extraction.meaning import Meaning
from pipeline.extraction.mentions import Mention, mentions_within
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import COMMA_MARKS, SENTENCE_MARKS

_LESION_REACH = 8  # findings back to the lesion that a sentence speaks on about


class Sides(Meaning):
    """Left, right or both: to which part or finding a side belongs, and when it carries over."""

    def _side_at(self, structure: Item, segment: Segment) -> str | None:
        """The side said with a structure: "left ear", "ear on the left"."""
        if (tooth := self.teeth.get(structure.start)) is not None:
            return tooth.side
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
        within = [m for m in mentions_within(self.analysis.mentions, cue.start, cue.end) if m.is_structure]
        if within:
            return within[0].start  # "left fore" is a side with its part
        after = mentions_within(self.analysis.mentions, cue.end, min(segment.end, cue.end + 4))
        names_sides = self.norms[cue.end - 1] in self.rules.side_nouns and cue.end - cue.start > 1
        if after and not names_sides and not self._is_subject(cue, segment):
            gap = self.norms[cue.end : after[0].start]
            placed = self.norms[cue.start] == "on" and gap[:1] == [
                "at"
            ]  # "crackles on the left at the bottom"
            if not placed and not any(
                w in self.rules.copulas or w in self.rules.side_parted or w in COMMA_MARKS for w in gap
            ):
                return after[0].start
        before = self._named_before(max(segment.start, cue.start - 8), cue.start)
        posed = self.norms[cue.start] == "on" or (
            cue.start > segment.start and self.norms[cue.start - 1] in self.rules.prepositions
        )
        posed = posed or (
            cue.start > segment.start + 1
            and self.norms[cue.start - 1] == "the"
            and self.norms[cue.start - 2] in self.rules.prepositions
        )
        bilateral = names_sides or self.norms[cue.start] in self.rules.distributing
        belongs = posed or bilateral or (bool(before) and before[-1].end == cue.start)
        return before[-1].start if before and belongs and not self._is_subject(cue, segment) else None

    def _named_before(self, start: int, end: int) -> list[Mention]:
        """The mentions in tokens start to end but for those that only tell a degree ("dark debris, heavy, both")."""
        degrees = self.cues.get("severity", self.no_cues)
        return [
            mention
            for mention in mentions_within(self.analysis.mentions, start, end)
            if (degree := degrees.starting_at(mention.start)) is None or degree.end != mention.end
        ]

    def _is_subject(self, cue: Cue, segment: Segment) -> bool:
        """ "Left one's fine", "the right looks sore": the side stands for the part itself; "on the left one" does not."""
        at = cue.end
        while at < segment.end and self.norms[at] in self.rules.side_stand_ins:
            at += 1
        if at >= segment.end:
            return False
        if self.norms[at] in self.rules.copulas:
            return True
        return at > cue.end and (
            self.norms[at] in self.rules.degrees
            or any(m.is_predicate for m in mentions_within(self.analysis.mentions, at, at + 1))
        )

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
            if c.end <= item.start and self._owner(c, segment) is None and self._reaches(c, item, concept)
        ]
        if subjects:
            return self._side_value(subjects[-1])
        trailing = [
            c
            for c in sides
            if c.start >= item.end and self._owner(c, segment) is None and c.start - item.end <= 6
        ]
        if (
            trailing
            and not mentions_within(self.analysis.mentions, item.end, trailing[0].start)
            and self._can_have_side(concept, structure)
            and not self._is_subject(trailing[0], segment)
            and not (concept.nature == "normal" and self._after_comma(item, trailing[0]))
        ):
            return self._side_value(trailing[0])
        if self.leading_side is not None and self._can_have_side(concept, structure):
            return self.leading_side
        told = {told for _, told in self.pending}
        if len(told) == 1 and None not in told and (concept.sided or structure is None):
            return self.pending[0][1]
        return self._side_in_focus(item, structure, segment)

    def _side_in_focus(self, item: Item, structure: str | None, segment: Segment) -> str | None:
        """The side that was said before, where what is said now is of the same wound or part."""
        concept = self.lexicon.findings[item.entry.id]
        if (lesion := self._lesion_in_hand(concept, structure, item, segment)) is not None:
            return lesion.side
        if self.focus.side == "both" and (self.negation is not None or concept.nature == "abnormal"):
            return None  # "pupils wide, both, responsive" says it on; a fault, there or not, has a side of its own
        # "Both" holds for the sentence that it is said in, one side for the next as well.
        reach = 0 if self.focus.side == "both" else 1
        near = segment.sentence - self.focus.sentence <= reach
        if structure is None or self.focus.side is None or not near:
            return None
        if self._named_in_plural(structure, segment) or self._both_sides_done(segment):
            return None
        of_animal = structure in self.rules.of_whole_animal and concept.nature == "normal"
        if of_animal or self._of_the_others(item, segment):
            return None  # "tender on the left. Walks well": the whole animal
        place = self.lexicon.structures[structure]
        of_patient = self.negation is not None and self._said_of_patient(item)
        sided = place.paired or structure in self.rules.abstract_parts
        if sided and self._related(structure, self.focus.structure) and not of_patient:
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

    def _of_the_others(self, item: Item, segment: Segment) -> bool:
        """ "The left popliteal is up, the others are normal": not the one in focus."""
        return not self.rules.others.isdisjoint(self.norms[segment.start : item.start])

    def _lesion_in_hand(
        self, concept: FindingConcept, structure: str | None, item: Item, segment: Segment
    ) -> Draft | None:
        """ "A wound on the left flank, edges clean; no pus": what is said on of a wound in its sentence is where it is."""
        surfaces = self.rules.lesion_surfaces
        if structure not in surfaces or concept.id in self.rules.told or self._of_the_others(item, segment):
            return None
        for draft in reversed(self.out.drafts[-_LESION_REACH:]):
            if draft.sentence != segment.sentence:
                return None
            wrong = self.lexicon.findings[draft.concept].nature == "abnormal" and draft.assertion != "absent"
            if draft.system == "skin" and wrong and draft.side is not None and not draft.superseded:
                return draft if self.focus.structure in (draft.structure, *surfaces) else None
            if draft.structure not in surfaces:
                return None
        return None

    def _after_comma(self, item: Item, cue: Cue) -> bool:
        """ "Incisors level, a slight step on the right": what is well has no side that follows a comma, but "clean, both"."""
        gap = self.norms[item.end : cue.start]
        return not COMMA_MARKS.isdisjoint(gap) and self._side_value(cue) != "both"

    def _side_in_name(self, words: list[str]) -> str | None:
        """A side that is part of a finding's own words; "all right" and "right back" hold none."""
        for at, word in enumerate(words):
            before = words[at - 1] if at else ""
            after = words[at + 1] if at + 1 < len(words) else ""
            if word == "left" and before in self.rules.no_side_before_left:
                continue
            if word in ("left", "both") or (
                word == "right" and before != "all" and after not in self.rules.no_side_after_right
            ):
                return word
        return None

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

    def _reaches(self, cue: Cue, item: Item, concept: FindingConcept) -> bool:
        """A side used as a subject speaks of the part named last: none is named between, nor a finding of another system."""
        between = mentions_within(self.analysis.mentions, cue.end, item.start)
        if item.start - cue.end > 14 or any(m.is_structure for m in between):
            return False
        parts = [
            m
            for m in mentions_within(self.analysis.mentions, max(0, cue.start - 14), cue.start)
            if m.is_structure
        ]
        system = self._system_of(parts[-1].entries[0]) if parts else self.focus.system
        return concept.system in ("any", "skin", system) or system is None

    def _can_have_side(self, concept: FindingConcept, structure: str | None) -> bool:
        """Whether a side said near by can be meant: not for the animal as a whole, nor for the health of a part that is one."""
        if concept.nature == "abnormal" and concept.system != "general":
            return True
        places = [self.lexicon.structures[s] for s in (structure, concept.structure) if s is not None]
        return concept.sided or not places or any(place.paired for place in places)

    def _both_sides_done(self, segment: Segment) -> bool:
        """ "Left ear has debris, the right's clean. No mites.": after one side and the other, neither is meant."""
        if segment.sentence == self.focus.sentence:
            return False
        said = [
            c
            for c in self._sides(max(0, segment.start - 25), segment.start)
            if self._of_sentence_before(c, segment)
        ]
        return {"left", "right"} <= {self._side_value(c) for c in said}

    def _of_sentence_before(self, cue: Cue, segment: Segment) -> bool:
        return sum(w in SENTENCE_MARKS for w in self.norms[cue.end : segment.start]) <= 1

    def _named_in_plural(self, structure: str, segment: Segment) -> bool:
        """ "Pupils equal": both are meant, whatever side was spoken of before."""
        return self.lexicon.structures[structure].paired and any(
            self._is_plural(self.norms[m.end - 1]) and any(e.id == structure for e in m.entries)
            for m in mentions_within(self.analysis.mentions, segment.start, segment.end)
            if m.is_structure
        )

    def _side_subject(self, item: Item, segment: Segment) -> bool:
        """ "Left one's fine", "right clear", "the rest fine": a side or remainder stands for the part in focus."""
        sides = [
            c for c in self._sides(segment.start, item.start) if self._owner(c, segment) in (None, item.start)
        ]
        before = self.norms[segment.start : item.start]
        degree = {
            t for cue in self._cues("severity", segment.start, item.start) for t in range(cue.start, cue.end)
        }
        light = all(
            token in degree
            or w in self.rules.degrees
            or w in self.rules.copulas
            or w in self.rules.determiners
            or w in self.rules.side_fillers
            for token, w in enumerate(before, start=segment.start)
            if w not in self.rules.sides
        )
        return light and (bool(sides) or any(w in self.rules.remainder for w in before))
