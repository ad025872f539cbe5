"""Whether a finding is there: the reach of a denial over a list and its end, doubt, and time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from lexicon.schema import FindingConcept
from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import Item, Negation
from pipeline.extraction.mentions import mentions_within
from pipeline.extraction.places import Places
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import COMMA_MARKS, MARKS


@dataclass(frozen=True, slots=True)
class _InList:
    """Whether a finding is in a denied list, and whether that is sure."""

    still_denied: bool
    sure: bool


_NEGATION_REACH = 9  # words between a denial and the first thing denied


class Assertion(Places):
    """Whether a finding is there: the reach of a denial over a list and its end, doubt, and time."""

    def _meet_structure(self, position: int, items: list[Item], index: int, segment: Segment) -> None:
        """A structure that opens a new subject ends a denial; one after a preposition or before its noun does not."""
        item = items[position]
        if self.negation is None or not self.negation.denied:
            self._denials_until(item.start, index, segment)
            self._turn_to_other(item, items, position)
            return
        before = self.norms[max(segment.start, item.start - 3) : item.start]
        if any(word in self.rules.prepositions for word in before):
            return
        following = items[position + 1] if position + 1 < len(items) else None
        if following is not None and following.entry.kind == "noun" and following.start <= item.end + 1:
            return
        if before and before[-1] in self.rules.choosing:
            return
        self.negation = None

    def _turn_to_other(self, item: Item, items: list[Item], position: int) -> None:
        """ "Not the left eye, the right eye has the ulcer": the second part is a subject of its own."""
        before = items[position - 1] if position else None
        following = self.norms[item.end] if item.end < len(self.norms) else ""
        if (
            self.negation is not None
            and before is not None
            and before.is_structure
            and before.start >= self.negation.cue.end
            and following in self.rules.copulas
        ):
            self.scanned = max(self.scanned, item.end)
            self.negation = None

    def _denials_until(self, token: int, index: int, segment: Segment) -> None:
        """Take up the cues between the last thing read and `token`: denials begin, terminations end them."""
        start = max(segment.start, self.scanned)
        self.scanned = max(self.scanned, token)
        kinds = ("negation_before", "terminator", "exception")
        cues = [cue for kind in kinds for cue in self._cues(kind, start, token)]
        for cue in sorted(cues, key=lambda c: (c.start, c.kind)):
            if cue.kind == "exception":
                self.negation = None
                continue
            if cue.kind == "terminator":
                if self.negation is not None and (self.negation.denied or self.negation.segment != index):
                    self.negation = None
                continue
            if self._cancels(cue) or self._doubted(cue):
                self.negation = None
                continue
            self.negation = Negation(cue, index, cue.end)

    def _cancels(self, cue: Cue) -> bool:
        """ "not without pain", "no lack of appetite": the second denial undoes the first."""
        words = self.norms[cue.start : cue.end]
        return (
            self.negation is not None
            and not self.negation.denied
            and words[0] in self.rules.undoing
            and cue.start - self.negation.last_end <= 2
        )

    def _doubted(self, cue: Cue) -> bool:
        """ "Not convinced the hip isn't sore": the denial itself is what is doubted."""
        doubts = self._cues("doubted_denial", max(0, cue.start - 8), cue.start)
        return any(self._leads_to_denial(doubt, cue.start) for doubt in doubts)

    def _leads_to_denial(self, doubt: Cue, denial: int) -> bool:
        """ "Not sure there isn't"; but "feels big, can't be sure, no fluid" doubts what was said before."""
        gap = self.norms[doubt.end : denial]
        return bool(gap) and MARKS.isdisjoint(gap)

    def _denied(
        self,
        item: Item,
        concept: FindingConcept,
        items: list[Item],
        position: int,
        index: int,
        segment: Segment,
    ) -> tuple[bool, bool]:
        """(denied, sure): whether the denial in force reaches this finding."""
        negation = self.negation
        if negation is None:
            return False, True
        between = self.norms[negation.last_end : item.start]
        words = [word for word in between if word[0].isalnum()]
        if not negation.denied:
            far = len(words) > _NEGATION_REACH and "any" not in words
            if negation.segment != index or far or self._new_subject(negation, item, items):
                self.negation = None
                return False, True
            return self._deny(item, concept, True)
        verdict = self._list_goes_on(item, concept, items, position, words, segment)
        if verdict is None:
            self.negation = None
            return False, True
        if not verdict.still_denied:
            self.negation = None
            return False, False
        return self._deny(item, concept, verdict.sure)

    def _new_subject(self, negation: Negation, item: Item, items: list[Item]) -> bool:
        """ "no <word not understood> nose wet": "no" denies a noun; a part with its own adjective is a new statement."""
        denies_noun = self.norms[negation.cue.end - 1] in self.rules.noun_denials
        if not denies_noun or not item.mention.is_predicate:
            return False
        subjects = [c for c in self._sides(negation.cue.end, item.start) if c.end < item.start]
        if any(self.norms[c.end] in self.rules.copulas for c in subjects):
            return True  # "no placing at all, the right is delayed"
        between = [o for o in items if negation.cue.end <= o.start < item.start]
        if not any(o.is_structure for o in between):
            return False
        subject = next(o for o in between if o.is_structure)
        return subject.start > negation.cue.end or self.lexicon.findings[item.entry.id].nature == "normal"

    def _deny(self, item: Item, concept: FindingConcept, sure: bool) -> tuple[bool, bool]:
        negation = cast("Negation", self.negation)
        negation.last_end = item.end
        negation.denied += 1
        negation.last_system = concept.system
        negation.last_nature = concept.nature
        return True, sure

    def _list_goes_on(
        self,
        item: Item,
        concept: FindingConcept,
        items: list[Item],
        position: int,
        words: list[str],
        segment: Segment,
    ) -> _InList | None:
        """Whether a further finding is still in the denied list; None where it surely is not."""
        negation = cast("Negation", self.negation)
        if not self.rules.choosing.isdisjoint(words):
            return _InList(True, True)
        if self._opens_present(negation.last_end, item.start + 1) or self._names_subject(item):
            return None
        if any(w in self.rules.known_already for w in words):
            return None
        if concept.nature == "normal" or negation.last_nature == "normal":
            return None
        joined = "and" in words
        extra = [w for w in words if w not in self.rules.list_fillers]
        if joined:
            return _InList(True, True) if not extra else None
        if self._closes_with_or(items, position, segment):
            return _InList(True, True)
        if len(extra) > 3:
            return None
        same = negation.last_system in (concept.system, "any") or concept.system == "any"
        if not same:
            return None
        if self._has_own_place(item, segment):
            return _InList(False, False)  # "no lice, hair loss on the left flank"
        punctuated = any(w in COMMA_MARKS for w in self.norms[negation.last_end : item.start])
        return _InList(True, punctuated and not extra)

    def _names_subject(self, item: Item) -> bool:
        """ "Liver not palpable, kidneys small": the finding's own words begin with a part and its verdict."""
        if not item.mention.is_predicate or item.end - item.start < 2:
            return False
        return self.norms[item.start] in self.rules.part_names

    def _has_own_place(self, item: Item, segment: Segment) -> bool:
        """Whether a part or side is said right after a finding as where it is."""
        end = min(segment.end, item.end + 5)
        following = self.norms[item.end : end]
        if not following or not self.rules.denying.isdisjoint(following) or "either" in following:
            return False
        if following[0] not in self.rules.prepositions:
            return bool(self._sides(item.end, min(end, item.end + 1)))
        return bool(self._sides(item.end, end)) or any(
            m.is_structure for m in mentions_within(self.analysis.mentions, item.end, end)
        )

    def _opens_present(self, start: int, end: int) -> bool:
        for kind in ("present_opening", "severity", "possible_before"):
            if self._cues(kind, start, end):
                return True
        return bool(self._grades_within(start, end))

    def _closes_with_or(self, items: list[Item], position: int, segment: Segment) -> bool:
        """Whether the list that runs on from here ends in "or X"."""
        end = items[position].end
        limit = min(len(self.norms), end + 14)
        at = end
        known = {
            t for m in mentions_within(self.analysis.mentions, end, limit) for t in range(m.start, m.end)
        }
        while at < limit:
            word = self.norms[at]
            if word in self.rules.choosing:
                return True
            if (
                word not in COMMA_MARKS
                and at not in known
                and (word == "and" or word not in self.rules.list_fillers)
            ):
                return False
            if at in known and self._approves(at):
                return False
            at += 1
        return False

    def _approves(self, token: int) -> bool:
        """Whether a word of approval begins at a token, which is no item of a denied list."""
        mentions = mentions_within(self.analysis.mentions, token, token + 1)
        findings = self.lexicon.findings
        return any(
            e.kind == "predicate" and findings[e.id].nature == "normal" for m in mentions for e in m.entries
        )

    def _deny_after(self, index: int, segment: Segment, before: int) -> None:
        """ "Fleas not seen", "murmur: none", "the cough has resolved"."""
        cues = self._cues("negation_after", segment.start, segment.end)
        if not cues:
            return
        cue = cues[-1]
        drafts = self.out.drafts[before:]
        joined = cue.start > segment.start and self.norms[cue.start - 1] == "and"
        if joined or any(draft.start >= cue.end for draft in drafts):
            return
        targets = [d for d in drafts if d.end <= cue.start and d.assertion != "absent"]
        concepts = self.lexicon.findings
        targets = [
            d
            for d in targets
            if concepts[d.concept].nature != "normal" or "seen" in self.norms[cue.start : cue.end]
        ]
        for draft in targets:
            if cue.group.value == "resolved":
                draft.past = True
                draft.reach("dates", cue)
            else:
                draft.assertion, draft.past = "absent", False
                draft.reach("denies", cue)

    def _past_cue(self, item: Item, segment: Segment) -> Cue | None:
        """The cue that puts a finding before today, if any."""
        if self._cues("persists", item.end, segment.end) or self._cues("persists", segment.start, item.start):
            return None
        for cue in self._cues("past", segment.start, segment.end):
            at = cue.start - 1
            at -= at > 0 and self.norms[at] in self.rules.determiners
            before = self.norms[at] if at >= 0 else ""  # "coughing for the last month" goes on
            if before in self.rules.not_past_after or self._compares_to(cue):
                continue
            between = self._cues("now", cue.end, item.end) if cue.end <= item.start else []
            if not between:
                return cue
        return None

    def _compares_to(self, cue: Cue) -> bool:
        """ "Not as lame as he was last week": then is what today is compared to."""
        before = self.norms[max(0, cue.start - 4) : cue.start]
        return len(before) > 2 and not self.rules.comparing_to.isdisjoint(before[:-1])

    def _doubt_cue(self, item: Item, segment: Segment) -> Cue | None:
        """The cue that makes a finding a possibility, if any."""
        # "I can't be sure but the spleen is big": a doubt that leads over from the clause before.
        led = [
            c for c in self._cues("possible_before", segment.start - 8, item.start) if c.end > segment.start
        ]
        for cue in led:
            gap = self.norms[cue.end : item.start]
            certain = self.rules.denying.isdisjoint(gap) and not self._counts(cue.end)
            if len(gap) <= 8 and certain:
                return cue
        for cue in self._cues("doubted_denial", max(0, item.start - 12), item.start):
            denials = [t for t in range(cue.end, item.start) if self.norms[t] in self.rules.denying]
            if (
                denials
                and self._leads_to_denial(cue, denials[0])
                and MARKS.isdisjoint(self.norms[cue.end : item.start])
            ):
                return cue
        for cue in self._cues("possible_after", item.end, segment.end):
            says_more = cue.end - cue.start == 1 and cue.end < segment.end
            ends = not mentions_within(self.analysis.mentions, cue.end, min(segment.end, cue.end + 6))
            estimated = cue.end - cue.start == 1 and self._estimates(cue.start)
            if (
                cue.start - item.end <= 6
                and ends
                and not (estimated or (says_more and self._counts(cue.end)))
            ):
                return cue
        return None

    def _estimates(self, token: int) -> bool:
        """ "A wart, four millimetres maybe": right after a size the word is of the size."""
        return token in self.size_ends

    def _counts(self, token: int) -> bool:
        """ "Maybe seven percent", "down to maybe one sneeze": an amount is estimated, and what it counts is no doubt."""
        return bool(self.analysis.numbers_within(token, token + 1)) or token in self.size_starts
