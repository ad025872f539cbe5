"""Corrections by voice: the last statement is withdrawn, or its side, part, grade or finding is replaced."""

from __future__ import annotations

from dataclasses import replace

from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import Draft, Withdrawal
from pipeline.extraction.segments import Segment
from pipeline.extraction.verdicts import Verdicts


class Corrections(Verdicts):
    """Corrections by voice: the last statement is withdrawn, or its side, part, grade or finding is replaced."""

    def _corrects(self, index: int, segment: Segment) -> bool:
        """Carry out a withdrawal or a correction; True when the segment holds nothing else."""
        withdrawals = self._cues("withdraw", segment.start, segment.end)
        if withdrawals:
            cue = withdrawals[0]
            if not self._number_corrected(cue):
                self._withdraw(cue, segment, int(cue.group.value or "1"))
            return cue.end >= segment.end
        cue_or_none = self._replacing(segment)
        if cue_or_none is not None:
            self.correcting = cue_or_none
            self.leading_side = None
            if cue_or_none.end >= segment.end:
                return True
        if self.correcting is None:
            return False
        return self._revise(index, segment, self.correcting)

    def _number_corrected(self, cue: Cue) -> bool:
        """The measured value before the cue has been replaced by one after it already."""
        return any(r.superseded and cue.start - 3 <= r.end <= cue.start for r, _ in self.out.readings) or any(
            cue.end <= r.start <= cue.end + 3 and not r.superseded
            for r in self.analysis.readings[-1:]
            if r.superseded
        )

    def _replacing(self, segment: Segment) -> Cue | None:
        """A cue of correction at the beginning of a segment; a lone "no" needs a pause on both sides."""
        cue = self.cues.get("replace", self.no_cues).starting_at(segment.start)
        if cue is None or cue.end > segment.end or not self.out.drafts:
            return None
        words = self.norms[cue.start : cue.end]
        if words in (["no"], ["nope"], ["rather"], ["actually"]):
            alone = cue.end == segment.end
            answers = segment.start > 1 and self.norms[segment.start - 1] in ("?",)
            return cue if alone and not answers and words != ["actually"] else None
        return cue

    def _revise(self, index: int, segment: Segment, cue: Cue) -> bool:
        """The segment after a correction: new side, part, grade or severity for the last finding, or a new finding in its place."""
        self.correcting = None
        last = self._last_drafts(segment)
        if not last:
            return False
        start = max(segment.start, cue.end) if cue.start >= segment.start else segment.start
        if cue.end < segment.start and segment.start - cue.end > 14:
            return False
        mentions = self._unmeasured(start, segment.end)
        findings = [
            m for m in mentions if (not m.is_structure and not m.entries[0].in_focus) or m.is_predicate
        ]
        if findings:
            self.replaceable = (last, cue, index)
            return False
        side = next((c.group.value for c in self._cues("side", start, segment.end)), None)
        structures = [m for m in mentions if m.is_structure]
        size = self._size_within(start, segment.end)
        grade = next(iter(self._grades_within(start, segment.end)), None)
        severity = next((c.group.value for c in self._cues("severity", start, segment.end)), None)
        affirmed = bool(self._cues("affirmed", start, segment.end))
        if (
            side is None
            and not structures
            and grade is None
            and severity is None
            and size is None
            and not affirmed
        ):
            if segment.sentence == last[-1].sentence and index - last[-1].segment <= 3:
                self.correcting = cue
            return False
        for old in last:
            if side is not None and old.side == side and not (structures or grade or severity or size):
                continue
            new = replace(old, segment=index, sentence=segment.sentence)
            new.side = side or old.side
            new.grade = grade or old.grade
            new.severity = severity or old.severity
            new.size = size or old.size
            if affirmed and old.assertion == "absent":
                new.assertion = "possible" if self._cues("possible_before", start, segment.end) else "present"
            if structures and (entry := structures[0].entries[0]).kind == "structure":
                same_system = self.lexicon.structures[entry.id].system == old.system
                new.structure = entry.id if same_system else old.structure
            self._supersede(old, cue)
            self.out.drafts.append(new)
        if side is not None:
            self.focus.side = side
        return True

    def _replace_by(self, new: Draft) -> None:
        """A finding said right after a correction replaces the like one before it."""
        if self.replaceable is None:
            return
        last, cue, index = self.replaceable
        if new.segment - index > 1:
            self.replaceable = None
            return
        for old in last:
            if old.superseded or old is new:
                continue
            natures = self.lexicon.findings
            same = old.concept == new.concept or (
                old.system == new.system
                and (old.structure == new.structure or old.structure is None or new.structure is None)
                and (natures[old.concept].nature == natures[new.concept].nature or old.end >= cue.start - 6)
            )
            if same:
                if new.side is None and old.concept == new.concept:
                    new.side = old.side
                self._supersede(old, cue)

    def _supersede(self, old: Draft, cue: Cue) -> None:
        old.superseded = True
        words = self.analysis.words(old.start, old.end)
        self.out.withdrawals.append(Withdrawal(cue.start, cue.end, old.concept, f"'{words}' was corrected."))

    def _withdraw(self, cue: Cue, segment: Segment, count: int) -> None:
        facts = [d for d in self.out.drafts if not d.superseded]
        taken = 0
        last_segment: int | None = None
        for draft in reversed(facts):
            if last_segment is not None and draft.segment != last_segment:
                taken += 1
                if taken >= count:
                    break
            last_segment = draft.segment
            if segment.sentence - draft.sentence > 2 + count:
                break
            draft.superseded = True
            self.out.withdrawals.append(
                Withdrawal(
                    cue.start,
                    cue.end,
                    draft.concept,
                    f"'{self.analysis.words(draft.start, draft.end)}' was taken back.",
                )
            )
        last_fact = max((d.end for d in facts), default=-1)
        readings = [r for r, _ in self.out.readings if not r.superseded and r.end <= cue.start]
        if readings and readings[-1].start > last_fact:
            for draft in facts:
                draft.superseded = False
            self.out.withdrawals = [w for w in self.out.withdrawals if w.start != cue.start]
            readings[-1].superseded = True
            self.out.withdrawals.append(
                Withdrawal(
                    cue.start,
                    cue.end,
                    readings[-1].kind,
                    f"The {readings[-1].kind} just said was taken back.",
                )
            )
