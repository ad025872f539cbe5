"""What is said of a finding beside that it is there: degree, grade, size, qualities, and who says it."""

from __future__ import annotations

from bisect import bisect_left

from lexicon.schema import FindingConcept
from pipeline.extraction.assertion import Assertion
from pipeline.extraction.attributes import Graded, Sized
from pipeline.extraction.drafts import Draft, Item
from pipeline.extraction.mentions import Mention, mentions_within
from pipeline.extraction.model import SURE_ENOUGH, SpeechAct
from pipeline.extraction.segments import Segment
from pipeline.extraction.teeth import Tooth
from pipeline.extraction.tokens import COMMA_MARKS, MARKS, SENTENCE_MARKS


class Details(Assertion):
    """What is said of a finding beside that it is there: degree, grade, size, qualities, and who says it."""

    def _severity(self, item: Item, segment: Segment) -> str | None:
        for cue in reversed(self._cues("severity", max(segment.start, item.start - 8), item.start)):
            gap = self.norms[cue.end : item.start]
            if self._another_said(cue.end, item.start) or (gap and gap[0] in self.rules.articles):
                continue  # "a little crusty, teeth worn"; "heavy, a mass"
            if len(gap) <= 4 and not any(w in COMMA_MARKS or w in self.rules.degree_ends for w in gap):
                return cue.group.value
        following = self._cues("severity", item.end, min(segment.end, item.end + 4))
        if following and all(w in self.rules.to_degree for w in self.norms[item.end : following[0].start]):
            return following[0].group.value
        return None

    def _another_said(self, start: int, end: int) -> bool:
        """Whether a finding that is no mere quality is named in tokens start to end."""
        qualities = self.cues.get("quality", self.no_cues)
        return any(
            not m.is_structure and qualities.starting_at(m.start) is None
            for m in mentions_within(self.analysis.mentions, start, end)
        )

    def _grade_for(self, item: Item, segment: Segment, concept: FindingConcept) -> Graded | None:
        low = bisect_left(self.grades, segment.start, key=lambda g: g.start)
        best: tuple[int, Graded] | None = None
        for grade in self.grades[low:]:
            if grade.start >= segment.end:
                break
            if grade.start in self.measured or self._grades_what_follows(grade, item):
                continue
            fits = bool(concept.grade_out_of) or grade.out_of is None or grade.named
            if not fits:
                continue
            distance = item.start - grade.end if grade.end <= item.start else grade.start - item.end
            if distance <= 8 and (best is None or distance < best[0]):
                best = (distance, grade)
        if best is None or (not concept.grade_out_of and best[0] > 2):
            return None
        return best[1]

    def _grades_what_follows(self, grade: Graded, item: Item) -> bool:
        """ "A gallop and a grade two murmur": the grade is that of the finding right behind it."""
        following = mentions_within(self.analysis.mentions, grade.end, grade.end + 2)
        if not MARKS.isdisjoint(self.norms[grade.end : grade.end + 1]):
            return False
        graded = [
            m
            for m in following
            if any(
                e.id in self.lexicon.findings and self.lexicon.findings[e.id].grade_out_of for e in m.entries
            )
        ]
        return bool(graded) and item.end <= grade.start

    def _size_for(self, item: Item, segment: Segment, concept: FindingConcept) -> Sized | None:
        if concept.nature != "abnormal":
            return None
        low = bisect_left(self.sizes, max(0, segment.start - 12), key=lambda s: s.start)
        for size in self.sizes[low:]:
            if size.start >= segment.end + 12:
                break
            if self._sized_finding(size) == item.start:
                return size
        return None

    def _counts_one_more(self, at: int) -> bool:
        """ "A few lumps, one on the ribs": a word that stands for one more; "the left one" does not."""
        before = self.norms[at - 1]
        return self.norms[at] == "another" or (
            self.norms[at] == "one" and (before in COMMA_MARKS or before in ("and", "smaller", "bigger"))
        )

    def _sized_finding(self, size: Sized) -> int | None:
        """First token of the finding that a size belongs to: the noun it stands before, else the one named last."""
        after = [
            m
            for m in mentions_within(self.analysis.mentions, size.end, size.end + 6)
            if not m.is_structure and not m.is_predicate
        ]
        if after and not any(
            w in COMMA_MARKS or w in SENTENCE_MARKS or w in self.rules.prepositions or w in self.rules.copulas
            for w in self.norms[size.end : after[0].start]
        ):
            return after[0].start
        before = mentions_within(self.analysis.mentions, max(0, size.start - 14), size.start)
        for mention in reversed([m for m in before if not m.is_structure]):
            if not SENTENCE_MARKS.isdisjoint(self.norms[mention.end : size.start]):
                break
            if any(self._counts_one_more(at) for at in range(mention.end, size.start)):
                break  # the size is of one more, which is named by that word
            # An adjective has only the size right after it ("enlarged, fifteen mil").
            gap = [w for w in self.norms[mention.end : size.start] if w not in self.rules.before_size]
            near = len(gap) <= 3 and self._names_abnormality(mention)
            if near or not mention.is_predicate:
                return mention.start
        return (
            after[0].start
            if after and SENTENCE_MARKS.isdisjoint(self.norms[size.end : after[0].start])
            else None
        )

    def _names_abnormality(self, mention: Mention) -> bool:
        quality = self.cues.get("quality", self.no_cues).starting_at(mention.start)
        return quality is None and any(
            e.kind != "structure" and self.lexicon.findings[e.id].nature == "abnormal"
            for e in mention.entries
        )

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
        words += self._how_many(item)
        return tuple(dict.fromkeys(words))

    def _how_many(self, item: Item) -> list[str]:
        """ "Three small warts": the number as said, where it counts the finding itself."""
        start = item.start
        degrees = self.cues.get("severity", self.no_cues)
        while start > 0 and (
            self.norms[start - 1] in self.rules.between_count or degrees.starting_at(start - 1) is not None
        ):
            start -= 1
        numbers = self.analysis.numbers_within(max(0, start - 3), start)
        if not numbers or numbers[-1].end != start or numbers[-1].start in self.measured:
            return []
        number = numbers[-1]
        graded = any(g.end > number.start for g in self._grades_within(number.start - 4, number.end))
        whole = number.value == int(number.value) and 1 < number.value <= 50 and not graded
        plural = self.norms[item.end - 1].endswith("s")
        return [self.analysis.words(number.start, number.end)] if whole and plural else []

    def _tooth_numbers(self, item: Item, draft: Draft, segment: Segment) -> tuple[str, ...]:
        """The numbers of the teeth that a finding is said of: those named since the finding before, else those after it."""
        findings = [
            m
            for m in mentions_within(self.analysis.mentions, segment.start, segment.end)
            if not m.is_structure
        ]
        since = max((m.end for m in findings if m.end <= item.start), default=segment.start)
        until = min((m.start for m in findings if m.start >= item.end), default=segment.end)
        teeth = self._teeth_within(since, item.start) or self._teeth_within(item.end, until)
        own = [t for t in teeth if t.structure == draft.structure and t.side == draft.side] or teeth
        return tuple(f"tooth {tooth.number}" for tooth in own)

    def _teeth_within(self, start: int, end: int) -> list[Tooth]:
        return [self.teeth[token] for token in range(start, end) if token in self.teeth] if self.teeth else []

    def _lasting(self, item: Item, segment: Segment) -> tuple[str, ...]:
        """ "Coughing for about three weeks": how long, as said, where no other finding stands nearer."""
        low = bisect_left(self.durations, (segment.start, 0))
        for start, end in self.durations[low:]:
            if end > segment.end:
                break
            before = [
                m for m in mentions_within(self.analysis.mentions, segment.start, start) if not m.is_structure
            ]
            named = before[-1] if before else None
            if (named.start == item.start) if named is not None else (0 <= item.start - end <= 8):
                return (self.analysis.words(start, end),)
        return ()

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
        if structure is not None and not (carried and system == "skin"):
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
        earlier = self._past_cue(item, segment)
        draft.past = earlier is not None
        draft.reach("dates", earlier)
        draft.grade = self._grade_for(item, segment, concept)
        draft.size = self._size_for(item, segment, concept)
        draft.modifiers = self._modifiers(item, segment)
        if system == "mouth":
            draft.modifiers = (*self._tooth_numbers(item, draft, segment), *draft.modifiers)
        if concept.nature == "abnormal":
            draft.modifiers = (*draft.modifiers, *self._lasting(item, segment))
        if (doubt := self._doubt_cue(item, segment)) is not None:
            draft.assertion = "possible"
            draft.reach("doubts", doubt)
        if self._is_guess(item, identifier, segment):
            draft.confidence = min(draft.confidence, SURE_ENOUGH)
        return draft

    def _is_guess(self, item: Item, concept: str, segment: Segment) -> bool:
        """Whether a finding rests on little: somebody should look.

        Two kinds were wrong far more often than others when they were counted in annotated dictations, about one in three
        against one in twenty: something abnormal that no part of the body makes more precise ("pain", of the leg last
        spoken of), and a word that means this only in a system, where the clause names no part of it.
        """
        found = self.lexicon.findings[concept]
        if found.system == "any":
            return found.nature == "abnormal"
        if not all(entry.in_focus for entry in item.mention.entries):
            return False
        if self._sides(segment.start, segment.end):
            return False  # "right one's waxy": the side stands for the part
        said = mentions_within(self.analysis.mentions, segment.start, segment.end)
        return not any(mention.is_structure for mention in said)

    def _owner_told(self, concept: str, index: int, segment: Segment) -> bool:
        """What a vet cannot see in the room, and whatever is said while the owner's words are still being told."""
        if segment.anchored and any(w == "i" for w in self.norms[segment.start : segment.end]):
            return False
        if concept in self.rules.told:
            self.told_in = segment.sentence
            return True
        if self.headed == segment.sentence:
            return True
        if concept in self.rules.seen:
            return False
        # "Eating okay, no coughing or sneezing": in one breath with what only the owner can know.
        if self.told_in == segment.sentence and concept in self.rules.asked:
            return True
        return self.telling is not None and index - self.telling <= 4
