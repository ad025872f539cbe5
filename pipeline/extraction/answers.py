"""Short answers that name nothing themselves: "none", "can't hear it today", "there is one", "eyes, nothing"."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace

from pipeline.extraction.attributes import Graded, Sized
from pipeline.extraction.concepts import Cue
from pipeline.extraction.corrections import Corrections
from pipeline.extraction.drafts import CARRYING, Draft, Item
from pipeline.extraction.mentions import mentions_within
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import SENTENCE_MARKS

_REACH = 2  # segments back to what "none" or "it" can refer to
_REACH_OF_SIZE = 24  # tokens from "another" to its size
_RECENT = 60  # findings back to what an answer can resolve


class Answers(Corrections):
    """Short answers: a denial or an affirmation of what was named, asked or looked for just before."""

    def _ellipsis(self, index: int, segment: Segment, findings: list[Item], sentence: int) -> None:
        """ "…and hers has none", "can't hear it today", "none seen": the finding was named just before."""
        if self._grade_now(index, segment):
            return
        cue = self._elliptical_denial(segment) if not findings else None
        affirmed = cue is None and (self._elliptical_yes(segment) or self._tells_how_much(index, segment))
        if cue is None and not affirmed:
            return
        recent = [entry for entry in self.named if index - entry[0] <= _REACH + 2 and entry[0] < index]
        if not recent:
            return
        last = recent[-1][0]
        if index - last > _REACH and self.analysis.segments[last].sentence != segment.sentence:
            return
        source = self.analysis.segments[last]
        # A denied question or aim covers all that was asked; the list may run over several segments of one sentence.
        group = [
            e
            for e in recent
            if self.analysis.segments[e[0]].sentence == source.sentence
            and self.analysis.segments[e[0]].act is source.act
        ]
        if source.act is SpeechAct.OBSERVATION or source.act is SpeechAct.REPORT:
            group = [e for e in group if e[0] == last]
        asked = source.act is SpeechAct.QUESTION and (
            self._asks_owner(source) or any(e[1].entry.id in self.rules.asked for e in group)
        )
        if affirmed:
            group = self._meant(group, segment)
        elif cue is not None and not self._of_part_named(group, segment, cue):
            return
        for _, item, structure, _ in group:
            concept = self.lexicon.findings[item.entry.id]
            if concept.nature == "normal" and not (affirmed and source.act is SpeechAct.QUESTION):
                continue
            draft = self._draft(item, concept, structure, None, segment, index, sentence)
            draft.start, draft.end = item.start, item.end
            draft.assertion = "absent" if cue is not None else "present"
            draft.reach("denies", cue)
            draft.side = self._first_side(segment) or draft.side
            draft.reported = draft.reported or asked
            draft.past = False
            draft.severity = None
            if source.act in CARRYING:
                self._resolve_antecedent(draft, item)
                continue
            self.out.drafts.append(draft)

    def _of_part_named(
        self, group: list[tuple[int, Item, str | None, str]], segment: Segment, cue: Cue
    ) -> bool:
        """Whether a denial can answer what was named before.

        Not where it names a part of another system ("Probably a lipoma. Testicles not there."), nor where a part is what it
        denies ("Doughy, I can't hear any gut sounds").
        """
        parts = [m for m in self._unmeasured(segment.start, segment.end) if m.is_structure]
        if any(m.start >= cue.end and self.norms[m.start - 1] in ("any", "no") for m in parts):
            return False
        named = {self.lexicon.structures[m.entries[0].id].system for m in parts}
        return not named or any(system in named for *_, system in group)

    def _meant(
        self, group: list[tuple[int, Item, str | None, str]], segment: Segment
    ) -> list[tuple[int, Item, str | None, str]]:
        """What "there is one" stands for: the last thing named that belongs to the part in the clause, else the last."""
        systems = {
            self.lexicon.structures[m.entries[0].id].system
            for m in self._unmeasured(segment.start, segment.end)
            if m.is_structure
        }
        nouns = [entry for entry in group if entry[1].entry.kind == "noun"]
        if not nouns and group and self.analysis.segments[group[-1][0]].act is SpeechAct.QUESTION:
            nouns = group  # "Has she been sick?"
        fitting = [entry for entry in nouns if entry[3] in systems]
        return (fitting or nouns)[-1:]

    def _elsewhere(self, index: int, segment: Segment) -> bool:
        """The last finding is there, or not, in another part, said without naming it again.

        "No pain in the hips, but there was on flexing the right elbow"; "pain in the lumbar spine, none in the neck".
        """
        opens = self.norms[segment.start : segment.start + 3]
        affirmed = opens[:1] == ["but"] and opens[1:] in (["there", "is"], ["there", "was"], ["there", "are"])
        denied_here = opens[:1] in (["none"], ["nothing"]) and segment.opener != "sentence"
        if not (affirmed or denied_here):
            return False
        wanted = "absent" if affirmed else "present"
        last = [
            d for d in self._last_drafts(segment) if d.sentence == segment.sentence and d.assertion == wanted
        ]
        mentions = self._unmeasured(segment.start, segment.end)
        places = [m for m in mentions if m.is_structure]
        if not last or not places or len(places) != len(mentions):
            return False
        item = Item(places[-1], places[-1].entries[0])
        structure = self.lexicon.structures[item.entry.id]
        named = self.lexicon.findings[last[-1].concept]
        concept = next((g for (s, g), c in self.lexicon.composed.items() if c == named.id), named.id)
        identifier = self.lexicon.compose(structure.id, concept)
        new = replace(
            last[-1], concept=identifier, structure=structure.id, system=structure.system, segment=index
        )
        new.side, new.assertion = self._side_at(item, segment), "present" if affirmed else "absent"
        if not affirmed:
            new.severity, new.grade, new.size, new.modifiers = None, None, None, ()
        self.out.drafts.append(new)
        return True

    def _another_there(self, index: int, segment: Segment, items: list[Item]) -> bool:
        """ "A lump on the shoulder, and another on the left thigh": one more of what was just found, in another place."""
        last = next((d for d in reversed(self._last_drafts(segment)) if d.assertion != "absent"), None)
        if last is None or last.system != "skin" or not items or not all(item.is_structure for item in items):
            return False
        before = self.norms[segment.start : items[0].start]
        one = next((n for n, word in enumerate(before) if word in self.rules.one_more), None)
        if one is None or self.rules.locating.isdisjoint(before[one:]):
            return False
        if not all(word in self.rules.before_one_more for word in before[:one]):
            return False
        concept = self.lexicon.findings[last.concept]
        if concept.nature != "abnormal" or segment.sentence - last.sentence > 1:
            return False
        at = segment.start + one
        new = replace(last, segment=index, sentence=segment.sentence, start=at, end=at + 1)
        new.structure, new.side = items[0].entry.id, self._side_at(items[0], segment)
        new.size = self._size_of_one_more(at)
        new.severity, new.grade, new.modifiers = None, None, ()
        self.out.drafts.append(new)
        return True

    def _size_of_one_more(self, at: int) -> Sized | None:
        """The size that follows "another" in its sentence before anything else is named."""
        following = bisect_left(self.sizes, at, key=lambda size: size.start)
        size = self.sizes[following] if following < len(self.sizes) else None
        if size is None or size.start - at > _REACH_OF_SIZE:
            return None
        if not SENTENCE_MARKS.isdisjoint(self.norms[at : size.start]):
            return None
        named = [m for m in mentions_within(self.analysis.mentions, at, size.start) if not m.is_structure]
        return None if named else size

    def _grade_now(self, index: int, segment: Segment) -> bool:
        """ "The murmur was grade two, it's three now": the earlier grade is past, the new one stands."""
        now = self._cues("now", segment.start, segment.end)
        last = self._last_drafts(segment)
        side = self._first_side(segment)
        if now and last and last[-1].past and side is not None:
            # "Both eyes were red last week; today just the left."
            self.out.drafts.append(
                replace(last[-1], segment=index, sentence=segment.sentence, past=False, side=side)
            )
            return True
        last = [d for d in last if d.sentence == segment.sentence and d.grade is not None]
        number = next(iter(self.analysis.numbers_within(segment.start, segment.end)), None)
        if not now or not last or number is None or number.start in self.measured:
            return False
        old = last[-1]
        scale = old.grade.out_of if old.grade is not None else None
        new = replace(
            old, segment=index, past=False, grade=Graded(number.start, number.end, number.value, scale)
        )
        old.past = True
        self.out.drafts.append(new)
        return True

    def _resolve_antecedent(self, draft: Draft, item: Item) -> None:
        """ "Previously a murmur, can't hear it today": the earlier fact is past, the new one stands beside it."""
        earlier = [d for d in self.out.drafts[-_RECENT:] if d.start == item.start and not d.superseded]
        other_side = draft.side is not None and any(d.side not in (None, draft.side) for d in earlier)
        if any(d.past or d.reported for d in earlier) or not earlier or other_side:
            self.out.drafts.append(draft)
            return
        for other in earlier:
            if other.assertion != draft.assertion:
                other.assertion = draft.assertion

    def _nothing_there(self, index: int, segment: Segment) -> bool:
        """ "Eyes, nothing. Ears, nothing.": nothing abnormal in the parts just named."""
        words = self.norms[segment.start : segment.end]
        if not self.pending or words[:1] not in (["nothing"], ["nil"]) or len(words) > 4:
            return False
        if self._unmeasured(segment.start, segment.end):
            return False
        for structure, side in self.pending:
            system = self.lexicon.structures[structure].system
            concept = self.lexicon.compose(structure, "abnormality")
            draft = Draft(concept, system, structure, segment.start, segment.end, index, segment.sentence)
            draft.assertion, draft.side = "absent", side
            self.out.drafts.append(draft)
        self.pending = []
        return True

    def _nothing_on_side(self, index: int, segment: Segment) -> bool:
        """ "A nodule on the left. Nothing on the right.": what was just found is not on the other side."""
        sides = self._sides(segment.start, segment.end)
        named = [m for m in self._unmeasured(segment.start, segment.end) if not m.is_structure]
        if self.norms[segment.start] not in ("nothing", "none") or len(sides) != 1 or named:
            return False
        side = self._side_value(sides[0])
        found = [
            d
            for d in self._last_drafts(segment)
            if d.assertion != "absent"
            and {d.side, side} == {"left", "right"}
            and self.lexicon.findings[d.concept].nature == "abnormal"
        ]
        for draft in found[-1:]:
            new = replace(draft, segment=index, sentence=segment.sentence, side=side, assertion="absent")
            new.start, new.end = segment.start, segment.end
            new.severity, new.grade, new.size, new.modifiers = None, None, None, ()
            self.out.drafts.append(new)
        return bool(found)

    def _elliptical_denial(self, segment: Segment) -> Cue | None:
        after = self._cues("negation_after", segment.start, segment.end)
        if after and after[0].start - segment.start <= 4:
            return after[0]
        denials = self._cues("negation_before", segment.start, segment.end)
        if not denials:
            return None
        cue = denials[0]
        if cue.start == segment.start and all(
            w in self.rules.bare_denial for w in self.norms[segment.start : segment.end]
        ):
            return cue
        words = self.norms[segment.start : segment.end]
        if len(words) <= 8 and words[-1] == "not" and len(words) >= 2 and words[-2] in self.rules.auxiliaries:
            return denials[-1]
        rest = segment.end - cue.end
        pronouns = self._cues("pronoun", cue.end, segment.end)
        perceived = self._cues("perception", cue.end, segment.end)
        if not pronouns or rest > 9:
            return None
        # "can't see down it" says nothing of what was named; the pronoun must be what is not seen, felt or had.
        direct = any(p.end <= pronouns[0].start <= p.end + 1 for p in perceived)
        bare = pronouns[0].start == cue.end and pronouns[0].end >= segment.end - 2
        return cue if direct or bare else None

    def _elliptical_yes(self, segment: Segment) -> bool:
        words = self.norms[segment.start : segment.end]
        answered = (
            bool(words) and words[0] in self.rules.yes and len(words) <= 4 and segment.opener == "sentence"
        )
        found = any(cue.end - cue.start > 2 for cue in self._cues("affirmed", segment.start, segment.end))
        perceived = self._cues("perception", segment.start, segment.end)
        one = any("one" in self.norms[cue.end : min(segment.end, cue.end + 3)] for cue in perceived)
        named = [e for m in self._unmeasured(segment.start, segment.end) for e in m.entries]
        shown = words[:2] == ["this", "one"] and any(
            e.kind == "structure" or self.lexicon.findings[e.id].nature != "normal" for e in named
        )
        return answered or ((found or one) and len(words) <= 14) or shown

    def _tells_how_much(self, index: int, segment: Segment) -> bool:
        """ "Any licking? Loads.": how often or how much answers a question that was just asked."""
        if index == 0 or segment.opener != "sentence":
            return False
        if self.analysis.segments[index - 1].act is not SpeechAct.QUESTION:
            return False
        words = self.norms[segment.start : segment.end]
        return words[0] in self.rules.answers_of_amount or " ".join(words[:2]) in self.rules.answers_of_amount

    def _asks_owner(self, segment: Segment) -> bool:
        words = self.norms[segment.start : segment.end]
        return any(word in self.rules.asking_owner for word in words)
