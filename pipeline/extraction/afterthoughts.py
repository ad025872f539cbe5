"""What a later segment adds to the findings before it: a side, a degree, a grade, qualities, doubt."""

from __future__ import annotations

from dataclasses import replace

from pipeline.extraction.attributes import Graded
from pipeline.extraction.details import Details
from pipeline.extraction.drafts import Draft, Item
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import SENTENCE_MARKS

_LONGEST_SENTENCE = 60  # tokens back to the mark that a sentence begins after


class Afterthoughts(Details):
    """What a later segment adds to the findings before it: a side, a degree, a grade, qualities, doubt."""

    def _only_qualities(self, segment: Segment, items: list[Item]) -> bool:
        """ "A fatty lump over the ribs, about two centimetres, soft and mobile": the qualities go to the lump."""
        last = self.out.drafts[-1] if self.out.drafts else None
        if not items or last is None or not self._goes_on_about(last, segment):
            return False
        concept = self.lexicon.findings[last.concept]
        side = self._first_side(segment)
        if concept.nature == "normal" or (side is not None and side != last.side):
            return False  # "left ear's fine, right's waxy"
        of_last = all(i.entry.in_focus and self._system_of(i.entry) == last.system for i in items)
        described = last.size or concept.home == "skin" or last.system == "skin" or concept.grade_out_of
        if last.assertion == "absent" or not (described or of_last):
            return False
        qualities = self.cues.get("quality", self.no_cues)
        cues = [qualities.starting_at(item.start) for item in items]
        if not all(
            cue is not None and item.mention.is_predicate for cue, item in zip(cues, items, strict=True)
        ):
            return False
        last.modifiers = (*last.modifiers, *(" ".join(self.norms[i.start : i.end]) for i in items))
        self._size_later(last, segment)
        return True

    def _size_after(self, segment: Segment, items: list[Item]) -> bool:
        """ "An umbilical hernia, tiny": a word of size after something wrong says how much of it there is."""
        last = self.out.drafts[-1] if self.out.drafts else None
        if len(items) != 1 or items[0].is_structure or last is None or last.assertion == "absent":
            return False
        size = self.cues.get("severity", self.no_cues).starting_at(items[0].start)
        named = self.lexicon.findings[last.concept].nature == "abnormal"
        neutral = self.lexicon.findings[items[0].entry.id].nature == "neutral"
        alone = segment.end - segment.start == items[0].end - items[0].start
        if not (named and neutral and alone and self._goes_on_about(last, segment)):
            return False
        if size is not None:
            last.severity = last.severity or size.group.value
        else:
            last.modifiers = (*last.modifiers, " ".join(self.norms[segment.start : segment.end]))
        return True

    def _goes_on_about(self, last: Draft, segment: Segment) -> bool:
        """Whether a segment speaks on about the finding before: after a comma, or in a sentence that begins "It's"."""
        if last.sentence == segment.sentence:
            return segment.opener == "comma"
        named = self.lexicon.findings[last.concept].nature == "abnormal" and last.assertion != "absent"
        next_sentence = named and segment.sentence - last.sentence == 1
        return next_sentence and self.norms[self._sentence_start(segment)] in self.rules.going_on

    def _sentence_start(self, segment: Segment) -> int:
        """First token of a segment's sentence; that of the segment itself where no mark is near."""
        for start in range(segment.start, max(0, segment.start - _LONGEST_SENTENCE), -1):
            if self.norms[start - 1] in SENTENCE_MARKS:
                return start
        return segment.start if segment.start > _LONGEST_SENTENCE else 0

    def _size_later(self, last: Draft, segment: Segment) -> bool:
        """ "A mass on the flank. It's about a centimetre."."""
        size = self._size_within(segment.start, segment.end)
        if size is None or last.size is not None or last.assertion == "absent":
            return False
        last.size = size
        return True

    def _placed_later(self, last: Draft, segment: Segment, items: list[Item]) -> bool:
        """ "There's a lump here. It's just behind the left elbow.": where a lump is that was named without a place."""
        if last.structure is not None or last.system != "skin" or not items:
            return False
        last.structure, last.side = items[0].entry.id, last.side or self._side_at(items[0], segment)
        return True

    def _qualities_after(self, segment: Segment) -> bool:
        """ "…, freely mobile", "…, systolic": words of quality that name nothing go to the finding before."""
        last = self.out.drafts[-1] if self.out.drafts else None
        cues = self._cues("quality", segment.start, segment.end)
        if last is None or not cues or not self._goes_on_about(last, segment) or last.assertion == "absent":
            return False
        if self.lexicon.findings[last.concept].nature != "abnormal":
            return False
        words = (" ".join(self.norms[cue.start : cue.end]) for cue in cues)
        last.modifiers = tuple(dict.fromkeys((*last.modifiers, *words)))
        return True

    def _more_of_the_same(self, item: Item) -> bool:
        """ "A small umbilical hernia, reducible": the quality's own concept is the finding just named."""
        last = self.out.drafts[-1] if self.out.drafts else None
        if last is None or last.concept != item.entry.id or item.start - last.end > 6:
            return False
        last.modifiers = (*last.modifiers, " ".join(self.norms[item.start : item.end]))
        return True

    def _compares_sides(self, segment: Segment, items: list[Item]) -> bool:
        """ "Tartar both sides, worse on the left", "both swollen, left more than right": no finding of its own."""
        words = self.norms[segment.start : segment.end]
        at = next((n for n, word in enumerate(words) if word in self.rules.comparatives), None)
        last = [
            d
            for d in self._last_drafts(segment)
            if d.sentence == segment.sentence and d.assertion != "absent"
        ]
        if at is None or not last or not self._sides(segment.start, segment.end):
            return False
        if not self._says_only(segment, items, self.rules.comparatives) or segment.opener == "sentence":
            return False
        abnormal = [d for d in last if self.lexicon.findings[d.concept].nature == "abnormal"]
        for draft in abnormal:
            draft.side = draft.side or "both"
            draft.modifiers = (*draft.modifiers, self.analysis.words(segment.start, segment.end))
        return bool(abnormal)

    def _says_only(self, segment: Segment, items: list[Item], allowed: frozenset[str]) -> bool:
        """Whether a segment holds nothing but sides, parts and words of a small class."""
        covered = {t for c in self._sides(segment.start, segment.end) for t in range(c.start, c.end)}
        covered |= {t for item in items if item.is_structure for t in range(item.start, item.end)}
        return all(
            token in covered or word in allowed or word in self.rules.on_either_hand
            for token, word in enumerate(self.norms[segment.start : segment.end], start=segment.start)
        )

    def _same_there(self, index: int, segment: Segment, items: list[Item]) -> bool:
        """ "…, and the same on the other side", "right eye the same": the findings before, once more, of that side."""
        words = self.norms[segment.start : segment.end]
        at = next((n for n, word in enumerate(words) if word in self.rules.alike), None)
        side = self._first_side(segment)
        if (
            at is None
            or side not in ("left", "right")
            or not self._says_only(segment, items, self.rules.alike)
        ):
            return False
        last = [d for d in self._last_drafts(segment) if d.side != side and not d.past]
        start = segment.start + at
        self.out.drafts += [
            replace(d, side=side, segment=index, sentence=segment.sentence, start=start, end=start + 1)
            for d in last
        ]
        return bool(last)

    def _more_teeth(self, index: int, segment: Segment, items: list[Item]) -> bool:
        """ "Missing 105, 205 and 305": the teeth after the comma are missing too."""
        teeth = [self.teeth[item.start] for item in items if item.start in self.teeth]
        last = self._last_drafts(segment)
        if not teeth or len(teeth) != len(items) or segment.opener != "comma" or not last:
            return False
        old = last[-1]
        if old.sentence != segment.sentence or not any(m.startswith("tooth ") for m in old.modifiers):
            return False
        kept = tuple(m for m in old.modifiers if not m.startswith("tooth "))
        for tooth in teeth:
            new = replace(old, segment=index, side=tooth.side, structure=tooth.structure)
            new.modifiers = (f"tooth {tooth.number}", *kept)
            self.out.drafts.append(new)
        return True

    def _each_side(self, index: int, segment: Segment, items: list[Item]) -> bool:
        """ "…, grade two out of four on the left and three out of four on the right": the finding before, of each side."""
        pairs = self._graded_sides(segment.start, segment.end)
        last = [d for d in self._last_drafts(segment) if d.sentence == segment.sentence]
        if len(pairs) < 2 or not last or any(not item.is_structure for item in items):
            return False
        self._grade_each(last[-1], pairs, index)
        return True

    def _graded_sides(self, start: int, end: int) -> list[tuple[Graded, str]]:
        """Grades in tokens start to end, each with the side said next to it; empty unless every grade has one of its own."""
        grades = self._grades_within(start, end)
        sides = [
            side for cue in self._sides(start, end) if (side := self._side_value(cue)) in ("left", "right")
        ]
        if len(grades) != len(sides) or len(set(sides)) < len(sides):
            return []
        return list(zip(grades, sides, strict=True))

    def _grade_each(self, draft: Draft, pairs: list[tuple[Graded, str]], index: int) -> None:
        scale = next((g.out_of for g, _ in pairs if g.out_of is not None), None)
        for number, (grade, side) in enumerate(pairs):
            scaled = replace(grade, out_of=grade.out_of or scale)
            if number == 0:
                draft.grade, draft.side = scaled, side
            else:
                self.out.drafts.append(replace(draft, grade=scaled, side=side, segment=index))

    def _other_side(self, index: int, segment: Segment, items: list[Item]) -> bool:
        """ "Both patellas luxate, left grade two, right grade three"; "no murmur on the left, grade two on the right".

        A side with a degree of its own and no finding speaks of the finding before: it gives that finding its side, or makes
        a further one of the other side.
        """
        sides = self._sides(segment.start, segment.end)
        if items or len(sides) != 1 or segment.opener == "sentence":
            return False
        grade = next(iter(self._grades_within(segment.start, segment.end)), None)
        severity = next((c.group.value for c in self._cues("severity", segment.start, segment.end)), None)
        last = [d for d in self._last_drafts(segment) if d.sentence == segment.sentence]
        words = self.norms[segment.start : segment.end]
        result = next((word for word in words if word in self.rules.opposites), None)
        told = grade is not None or severity is not None or result is not None
        if not last or not told:
            return False
        old, side = last[-1], self._side_value(sides[0])
        concept = self.lexicon.findings[old.concept]
        if concept.nature != "abnormal" or (grade is not None and not (concept.grade_out_of or grade.named)):
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
        if result == "negative":
            new.assertion = "absent"
        self.out.drafts.append(new)
        return True

    def _side_after(self, segment: Segment, items: list[Item]) -> bool:
        """ "Moderate tartar, upper left.": a side said on its own goes to the finding before."""
        sides = self._sides(segment.start, segment.end)
        if not sides or any(not item.is_structure for item in items):
            return False
        last = [d for d in self._last_drafts(segment) if d.sentence == segment.sentence]
        if segment.opener != "comma" or all(d.side is not None for d in last):
            alone = segment.end - segment.start <= 4 or self._is_subject(sides[0], segment)
            if not items and alone:
                # "Now the left. Red, swollen.": the part in focus goes on, on that side.
                self.leading_side = self.focus.side = self._side_value(sides[0])
                self.focus.sentence = segment.sentence
            return False
        if any(word in self.rules.copulas for word in self.norms[segment.start : segment.end]):
            return False  # "that's gingivitis, and the back tooth on the right has a hole in it"
        structures = [item.entry.id for item in items]
        # "Nails unremarkable bar a torn dewclaw, right fore": the side is that of what is wrong.
        wrong = [d for d in last if self.lexicon.findings[d.concept].nature == "abnormal"]
        if not wrong and not self._says_only(segment, items, self.rules.to_degree):
            return False  # "incisors level, a slight step on the right": of something that has no word here
        for draft in wrong or last:
            fits = all(
                self.lexicon.structures[s].system == draft.system or draft.system == "skin"
                for s in structures
            )
            if draft.side is None and fits:
                draft.side = self._side_value(sides[0])
                draft.structure = draft.structure or (structures[0] if structures else None)
                self.focus.side = draft.side
        return bool(last)

    def _doubts(self, segment: Segment) -> bool:
        """ "…, not sure", "… but can't rule one out": a doubt that ends its clause is about what was said before."""
        cues = self._cues("possible_after", segment.start, segment.end)
        return bool(cues) and cues[0].end >= segment.end - 1 and not self._estimates(cues[0].start)

    def _detail_after(self, segment: Segment, items: list[Item]) -> bool:
        """ "A murmur, grade four of six", "tartar, moderate": a degree on its own goes to the finding before."""
        if any(not item.is_structure for item in items):
            return False
        described = self._qualities_after(segment)
        before = self.out.drafts[-1] if self.out.drafts else None
        if (
            before is not None
            and before.sentence != segment.sentence
            and self._goes_on_about(before, segment)
        ):
            sized = self._size_later(before, segment)
            return self._placed_later(before, segment, items) or sized or described
        if segment.opener not in ("comma", "contrast", "and"):
            return described
        nearest = [d for d in self._last_drafts(segment) if d.sentence == segment.sentence]
        if self._doubts(segment) and nearest:
            nearest[-1].assertion = "possible"
            return True
        last = [d for d in nearest if d.assertion != "absent"]
        grade = next(iter(self._grades_within(segment.start, segment.end)), None)
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
        return used or described
