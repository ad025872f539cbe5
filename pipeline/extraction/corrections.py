"""Corrections by voice: the side, part, grade or severity of the last finding is replaced, or the finding itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.extraction.attributes import Graded, Sized
from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import Draft, Replaceable, Withdrawal
from pipeline.extraction.mentions import Mention
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import SENTENCE_MARKS
from pipeline.extraction.withdrawals import Withdrawals

_REACH = 14  # tokens between the words of correction and what replaces


@dataclass(frozen=True, slots=True)
class _Revision:
    """What a segment after a correction says anew about the last finding."""

    side: str | None
    structures: list[Mention]
    grade: Graded | None
    severity: str | None
    size: Sized | None
    affirmed: bool

    def contradicts(self) -> bool:
        """More than a side or a part, which after "actually" corrects nothing."""
        return bool(self.grade or self.severity or self.affirmed)

    def says_anything(self) -> bool:
        return bool(self.side or self.structures or self.grade or self.severity or self.size or self.affirmed)


class Corrections(Withdrawals):
    """Corrections by voice: the side, part, grade or severity of the last finding is replaced, or the finding itself."""

    def _corrects(self, index: int, segment: Segment) -> bool:
        """Carry out a withdrawal or a correction; True when the segment holds nothing else."""
        if (cue := self._withdraws(segment)) is not None:
            # "Scratch that, the right eye.": what was taken back is said anew.
            self.correcting = cue if cue.group.value == "1" else None
            return cue.end >= segment.end or cue.group.value == "named"
        cue_or_none = self._replacing(segment)
        found = self.out.drafts[-1].sentence == segment.sentence if self.out.drafts else False
        if cue_or_none is not None and self.pending and not found:
            # "Left ear, no, right ear has a polyp": the part just named is taken back, and no finding before it.
            self.pending, self.leading_side = [], None
            return cue_or_none.end >= segment.end
        if cue_or_none is not None:
            self.correcting = cue_or_none
            self.leading_side = None
            if cue_or_none.end >= segment.end:
                return True
        if self.correcting is None:
            return False
        return self._revise(index, segment, self.correcting)

    def _replacing(self, segment: Segment) -> Cue | None:
        """A cue of correction at the beginning of a segment; a lone "no" needs a pause on both sides."""
        start = segment.start
        while start < segment.end - 1 and self.norms[start] in self.rules.before_weak:
            start += 1  # "but no", "oh no"
        cue = self.cues.get("replace", self.no_cues).starting_at(start)
        if cue is None or cue.end > segment.end or not self.out.drafts:
            return None
        if self._is_weak(cue):
            # "Cough on tracheal pinch, no." denies; only what goes on corrects.
            following = self.norms[cue.end] if cue.end < len(self.norms) else "."
            ends = following in SENTENCE_MARKS and segment.opener == "comma"
            alone = cue.end == segment.end and not ends
            answers = segment.start > 1 and self.norms[segment.start - 1] == "?"
            restates = self._restates(cue) or self._says_side(cue.end)
            return cue if (alone and not answers) or restates else None
        return cue

    def _is_weak(self, cue: Cue) -> bool:
        """ "No", "actually": in conversation these seldom correct."""
        return cue.end - cue.start == 1 and self.norms[cue.start] in self.rules.weak_corrections

    def _restates(self, cue: Cue) -> bool:
        """ "Actually, there is a murmur": the word for second thoughts."""
        return self.norms[cue.start] == "actually"

    def _says_side(self, token: int) -> bool:
        """ "No the right side": a side right after, with nothing that could be denied."""
        at = token + (token < len(self.norms) and self.norms[token] == "the")
        return any(
            c.start == at and c.group.value in ("left", "right") for c in self._cues("side", at, at + 1)
        )

    def _to_revise(self, segment: Segment, cue: Cue) -> list[Draft]:
        """The findings that a correction can mean: those just taken back by it, else the last ones."""
        if cue.kind == "withdraw":
            taken = {w.about for w in self.out.withdrawals if w.start == cue.start}
            back = [d for d in self.out.drafts if d.superseded and d.concept in taken]
            return [d for d in back if d.segment == back[-1].segment]
        return self._last_drafts(segment)

    def _revise(self, index: int, segment: Segment, cue: Cue) -> bool:
        """The segment after a correction: new side, part, grade or severity for the last finding, or a new finding in its place."""
        self.correcting = None
        last = self._to_revise(segment, cue)
        if not last or (cue.end < segment.start and segment.start - cue.end > _REACH):
            return False
        start = max(segment.start, cue.end) if cue.start >= segment.start else segment.start
        if self._explained_away(start, segment, cue, last):
            return False
        revision = self._revision(start, segment)
        if revision.grade is None and (grade := self._bare_grade(start, segment, last)) is not None:
            revision = replace(revision, grade=grade)
        findings = [
            m
            for m in self._unmeasured(start, segment.end)
            if (not m.is_structure and not m.entries[0].in_focus) or m.is_predicate
        ]
        if findings and not self._only_affirms(findings, last, revision):
            if cue.kind != "withdraw":
                self.replaceable = Replaceable(last, cue, index, weak=self._restates(cue))
            return False
        if not revision.says_anything() or (self._restates(cue) and not revision.contradicts()):
            if segment.sentence == last[-1].sentence and index - last[-1].segment <= 3:
                self.correcting = cue
            return False
        revised = [pair for old in last if (pair := self._revised(old, revision, index, segment, start))]
        for old, new in revised:
            self._supersede(old, cue)
            self.out.drafts.append(new)
        if revised and revision.side is not None:
            self.focus.side = revision.side
        return bool(revised)

    def _bare_grade(self, start: int, segment: Segment, last: list[Draft]) -> Graded | None:
        """ "A grade two murmur, no, I'd call that a three": a number alone, where a grade is corrected."""
        graded = next((draft.grade for draft in last if draft.grade is not None), None)
        numbers = self.analysis.numbers_within(start, segment.end)
        alone = len(numbers) == 1 and numbers[0].end == segment.end and numbers[0].start not in self.measured
        if graded is None or not alone or numbers[0].value > (graded.out_of or 6):
            return None
        return Graded(numbers[0].start, numbers[0].end, numbers[0].value, graded.out_of)

    def _explained_away(self, start: int, segment: Segment, cue: Cue, last: list[Draft]) -> bool:
        """ "Something hard, no, that is only stool": what was thought to be found is taken back; the clause may find its own."""
        words = self.norms[start : segment.end]
        says_what = len(words) > 2 and words[0] in self.rules.explaining and words[1] in self.rules.copulas
        denies = any(word in ("no", "nope") for word in self.norms[cue.start : cue.end])
        revision = self._revision(start, segment)
        if not (says_what and denies) or revision.contradicts() or revision.side or revision.size:
            return False
        thought = [
            draft
            for draft in last
            if draft.sentence == segment.sentence
            and draft.assertion != "absent"
            and self.lexicon.findings[draft.concept].nature == "abnormal"
        ]
        for draft in thought:
            self._supersede(draft, cue)
        return bool(thought)

    def _revision(self, start: int, segment: Segment) -> _Revision:
        end = segment.end
        mentions = self._unmeasured(start, end)
        return _Revision(
            side=next((self._side_value(c) for c in self._sides(start, end)), None),
            structures=[m for m in mentions if m.is_structure],
            grade=next(iter(self._grades_within(start, end)), None),
            severity=next((c.group.value for c in self._cues("severity", start, end)), None),
            size=self._size_within(start, end),
            affirmed=bool(self._cues("affirmed", start, end)),
        )

    def _only_affirms(self, findings: list[Mention], last: list[Draft], revision: _Revision) -> bool:
        """ "No, hang on, there is a soft one": an adjective of the finding that was denied, no finding of its own."""
        denied = any(draft.assertion == "absent" for draft in last)
        pronoun = any(self.norms[m.end : m.end + 1] == ["one"] for m in findings)
        return denied and revision.affirmed and pronoun

    def _revised(
        self, old: Draft, revision: _Revision, index: int, segment: Segment, start: int
    ) -> tuple[Draft, Draft] | None:
        """(old, new) where the revision changes a finding; None where it cannot be of this one."""
        new = replace(old, segment=index, sentence=segment.sentence, superseded=False)
        new.side = revision.side or old.side
        new.grade = revision.grade or old.grade
        new.severity = revision.severity or old.severity
        new.size = revision.size or old.size
        if revision.affirmed and old.assertion == "absent":
            doubted = self._cues("possible_before", start, segment.end)
            new.assertion = "possible" if doubted else "present"
        if revision.structures and not self._move(new, revision.structures[0]) and revision.side is None:
            return None
        normal = self.lexicon.findings[old.concept].nature == "normal"
        if normal and old.side is None and not (revision.structures or revision.contradicts()):
            return None  # "heart sounds normal. Sorry, the right": no side was said that could be replaced
        unchanged = replace(old, segment=index, sentence=segment.sentence, superseded=False)
        return (old, new) if new != unchanged else None

    def _move(self, draft: Draft, part: Mention) -> bool:
        """Give a finding another part: a general one goes anywhere, another one only within its system."""
        entry = part.entries[0]
        structure = self.lexicon.structures[entry.id]
        general = next(
            (g for (_, g), c in self.lexicon.composed.items() if c == draft.concept), draft.concept
        )
        composed = self.lexicon.compose(entry.id, general)
        if self.lexicon.findings[general].system != "any" or composed == general != draft.concept:
            if structure.system == draft.system:
                draft.structure = entry.id
            return structure.system == draft.system
        draft.concept = composed
        moved = self.lexicon.findings[draft.concept]
        on_surface = structure.system in moved.surface_of  # a wart on the elbow is of the skin
        draft.system = (
            moved.system if moved.system != "any" else moved.home if on_surface else structure.system
        )
        draft.structure = entry.id
        return True

    def _replace_by(self, new: Draft) -> None:
        """A finding said right after a correction replaces the like one before it."""
        meant = self.replaceable
        if meant is None:
            return
        if new.segment - meant.index > 1:
            self.replaceable = None
            return
        for old in meant.drafts:
            if old is new or old.superseded:
                continue
            same = self._contradicts(old, new) if meant.weak else self._takes_place_of(old, new, meant)
            if same:
                if new.side is None and old.concept == new.concept:
                    new.side = old.side
                self._supersede(old, meant.cue)

    def _takes_place_of(self, old: Draft, new: Draft, meant: Replaceable) -> bool:
        """The same finding, another of the same part, or one of any system said in one breath with the words of correction."""
        natures = self.lexicon.findings
        alike = natures[old.concept].nature == natures[new.concept].nature
        if old.concept == new.concept:
            return True
        if old.system == new.system:
            parts = (old.structure, new.structure)
            near = None in parts or self._related(parts[0] or "", parts[1])
            if near and (alike or old.end >= meant.cue.start - 6):
                return True
        in_one_breath = old.end >= meant.cue.start - 2 and new.start <= meant.cue.end + 3
        added = any(w in self.rules.joining for w in self.norms[meant.cue.end : new.start])
        return in_one_breath and alike and not added and old.assertion == new.assertion

    def _contradicts(self, old: Draft, new: Draft) -> bool:
        """The same finding said otherwise: there or not, how much, which grade."""
        if old.concept != new.concept or (new.side is not None and old.side not in (None, new.side)):
            return False
        return (
            old.assertion != new.assertion
            or (new.severity is not None and old.severity not in (None, new.severity))
            or (new.grade is not None and old.grade is not None and old.grade.value != new.grade.value)
        )

    def _supersede(self, old: Draft, cue: Cue) -> None:
        if old.superseded:
            return  # taken back already
        old.superseded = True
        words = self.analysis.words(old.start, old.end)
        self.out.withdrawals.append(Withdrawal(cue.start, cue.end, old.concept, f"'{words}' was corrected."))
