"""From segments to statements: which structure, which side, there or not, now or then, said by whom.

The reader walks the segments in order. It keeps what is in focus (system, structure, side), so that "Left ear. Bit of wax, no
smell." gives two findings of the left ear, and what was named last, so that "I listen for a murmur, and he has none" denies it.
Each question has a module of its own; a reading is built from them, the later resting on the earlier: view, meaning, sides,
places, assertion, details, corrections, answers, values.
"""

from __future__ import annotations

from itertools import groupby

from lexicon import Lexicon
from pipeline.extraction.drafts import CARRYING, Focus, Item, Read, Refusal
from pipeline.extraction.model import SURE_ENOUGH, SpeechAct
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import Analysis
from pipeline.extraction.values import Values
from pipeline.extraction.view import ReadingRules


class StatementReader:
    """Reads findings out of an Analysis whose segments, mentions, cues, numbers and readings are complete."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._rules = ReadingRules(lexicon)

    def read(self, analysis: Analysis) -> Read:
        """All statements of one text; linear in its length."""
        return _Reading(self._rules, analysis).run()


class _Reading(Values):
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
        if self._compares_sides(segment, items) or self._same_there(index, segment, items):
            return
        findings = [item for item in items if not item.is_structure]
        self._findings(index, segment, sentence, items)
        self._grade_both(index, segment, before)
        if len(self.out.drafts) == before and not (
            self._each_side(index, segment, items)
            or self._another_there(index, segment, items)
            or self._more_teeth(index, segment, items)
            or self._other_side(index, segment, items)
            or self._nothing_on_side(index, segment)
            or self._side_after(segment, items)
            or self._detail_after(segment, items)
        ):
            self._ellipsis(index, segment, findings, sentence)
        self._deny_after(index, segment, before)
        if self._nothing_there(index, segment):
            return
        if not findings and self._only_structures(segment, items):
            self.pending += self._heads(items, segment)
            self.talked = None  # "Then kidneys": what was explained before is left behind
        else:
            self.pending = []

    def _grade_both(self, index: int, segment: Segment, before: int) -> None:
        """ "Patellas luxate grade two left and grade three right": one finding said, each side graded."""
        new = self.out.drafts[before:]
        if len(new) == 1 and self.lexicon.findings[new[0].concept].nature == "abnormal":
            pairs = self._graded_sides(new[0].end, segment.end)
            if len(pairs) > 1:
                self._grade_each(new[0], pairs, index)

    def _open_past(self, segment: Segment) -> None:
        """ "On the last exam: heart rate 160, temperature forty": the past that opens a sentence holds for its values."""
        if segment.opener == "sentence":
            cues = self._cues("past", segment.start, min(segment.end, segment.start + 5))
            self.past_opening = cues[0].start if cues else None

    def _keep_telling(self, index: int, segment: Segment, items: list[Item]) -> None:
        """The owner's words go on until a part of the body is named, a value given, or the vet says what is seen."""
        if segment.act is SpeechAct.REPORT:
            self.telling = index
            if segment.act_cue is not None and self.norms[segment.act_cue.end - 1] == ":":
                self.headed = segment.sentence
            return
        if self.headed is not None and segment.sentence > self.headed:
            self.headed = self.telling = None
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
        if self._only_qualities(segment, items) or self._size_after(segment, items):
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
            places_done: set[tuple[str, str, str | None, str | None]] = set()
            for structure, side in places:
                draft = self._draft(item, concept, structure, side, segment, index, sentence)
                place = (draft.concept, draft.system, draft.structure, draft.side)
                if place in places_done:
                    continue
                places_done.add(place)
                if not sure:
                    draft.confidence = min(draft.confidence, SURE_ENOUGH)
                if denied and self.negation is not None:
                    draft.assertion = "absent"
                    draft.reach("denies", self.negation.cue)
                self._replace_by(draft)
                self.out.drafts.append(draft)
                if concept.system != "any":
                    self.running = concept.system
            self._name(index, item, places[0][0])
        structures = [item for item in items if item.is_structure]
        self._denials_until(segment.end, index, segment)
        last = self.out.drafts[-1] if self.out.drafts else None
        found = last if last is not None and last.segment == index else None
        if structures:
            self._focus_on(structures, segment)
            self._stay_on_skin(found)
        elif found is not None and segment.act is SpeechAct.OBSERVATION:
            self._focus_by_finding(found, segment)
        self._side_of_verdict(found)

    def _only_structures(self, segment: Segment, items: list[Item]) -> bool:
        """A segment that names parts and nothing else ("eyes", "the left ear"): its verdict follows."""
        if not items:
            return False
        covered = {t for item in items for t in range(item.start, item.end)}
        covered |= {t for cue in self._sides(segment.start, segment.end) for t in range(cue.start, cue.end)}
        return all(
            token in covered
            or word in self.rules.determiners
            or word in self.rules.turning
            or word in ("and", "or", "of", "on", "in")
            for token, word in enumerate(self.norms[segment.start : segment.end], start=segment.start)
        )
