"""From segments to statements: which structure, which side, there or not, now or then, said by whom.

The reader walks the segments in order. It keeps what is in focus (system, structure, side), so that "Left ear. Bit of wax, no
smell." gives two findings of the left ear, and what was named last, so that "I listen for a murmur, and he has none" denies it.
Each question has a module of its own; a reading is built from them, the later resting on the earlier: view, meaning, sides,
places, assertion, details, corrections.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace
from itertools import groupby

from lexicon import Lexicon
from lexicon.schema import FindingConcept
from pipeline.extraction.attributes import Graded
from pipeline.extraction.concepts import Cue
from pipeline.extraction.corrections import Corrections
from pipeline.extraction.drafts import CARRYING, Draft, Focus, Item, Read, Refusal
from pipeline.extraction.measurements import Reading
from pipeline.extraction.model import SURE_ENOUGH, SpeechAct
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import Analysis
from pipeline.extraction.view import ReadingRules

_BARE_DENIAL = frozenset(
    [
        "no",
        "none",
        "nothing",
        "nope",
        "nil",
        "never",
        "not",
        "there",
        "here",
        "today",
        "seen",
        "at",
        "all",
        "of",
        "those",
        "them",
        "that",
        "thankfully",
        "either",
        "now",
        "any",
        "kind",
    ]
)
_AUXILIARIES = frozenset(
    ["is", "are", "was", "does", "do", "did", "has", "have", "had", "can", "could", "would", "will"]
)
_ELLIPSIS_REACH = 2  # segments back to what "none" or "it" can refer to


class StatementReader:
    """Reads findings out of an Analysis whose segments, mentions, cues, numbers and readings are complete."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._rules = ReadingRules(lexicon)

    def read(self, analysis: Analysis) -> Read:
        """All statements of one text; linear in its length."""
        return _Reading(self._rules, analysis).run()


class _Reading(Corrections):
    """One text being read."""

    def run(self) -> Read:
        """Walk sentence by sentence."""
        segments = self.analysis.segments
        readings = iter(self.analysis.readings)
        upcoming = next(readings, None)
        index = 0
        for sentence, group in groupby(segments, key=lambda segment: segment.sentence):
            self.negation = None
            self.pending = []
            self.leading_side = None
            self.past_opening = None
            for segment in group:
                self._open_past(segment)
                while upcoming is not None and upcoming.start < segment.end:
                    self._take_reading(upcoming, segment, index)
                    upcoming = next(readings, None)
                self._segment(index, segment, sentence)
                index += 1
        return self.out

    def _segment(self, index: int, segment: Segment, sentence: int) -> None:
        if self._corrects(index, segment):
            return
        self._turn_to_patient(segment)
        items = self._items(segment)
        if self._refuses(segment, items):
            return
        self._keep_telling(index, segment, items)
        if segment.act not in CARRYING:
            self._set_aside(index, segment, items)
            return
        if segment.opener in ("contrast", "cue"):
            self.negation = None
        if self._elsewhere(index, segment):
            return
        before = len(self.out.drafts)
        findings = [item for item in items if not item.is_structure]
        self._findings(index, segment, sentence, items)
        if len(self.out.drafts) == before and not (
            self._other_side(index, segment, items)
            or self._side_after(segment, items)
            or self._detail_after(segment, items)
        ):
            self._ellipsis(index, segment, findings, sentence)
        self._deny_after(index, segment, before)
        if self._nothing_there(index, segment):
            return
        if not findings and self._only_structures(segment, items):
            self.pending += [(item.entry.id, self._side_at(item, segment)) for item in items]
        else:
            self.pending = []

    def _open_past(self, segment: Segment) -> None:
        """ "On the last exam: heart rate 160, temperature forty": the past that opens a sentence holds for its values."""
        if segment.opener == "sentence":
            cues = self._cues("past", segment.start, min(segment.end, segment.start + 5))
            self.past_opening = cues[0].start if cues else None

    def _keep_telling(self, index: int, segment: Segment, items: list[Item]) -> None:
        """The owner's words go on until a part of the body is named, a value given, or the vet says what is seen."""
        if segment.act is SpeechAct.REPORT:
            self.telling = index
            return
        examines = any(item.is_structure for item in items) or (
            self.out.readings and self.out.readings[-1][1] is segment
        )
        others = segment.act not in CARRYING
        if (
            examines
            or others
            or any(w in self.rules.exam_words for w in self.norms[segment.start : segment.end])
        ):
            self.telling = None

    def _turn_to_patient(self, segment: Segment) -> None:
        """ "…which feel knobbly in middle age. Hers are smooth": the part spoken of in general is now the patient's."""
        first = next(
            (w for w in self.norms[segment.start : segment.end] if w not in ("and", "but", "though", "so")),
            "",
        )
        if segment.act in CARRYING and first in self.rules.possessive_subjects and self.talked is not None:
            following = self.norms[segment.start : segment.start + 4]
            if any(w in self.rules.copulas for w in following):
                self.focus = Focus(self.talked[0], self.talked[1], (self.talked[1],), None, segment.sentence)

    def _take_reading(self, reading: Reading, segment: Segment, index: int) -> None:
        row = self.lexicon.measurements[reading.kind]
        if (
            segment.act in CARRYING
            or segment.act is SpeechAct.INTENTION
            or self._given_as_result(reading, segment)
        ):
            reading.past = reading.past or self._value_is_past(reading, segment)
            self.out.readings.append((reading, segment))
            self.out.mentioned.add(row.system)
            self.negation = None
            if structure := self.lexicon.words["measuring"]["structures"].get(reading.kind):
                self.focus = Focus(row.system, structure, (structure,), None, segment.sentence)
        self.focus.sentence = segment.sentence

    def _value_is_past(self, reading: Reading, segment: Segment) -> bool:
        """A word of the past beside the value, with no other value between."""
        readings = self.analysis.readings
        at = bisect_left(readings, reading.start, key=lambda r: r.start)
        start = max(segment.start, readings[at - 1].end if at else 0)
        end = min(segment.end, readings[at + 1].start if at + 1 < len(readings) else segment.end)
        end = min(end, reading.compared_at or end)
        now = [cue.start for cue in self._cues("now", start, end)]
        previous_end = readings[at - 1].end if at else -100
        for cue in self._cues("past", start, end):
            first, last = sorted((cue.start, reading.start))
            of_previous = cue.start < reading.start and cue.start == previous_end
            if not of_previous and not any(first <= token <= last for token in now):
                return True
        opening = self.past_opening
        return opening is not None and not any(
            cue.start > opening for cue in self._cues("now", opening, reading.start)
        )

    def _given_as_result(self, reading: Reading, segment: Segment) -> bool:
        """A value with a patient's name for it stands although the sentence plans or asks ("vaccinated today, weight 12.4")."""
        words = self.norms[segment.start : segment.end]
        scored = reading.name is not None and reading.out_of is not None
        if (
            scored
            and segment.act in (SpeechAct.PLAN, SpeechAct.TEACHING)
            and any(w in ("him", "her", "he", "she") for w in words)
        ):
            return True
        return (
            reading.name is not None
            and segment.act is SpeechAct.PLAN
            and (
                reading.out_of is not None
                or segment.act_cue is None
                or segment.act_cue.start > reading.end
                or segment.act_cue.end < segment.start
            )
        )

    def _set_aside(self, index: int, segment: Segment, items: list[Item]) -> None:
        """Keep the focus and what was named, for answers that follow; state nothing."""
        self.negation = None
        self.pending = []
        structures = [item for item in items if item.is_structure]
        if structures:
            named = self.lexicon.structures[structures[-1].entry.id]
            self.talked = (named.system, named.id)
        else:
            # "We look for a swollen node here, his are fine": what is looked for names the part.
            for item in items:
                looked_for = self.lexicon.findings[item.entry.id]
                if looked_for.structure is not None and looked_for.system != "any":
                    self.talked = (looked_for.system, looked_for.structure)
        if segment.act in (SpeechAct.INTENTION, SpeechAct.QUESTION) and structures:
            self._focus_on(structures, segment)
        for item in items:
            if not item.is_structure:
                places = self._places(item, items, segment)
                self._name(index, item, places[0][0] if places else None)
                concept = self.lexicon.findings[item.entry.id]
                if segment.act is SpeechAct.INTENTION and concept.system != "any" and not structures:
                    self.focus = Focus(concept.system, None, (), None, segment.sentence)

    def _name(self, index: int, item: Item, structure: str | None) -> None:
        concept = self.lexicon.findings[item.entry.id]
        system, _ = self._place(concept, structure, None)
        self.named.append((index, item, structure, system))
        del self.named[:-12]

    def _refuses(self, segment: Segment, items: list[Item]) -> bool:
        """ "Couldn't look in his mouth": a statement of its own."""
        cues = self._cues("not_examined", segment.start, segment.end)
        if not cues or segment.act in (SpeechAct.TEACHING, SpeechAct.QUESTION):
            return False
        systems: list[str] = list(
            dict.fromkeys(
                self.lexicon.structures[item.entry.id].system for item in items if item.is_structure
            )
        )
        if not systems and self.pending:
            systems = list(dict.fromkeys(self.lexicon.structures[s].system for s, _ in self.pending))
        if not systems and self.focus.system is not None and segment.sentence - self.focus.sentence <= 1:
            systems = [self.focus.system]
        for system in systems:
            self.out.refusals.append(Refusal(system, segment.start, segment.end))
            self.out.mentioned.add(system)
        structures = [item for item in items if item.is_structure]
        if structures:
            self._focus_on(structures, segment)
        return bool(systems)

    def _findings(self, index: int, segment: Segment, sentence: int, items: list[Item]) -> None:
        self.running = None
        if self._only_qualities(segment, items):
            return
        for position, item in enumerate(items):
            if item.is_structure:
                self._meet_structure(position, items, index, segment)
                continue
            concept = self.lexicon.findings[item.entry.id]
            if self._is_modifier_only(item, items, position) or not self._verdict_stands(
                item, items, position, segment
            ):
                continue
            self._denials_until(item.start, index, segment)
            denied, sure = self._denied(item, concept, items, position, index, segment)
            places = self._places(item, items, segment) or [(None, None)]
            if concept.needs_structure and places[0][0] is None and self.focus.structure is None:
                continue
            systems_done: set[tuple[str, str]] = set()
            for structure, side in places:
                draft = self._draft(item, concept, structure, side, segment, index, sentence)
                if (draft.concept, draft.system) in systems_done:
                    continue
                systems_done.add((draft.concept, draft.system))
                if not sure:
                    draft.confidence = min(draft.confidence, SURE_ENOUGH)
                if denied:
                    draft.assertion = "absent"
                self._replace_by(draft)
                self.out.drafts.append(draft)
                if concept.system != "any":
                    self.running = concept.system
            self._name(index, item, places[0][0])
        structures = [item for item in items if item.is_structure]
        self._denials_until(segment.end, index, segment)
        if structures:
            self._focus_on(structures, segment)
        elif (
            segment.act is SpeechAct.OBSERVATION
            and len(self.out.drafts)
            and self.out.drafts[-1].segment == index
        ):
            self._focus_by_finding(self.out.drafts[-1], segment)

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
        system, structure = self._place(concept, structure, item)
        identifier = concept.id
        if concept.system == "any" and structure is not None:
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

    def _ellipsis(self, index: int, segment: Segment, findings: list[Item], sentence: int) -> None:
        """ "…and hers has none", "can't hear it today", "none seen": the finding was named just before."""
        if self._grade_now(index, segment):
            return
        cue = self._elliptical_denial(segment) if not findings else None
        affirmed = cue is None and self._elliptical_yes(segment)
        if cue is None and not affirmed:
            return
        recent = [
            entry for entry in self.named if index - entry[0] <= _ELLIPSIS_REACH + 2 and entry[0] < index
        ]
        if not recent:
            return
        last = recent[-1][0]
        if index - last > _ELLIPSIS_REACH and self.analysis.segments[last].sentence != segment.sentence:
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
        for _, item, structure, _ in group:
            concept = self.lexicon.findings[item.entry.id]
            if concept.nature == "normal":
                continue
            draft = self._draft(item, concept, structure, None, segment, index, sentence)
            draft.start, draft.end = item.start, item.end
            draft.assertion = "absent" if cue is not None else "present"
            draft.side = self._first_side(segment) or draft.side
            draft.reported = draft.reported or asked
            draft.past = False
            draft.severity = None
            if source.act in CARRYING:
                self._resolve_antecedent(draft, item)
                continue
            self.out.drafts.append(draft)

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
        number = next((n for n in self.analysis.numbers if segment.start <= n.start < segment.end), None)
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
        earlier = [d for d in self.out.drafts if d.start == item.start and not d.superseded]
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

    def _elliptical_denial(self, segment: Segment) -> Cue | None:
        after = self._cues("negation_after", segment.start, segment.end)
        if after and after[0].start - segment.start <= 4:
            return after[0]
        denials = self._cues("negation_before", segment.start, segment.end)
        if not denials:
            return None
        cue = denials[0]
        if cue.start == segment.start and all(
            w in _BARE_DENIAL for w in self.norms[segment.start : segment.end]
        ):
            return cue
        words = self.norms[segment.start : segment.end]
        if len(words) <= 8 and words[-1] == "not" and len(words) >= 2 and words[-2] in _AUXILIARIES:
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
            bool(words)
            and words[0] in ("yes", "yeah", "yep")
            and len(words) <= 4
            and segment.opener == "sentence"
        )
        found = any(cue.end - cue.start > 2 for cue in self._cues("affirmed", segment.start, segment.end))
        perceived = self._cues("perception", segment.start, segment.end)
        one = any("one" in self.norms[cue.end : cue.end + 3] for cue in perceived)
        shown = words[:2] == ["this", "one"] and bool(self._unmeasured(segment.start, segment.end))
        return answered or ((found or one) and len(words) <= 14) or shown

    def _asks_owner(self, segment: Segment) -> bool:
        words = self.norms[segment.start : segment.end]
        return any(word in ("you", "home", "been", "he", "she", "your") for word in words)

    def _only_structures(self, segment: Segment, items: list[Item]) -> bool:
        """A segment that names parts and nothing else ("eyes", "the left ear"): its verdict follows."""
        if not items:
            return False
        covered = {t for item in items for t in range(item.start, item.end)}
        covered |= {t for cue in self._sides(segment.start, segment.end) for t in range(cue.start, cue.end)}
        return all(
            token in covered or word in self.rules.determiners or word in ("and", "or", "of", "on", "in")
            for token, word in enumerate(self.norms[segment.start : segment.end], start=segment.start)
        )
