"""What is said of a finding beside that it is there: degree, grade, size, qualities, and who says it."""

from __future__ import annotations

from bisect import bisect_left

from lexicon.schema import FindingConcept
from pipeline.extraction.assertion import Assertion
from pipeline.extraction.attributes import Graded, Sized
from pipeline.extraction.drafts import Draft, Item
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import COMMA_MARKS


class Details(Assertion):
    """What is said of a finding beside that it is there: degree, grade, size, qualities, and who says it."""

    def _severity(self, item: Item, segment: Segment) -> str | None:
        for cue in reversed(self._cues("severity", max(segment.start, item.start - 8), item.start)):
            gap = self.norms[cue.end : item.start]
            if len(gap) <= 4 and not any(w in COMMA_MARKS or w in self.rules.degree_ends for w in gap):
                return cue.group.value
        following = self._cues("severity", item.end, min(segment.end, item.end + 4))
        if following and all(w in self.rules.to_degree for w in self.norms[item.end : following[0].start]):
            return following[0].group.value
        return None

    def _grade_for(self, item: Item, segment: Segment, concept: FindingConcept) -> Graded | None:
        low = bisect_left(self.grades, segment.start, key=lambda g: g.start)
        best: tuple[int, Graded] | None = None
        for grade in self.grades[low:]:
            if grade.start >= segment.end:
                break
            if grade.start in self.measured:
                continue
            fits = bool(concept.grade_out_of) or grade.out_of is None
            if not fits:
                continue
            distance = item.start - grade.end if grade.end <= item.start else grade.start - item.end
            if distance <= 8 and (best is None or distance < best[0]):
                best = (distance, grade)
        if best is None or (not concept.grade_out_of and best[0] > 2):
            return None
        return best[1]

    def _size_for(self, item: Item, segment: Segment, concept: FindingConcept) -> Sized | None:
        if concept.nature != "abnormal":
            return None
        low = bisect_left(self.sizes, max(0, segment.start - 12), key=lambda s: s.start)
        for size in self.sizes[low:]:
            if size.start >= segment.end + 12:
                break
            near = size.end - item.start if size.end <= item.start else size.start - item.end
            if item.entry.kind != "noun" and not 0 <= near <= 3:
                continue  # an adjective has only the size right after it ("enlarged, fifteen mil")
            if abs(near) <= 12 and not any(
                w in (".", "!", "?")
                for w in self.norms[min(size.start, item.start) : max(size.end, item.end)]
            ):
                return size
        return None

    def _modifiers(self, item: Item, segment: Segment) -> tuple[str, ...]:
        if item.entry.kind != "noun":
            return ()
        cues = self._cues("quality", max(segment.start, item.start - 8), min(segment.end, item.end + 6))
        words = []
        for cue in cues:
            if cue.end <= item.start:
                gap = self.norms[cue.end : item.start]
                if any(w in self.rules.denying or w == "or" or w in self.rules.copulas for w in gap):
                    continue
            words.append(" ".join(self.norms[cue.start : cue.end]))
        return tuple(dict.fromkeys(words))

    def _draft(
        self,
        item: Item,
        concept: FindingConcept,
        structure: str | None,
        side: str | None,
        segment: Segment,
        index: int,
        sentence: int,
    ) -> Draft:
        carried = structure is None
        system, structure = self._place(concept, structure, item)
        identifier = concept.id
        if concept.system == "any" and structure is not None and not (carried and system == "skin"):
            identifier = self.lexicon.compose(structure, concept.id)
            composed = self.lexicon.findings[identifier]
            if composed.system != "any":
                system = composed.system
        draft = Draft(
            identifier, system, structure, item.start, item.end, index, sentence, confidence=item.confidence
        )
        draft.side = (
            side or self._side_for(item, structure, segment) or self._limb_side(item, structure, segment)
        )
        draft.severity = self._severity(item, segment)
        draft.reported = segment.act is SpeechAct.REPORT or self._owner_told(identifier, index, segment)
        draft.past = self._is_past(item, segment)
        draft.grade = self._grade_for(item, segment, concept)
        draft.size = self._size_for(item, segment, concept)
        draft.modifiers = self._modifiers(item, segment)
        if self._is_possible(item, segment):
            draft.assertion = "possible"
        return draft

    def _owner_told(self, concept: str, index: int, segment: Segment) -> bool:
        """What a vet cannot see in the room, and whatever is said while the owner's words are still being told."""
        if segment.anchored and any(w == "i" for w in self.norms[segment.start : segment.end]):
            return False
        return concept in self.rules.told or (self.telling is not None and index - self.telling <= 4)
