"""Statements taken back by voice: the last one, the last two, or those about a part that is named."""

from __future__ import annotations

from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import Draft, Withdrawal
from pipeline.extraction.measuring import Reading
from pipeline.extraction.mentions import mentions_within
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Segment
from pipeline.extraction.verdicts import Verdicts

_RECENT = 60  # findings back to the last statement
_REACH = 3  # sentences back to what can be meant
_NAMED_WITHIN = 5  # tokens after "scratch that about" in which the part is named
_LONGEST_JOIN = 4  # tokens between two findings of one statement


class Withdrawals(Verdicts):
    """Statements taken back by voice: the last one, the last two, or those about a part that is named."""

    def _withdraws(self, segment: Segment) -> Cue | None:
        """The cue of a withdrawal in a segment, carried out; "don't forget the worming" takes nothing back."""
        for cue in self._cues("withdraw", segment.start, segment.end):
            if cue.start and self.norms[cue.start - 1] in self.rules.not_withdrawing:
                continue
            if cue.group.value == "named":
                if not self._withdraw_named(cue):
                    continue
            elif self._goes_on_with_part(cue):
                continue  # "he can scratch that ear"
            elif not self._number_corrected(cue):
                for _ in range(int(cue.group.value or "1")):
                    self._withdraw_last(cue, segment)
            return cue
        return None

    def _goes_on_with_part(self, cue: Cue) -> bool:
        """ "Scratch that ear": "that" belongs to a part, and an animal scratches."""
        following = mentions_within(self.analysis.mentions, cue.end, cue.end + 1)
        return bool(following) and following[0].is_structure and self.norms[cue.end - 1] == "that"

    def _number_corrected(self, cue: Cue) -> bool:
        """The measured value before the cue has been replaced by one after it already."""
        return any(r.superseded and cue.start - 3 <= r.end <= cue.start for r, _ in self.out.readings)

    def _withdraw_named(self, cue: Cue) -> bool:
        """ "Scratch that about the ears", "forget the murmur": what was said of the part or finding, in its last sentence."""
        named = mentions_within(self.analysis.mentions, cue.end, cue.end + _NAMED_WITHIN)
        entries = {(entry.kind, entry.id) for mention in named[:1] for entry in mention.entries}
        concepts = {identifier for kind, identifier in entries if kind != "structure"}
        structures = {identifier for kind, identifier in entries if kind == "structure"}
        systems = {self.lexicon.structures[identifier].system for identifier in structures}
        meant = [
            draft
            for draft in self.out.drafts
            if not draft.superseded
            and (draft.concept in concepts or draft.structure in structures or draft.system in systems)
        ]
        exact = [d for d in meant if d.concept in concepts or d.structure in structures] or meant
        for draft in exact:
            if draft.sentence == exact[-1].sentence:
                self._take_back(draft, cue)
        return bool(exact)

    def _withdraw_last(self, cue: Cue, segment: Segment) -> None:
        """Take back the last statement: the findings said in one go, a value or a planned step, whichever came last."""
        recent = [draft for draft in self.out.drafts[-_RECENT:] if not draft.superseded]
        facts = sorted(recent, key=lambda draft: draft.start)
        readings = [r for r, _ in self.out.readings if not r.superseded and r.end <= cue.start]
        value = readings[-1] if readings else None
        last = facts[-1] if facts else None
        said_until = max(last.end if last else -1, value.end if value else -1)
        if self._withdraw_step(cue, segment, said_until):
            return
        if value is not None and (last is None or value.start > last.end):
            self._take_back_value(value, cue)
        elif last is not None and segment.sentence - last.sentence <= _REACH:
            for draft in self._said_with(last, facts):
                self._take_back(draft, cue)

    def _withdraw_step(self, cue: Cue, segment: Segment, said_until: int) -> bool:
        """ "Recheck in ten days. Scratch that.": a planned step, if nothing was stated after it."""
        steps = [
            s
            for s in self.analysis.segments
            if s.act is SpeechAct.PLAN
            and said_until <= s.start < cue.start
            and s.start not in self.out.undone
        ]
        if not steps or segment.sentence - steps[-1].sentence > _REACH:
            return False
        self.out.undone.add(steps[-1].start)
        words = self.analysis.words(steps[-1].start, min(steps[-1].end, cue.start))
        self.out.withdrawals.append(Withdrawal(cue.start, cue.end, "plan", f"'{words}' was taken back."))
        return True

    def _said_with(self, last: Draft, facts: list[Draft]) -> list[Draft]:
        """The findings said in one go with the last one: its segment, as far as no new subject or verb parts them."""
        statement = [last]
        for draft in reversed(facts[:-1]):
            first = statement[-1]
            if draft.segment != last.segment or first.start - draft.end > _LONGEST_JOIN:
                break
            gap = range(draft.end, first.start)
            if draft.end <= first.start and any(self._parts_statements(at) for at in gap):
                break
            statement.append(draft)
        return statement

    def _parts_statements(self, token: int) -> bool:
        word = self.norms[token]
        structure = any(m.is_structure for m in mentions_within(self.analysis.mentions, token, token + 1))
        return structure or word in self.rules.copulas or word in self.rules.statement_openers

    def _take_back(self, draft: Draft, cue: Cue) -> None:
        draft.superseded = True
        words = self.analysis.words(draft.start, draft.end)
        self.out.withdrawals.append(
            Withdrawal(cue.start, cue.end, draft.concept, f"'{words}' was taken back.")
        )

    def _take_back_value(self, reading: Reading, cue: Cue) -> None:
        reading.superseded = True
        label = self.lexicon.measurements[reading.kind].label
        message = f"The {label} just said was taken back."
        self.out.withdrawals.append(Withdrawal(cue.start, cue.end, reading.kind, message))
