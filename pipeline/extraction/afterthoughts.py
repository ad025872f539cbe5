"""What a later segment adds to the findings before it: a side, a degree, a grade, qualities, doubt."""

from __future__ import annotations

from dataclasses import replace

from pipeline.extraction.details import Details
from pipeline.extraction.drafts import Item
from pipeline.extraction.segments import Segment


class Afterthoughts(Details):
    """What a later segment adds to the findings before it: a side, a degree, a grade, qualities, doubt."""

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
        words = self.norms[segment.start : segment.end]
        result = next((word for word in words if word in self.rules.opposites), None)
        told = grade is not None or severity is not None or result is not None
        if not last or not told or (grade is not None and grade.start in self.measured):
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
