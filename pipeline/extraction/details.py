"""What is said about a finding beside that it is there, and whether a loose word of approval is one at all."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace

from lexicon.schema import FindingConcept
from pipeline.extraction.assertion import Assertion
from pipeline.extraction.attributes import Graded, Sized
from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import Item
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import COMMA_MARKS


class Details(Assertion):
    """What is said about a finding beside that it is there, and whether a loose word of approval is one at all."""

    def _severity(self, item: Item, segment: Segment) -> str | None:
        for cue in reversed(self._cues("severity", max(segment.start, item.start - 8), item.start)):
            gap = self.norms[cue.end : item.start]
            if len(gap) <= 4 and not any(
                w in COMMA_MARKS or w in ("and", "no", "not", "or", "but") for w in gap
            ):
                return cue.group.value
        following = self._cues("severity", item.end, min(segment.end, item.end + 4))
        if following and all(
            w in ("is", "'s", "which", "but", "only") for w in self.norms[item.end : following[0].start]
        ):
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
                if any(w in ("no", "not", "or") or w in self.rules.copulas for w in gap):
                    continue
            words.append(" ".join(self.norms[cue.start : cue.end]))
        return tuple(dict.fromkeys(words))

    def _is_modifier_only(self, item: Item, items: list[Item], position: int) -> bool:
        """A quality beside the finding it describes ("a firm mobile lump", "the lump is soft")."""
        if not item.mention.is_predicate:
            return False
        quality = self.cues.get("quality", self.no_cues).starting_at(item.start)
        if quality is None or quality.end != item.end:
            return False
        concept = self.lexicon.findings[item.entry.id]
        if concept.system != "any" and not item.entry.in_focus:
            return self._more_of_the_same(item)
        following = items[position + 1] if position + 1 < len(items) else None
        if following is not None and following.entry.kind == "noun" and following.start - item.end <= 3:
            between = self.norms[item.end : following.start]
            parts = COMMA_MARKS | self.rules.prepositions | {"no", "not", "or"}
            described = self.lexicon.findings[following.entry.id].nature == "abnormal"
            if described and not any(word in parts for word in between):
                return True
        previous = items[position - 1] if position else None
        if previous is not None and previous.entry.kind == "noun" and previous.start >= item.start - 8:
            named = self.lexicon.findings[previous.entry.id]
            between = self.norms[previous.end : item.start]
            return named.nature == "abnormal" and not any(
                w in ("no", "not", "and", "but") for w in between[:-1]
            )
        return False

    def _only_qualities(self, segment: Segment, items: list[Item]) -> bool:
        """ "A fatty lump over the ribs, about two centimetres, soft and mobile": the qualities go to the lump."""
        last = self.out.drafts[-1] if self.out.drafts else None
        if not items or last is None or last.sentence != segment.sentence or segment.opener != "comma":
            return False
        concept = self.lexicon.findings[last.concept]
        of_last = all(i.entry.in_focus and self._system_of(i.entry) == last.system for i in items)
        if last.assertion == "absent" or not (
            last.size or concept.home == "skin" or last.system == "skin" or of_last
        ):
            return False
        qualities = self.cues.get("quality", self.no_cues)
        cues = [qualities.starting_at(item.start) for item in items]
        if not all(
            cue is not None and item.mention.is_predicate for cue, item in zip(cues, items, strict=True)
        ):
            return False
        last.modifiers = (*last.modifiers, *(" ".join(self.norms[i.start : i.end]) for i in items))
        return True

    def _more_of_the_same(self, item: Item) -> bool:
        """ "A small umbilical hernia, reducible": the quality's own concept is the finding just named."""
        last = self.out.drafts[-1] if self.out.drafts else None
        if last is None or last.concept != item.entry.id or item.start - last.end > 6:
            return False
        last.modifiers = (*last.modifiers, " ".join(self.norms[item.start : item.end]))
        return True

    def _other_side(self, index: int, segment: Segment, items: list[Item]) -> bool:
        """ "Both patellas luxate, left grade two, right grade three"; "no murmur on the left, grade two on the right".

        A side with a degree of its own and no finding speaks of the finding before: it gives that finding its side, or makes
        a further one of the other side.
        """
        sides = self._sides(segment.start, segment.end)
        if items or len(sides) != 1 or segment.opener == "sentence":
            return False
        grade = next((g for g in self.grades if segment.start <= g.start < segment.end), None)
        severity = next((c.group.value for c in self._cues("severity", segment.start, segment.end)), None)
        last = [d for d in self._last_drafts(segment) if d.sentence == segment.sentence]
        if not last or (grade is None and severity is None) or (grade and grade.start in self.measured):
            return False
        old, side = last[-1], self._side_value(sides[0])
        concept = self.lexicon.findings[old.concept]
        if concept.nature != "abnormal" or (grade is not None and not concept.grade_out_of):
            return False
        if (
            old.assertion != "absent"
            and old.side in (None, "both")
            and old.grade is None
            and grade is not None
        ):
            old.side, old.grade = side, grade
            return True
        if old.side == side:
            return False
        new = replace(old, segment=index, side=side, grade=grade, severity=severity, assertion="present")
        self.out.drafts.append(new)
        return True

    def _side_after(self, segment: Segment, items: list[Item]) -> bool:
        """ "Moderate tartar, upper left.": a side said on its own goes to the finding before."""
        sides = self._sides(segment.start, segment.end)
        if not sides or any(not item.is_structure for item in items):
            return False
        last = [d for d in self._last_drafts(segment) if d.sentence == segment.sentence]
        if segment.opener != "comma" or all(d.side is not None for d in last):
            if not items and segment.end - segment.start <= 4:
                self.leading_side = self.focus.side = self._side_value(sides[0])
            return False
        structures = [item.entry.id for item in items]
        for draft in last:
            fits = all(
                self.lexicon.structures[s].system == draft.system or draft.system == "skin"
                for s in structures
            )
            if draft.side is None and fits:
                draft.side = self._side_value(sides[0])
                draft.structure = draft.structure or (structures[0] if structures else None)
        return bool(last)

    def _doubts(self, segment: Segment) -> bool:
        """ "…, not sure", "… but can't rule one out": a doubt that ends its clause is about what was said before."""
        cues = self._cues("possible_after", segment.start, segment.end)
        return bool(cues) and cues[0].end >= segment.end - 1

    def _detail_after(self, segment: Segment, items: list[Item]) -> bool:
        """ "A murmur, grade four of six", "tartar, moderate": a degree on its own goes to the finding before."""
        if segment.opener not in ("comma", "contrast", "and") or any(not item.is_structure for item in items):
            return False
        nearest = [d for d in self._last_drafts(segment) if d.sentence == segment.sentence]
        if self._doubts(segment) and nearest:
            nearest[-1].assertion = "possible"
            return True
        last = [d for d in nearest if d.assertion != "absent"]
        grade = next(
            (
                g
                for g in self.grades
                if segment.start <= g.start < segment.end and g.start not in self.measured
            ),
            None,
        )
        severities = self._cues("severity", segment.start, segment.end)
        used = False
        for draft in last:
            concept = self.lexicon.findings[draft.concept]
            if grade is not None and draft.grade is None and concept.grade_out_of:
                draft.grade, used = grade, True
            if (
                severities
                and draft.severity is None
                and concept.nature == "abnormal"
                and severities[0].start == segment.start
            ):
                draft.severity, used = severities[0].group.value, True
        return used

    def _verdict_stands(self, item: Item, items: list[Item], position: int, segment: Segment) -> bool:
        """Loose words of approval need a subject, or they are talk ("Good. Lovely.")."""
        words = " ".join(self.norms[item.start : item.end])
        if words not in self.rules.weak:
            return True
        following = items[position + 1] if position + 1 < len(items) else None
        if following is not None:
            gap = self.norms[item.end : following.start]
            light = all(word in self.rules.degrees or word in ("and", "looking") for word in gap)
            if light and not following.is_structure and following.mention.is_predicate:
                # "nice and relaxed" is one verdict; "soft and comfortable" are two.
                loose = words in self.rules.praise and self.lexicon.findings[item.entry.id].nature == "normal"
                return not loose and self._structure_before(item, items) is not None
            if light and following.is_structure:
                return True
        nxt = self.norms[item.end] if item.end < segment.end else ""
        begins_next = following is not None and following.start == item.end
        free = nxt in self.rules.may_follow or begins_next or self._position_cue(item.end) is not None
        if nxt.isalpha() and not free:
            return False
        if self._structure_before(item, items) is not None or self.pending:
            return True
        if self.norms[segment.start] in self.rules.possessive_subjects | {"and"} and any(
            w in self.rules.possessive_subjects for w in self.norms[segment.start : segment.start + 2]
        ):
            return self.focus.system is not None
        if self._subject_pronoun(item, segment) or self._side_subject(item, segment):
            return self.focus.system is not None
        if words not in self.rules.praise and self._said_of_patient(item):
            return True
        concept = self.lexicon.findings[item.entry.id]
        alone = item.start == segment.start
        # "Clear." or "Soft, comfortable." right after the part was named.
        strong_alone = words not in self.rules.praise
        near = self.focus.system is not None and segment.sentence - self.focus.sentence <= 1
        negated = self.negation is not None or self.norms[max(segment.start, item.start - 1)] in ("no", "not")
        if concept.nature != "normal":
            return near or negated or not alone
        return strong_alone and near

    def _position_cue(self, token: int) -> Cue | None:
        for kind in ("side", "anchor", "now", "past", "possible_after", "act", "terminator"):
            if (cue := self.cues.get(kind, self.no_cues).starting_at(token)) is not None:
                return cue
        return None
