"""From segments to statements: which structure, which side, there or not, now or then, said by whom.

The reader walks the segments in order. It keeps what is in focus (system, structure, side), so that "Left ear. Bit of wax, no
smell." gives two findings of the left ear, and what was named last, so that "I listen for a murmur, and he has none" denies it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from dataclasses import dataclass, field, replace
from itertools import groupby
from typing import cast

from lexicon import SYSTEMS, Entry, Lexicon
from lexicon.schema import FindingConcept, Structure
from pipeline.extraction.attributes import AttributeReader, CueIndex, Graded, Sized
from pipeline.extraction.concepts import Cue, Mention, mentions_within
from pipeline.extraction.measurements import Reading
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import COMMA_MARKS, SENTENCE_MARKS, Analysis

_CARRYING = (SpeechAct.OBSERVATION, SpeechAct.REPORT)
_NEGATION_REACH = 9  # words between a denial and the first thing denied
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


@dataclass(slots=True)
class Item:
    """A mention with the one meaning that its surroundings give it."""

    mention: Mention
    entry: Entry
    confidence: float = 1.0

    @property
    def start(self) -> int:
        """First token."""
        return self.mention.start

    @property
    def end(self) -> int:
        """Token after the last."""
        return self.mention.end

    @property
    def is_structure(self) -> bool:
        """True for a part of the body."""
        return self.entry.kind == "structure"


@dataclass(slots=True)
class Draft:
    """A finding in the making; tokens start to end are the words that name it."""

    concept: str
    system: str
    structure: str | None
    start: int
    end: int
    segment: int
    sentence: int
    assertion: str = "present"
    side: str | None = None
    severity: str | None = None
    grade: Graded | None = None
    size: Sized | None = None
    modifiers: tuple[str, ...] = ()
    reported: bool = False
    past: bool = False
    superseded: bool = False
    confidence: float = 1.0


@dataclass(slots=True)
class Withdrawal:
    """A correction by voice: the tokens of the words that did it, and what it did."""

    start: int
    end: int
    about: str
    message: str


@dataclass(slots=True)
class Refusal:
    """A system that could not be examined; tokens start to end say so."""

    system: str
    start: int
    end: int


@dataclass(slots=True)
class Read:
    """What the reader makes of one text, before it is written down as Statements."""

    drafts: list[Draft] = field(default_factory=list)
    readings: list[tuple[Reading, Segment]] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)
    mentioned: set[str] = field(default_factory=set)
    withdrawals: list[Withdrawal] = field(default_factory=list)


@dataclass(slots=True)
class _Focus:
    system: str | None = None
    structure: str | None = None
    structures: tuple[str, ...] = ()
    side: str | None = None
    sentence: int = -1


@dataclass(slots=True)
class _Negation:
    """A denial in force: where its cue ends, whether it has denied something yet, where the last thing ends."""

    cue: Cue
    segment: int
    last_end: int
    last_system: str | None = None
    denied: int = 0


class StatementReader:
    """Reads findings out of an Analysis whose segments, mentions, cues, numbers and readings are complete."""

    def __init__(self, lexicon: Lexicon) -> None:
        self.lexicon = lexicon
        self.attributes = AttributeReader(lexicon)
        groups = lexicon.words["groups"]
        self.copulas = frozenset(groups["copulas"])
        self.determiners = frozenset(groups["articles"]) | frozenset(groups["possessives"])
        self.prepositions = frozenset(groups["prepositions"])
        self.degrees = frozenset(groups["degree_words"])
        self.weak = frozenset(lexicon.words["verdicts"]["weak"])
        self.told = frozenset(lexicon.words["told"]["at_home"])
        self.linking = frozenset(("is", "are", "was", "were", "'s", "has", "have"))
        self.subjects = frozenset(groups["subjects"])
        self.praise = frozenset(lexicon.words["verdicts"]["praise"])
        self.possessive_subjects = frozenset(("hers", "his", "theirs", "mine", "yours", "its"))
        self.may_follow = frozenset(lexicon.words["verdicts"]["may_follow"])

    def read(self, analysis: Analysis) -> Read:
        """All statements of one text; linear in its length."""
        return _Reading(self, analysis).run()


class _Reading:
    """One text being read."""

    def __init__(self, rules: StatementReader, analysis: Analysis) -> None:
        self.rules = rules
        self.lexicon = rules.lexicon
        self.analysis = analysis
        self.norms = analysis.norms
        by_kind: dict[str, list[Cue]] = defaultdict(list)
        for cue in analysis.cues:
            by_kind[cue.kind].append(cue)
        self.cues = {kind: CueIndex(cues) for kind, cues in by_kind.items()}
        self.no_cues = CueIndex([])
        self.grades = rules.attributes.grades(analysis)
        self.sizes = rules.attributes.sizes(analysis)
        both = frozenset(self.lexicon.words["measuring"]["also_findings"])
        self.measured = {t for r in analysis.readings if r.kind not in both for t in range(r.start, r.end)}
        self.focus = _Focus()
        self.named: list[tuple[int, Item, str | None, str]] = []
        self.pending: list[tuple[str, str | None]] = []
        self.negation: _Negation | None = None
        self.cancelled_sides: set[int] = set()
        self.owners: dict[int, int | None] = {}
        self.talked: tuple[str, str] | None = None
        self.telling: int | None = None  # last segment in which the owner's words were told
        self.scanned = 0  # cues before this token have been taken up
        self.leading_side: str | None = None  # "Left hind, he flips it back": a side that opens its sentence
        self.running: str | None = None  # system of the last finding of the segment that has one of its own
        self.correcting: Cue | None = None
        self.replaceable: tuple[list[Draft], Cue, int] | None = None
        self.out = Read()

    def _cues(self, kind: str, start: int, end: int) -> list[Cue]:
        return self.cues.get(kind, self.no_cues).within(start, end)

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
            for segment in group:
                while upcoming is not None and upcoming.start < segment.end:
                    self._take_reading(upcoming, segment, index)
                    upcoming = next(readings, None)
                self._segment(index, segment, sentence)
                index += 1
        return self.out

    # --- one segment ---------------------------------------------------------------------------------------------------

    def _segment(self, index: int, segment: Segment, sentence: int) -> None:
        if self._corrects(index, segment):
            return
        self._turn_to_patient(segment)
        items = self._items(segment)
        if self._refuses(segment, items):
            return
        self._keep_telling(index, segment, items)
        if segment.act not in _CARRYING:
            self._set_aside(index, segment, items)
            return
        if segment.opener in ("contrast", "cue"):
            self.negation = None
        before = len(self.out.drafts)
        findings = [item for item in items if not item.is_structure]
        self._findings(index, segment, sentence, items)
        if len(self.out.drafts) == before and not (
            self._side_after(segment, items) or self._detail_after(segment, items)
        ):
            self._ellipsis(index, segment, findings, sentence)
        self._deny_after(index, segment, before)
        if not findings and self._only_structures(segment, items):
            self.pending += [(item.entry.id, self._side_at(item, segment)) for item in items]
        else:
            self.pending = []

    def _side_after(self, segment: Segment, items: list[Item]) -> bool:
        """ "Moderate tartar, upper left.": a side said on its own goes to the finding before."""
        sides = self._sides(segment.start, segment.end)
        if not sides or any(not item.is_structure for item in items):
            return False
        last = [d for d in self._last_drafts(segment) if d.sentence == segment.sentence]
        if segment.opener != "comma" or all(d.side is not None for d in last):
            if not items and segment.end - segment.start <= 4:
                self.leading_side = self.focus.side = sides[0].group.value
            return False
        structures = [item.entry.id for item in items]
        for draft in last:
            fits = all(
                self.lexicon.structures[s].system == draft.system or draft.system == "skin"
                for s in structures
            )
            if draft.side is None and fits:
                draft.side = sides[0].group.value
                draft.structure = draft.structure or (structures[0] if structures else None)
        return bool(last)

    def _detail_after(self, segment: Segment, items: list[Item]) -> bool:
        """ "A murmur, grade four of six", "tartar, moderate": a degree on its own goes to the finding before."""
        if segment.opener != "comma" or any(not item.is_structure for item in items):
            return False
        last = [
            d
            for d in self._last_drafts(segment)
            if d.sentence == segment.sentence and d.assertion != "absent"
        ]
        grade = next(
            (
                g
                for g in self.grades
                if segment.start <= g.start < segment.end and g.start not in self.measured
            ),
            None,
        )
        severities = self._cues("severity", segment.start, segment.end)
        doubts = self._cues("possible_after", segment.start, segment.end)
        used = False
        for draft in last:
            if doubts and doubts[0].end >= segment.end - 1 and draft.segment == last[-1].segment:
                draft.assertion, used = "possible", True
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

    def _keep_telling(self, index: int, segment: Segment, items: list[Item]) -> None:
        """The owner's words go on until a part of the body is named, a value given, or the vet says what is seen."""
        if segment.act is SpeechAct.REPORT:
            self.telling = index
            return
        examines = any(item.is_structure for item in items) or (
            self.out.readings and self.out.readings[-1][1] is segment
        )
        others = segment.act not in _CARRYING
        if (
            examines
            or others
            or any(w in ("i", "exam", "examination") for w in self.norms[segment.start : segment.end])
        ):
            self.telling = None

    def _turn_to_patient(self, segment: Segment) -> None:
        """ "…which feel knobbly in middle age. Hers are smooth": the part spoken of in general is now the patient's."""
        first = next(
            (w for w in self.norms[segment.start : segment.end] if w not in ("and", "but", "though", "so")),
            "",
        )
        if segment.act in _CARRYING and first in self.rules.possessive_subjects and self.talked is not None:
            following = self.norms[segment.start : segment.start + 4]
            if any(w in self.rules.copulas for w in following):
                self.focus = _Focus(self.talked[0], self.talked[1], (self.talked[1],), None, segment.sentence)

    def _take_reading(self, reading: Reading, segment: Segment, index: int) -> None:
        row = self.lexicon.measurements[reading.kind]
        if (
            segment.act in _CARRYING
            or segment.act is SpeechAct.INTENTION
            or self._given_as_result(reading, segment)
        ):
            reading.past = reading.past or self._value_is_past(reading, segment)
            self.out.readings.append((reading, segment))
            self.out.mentioned.add(row.system)
            self.negation = None
            if structure := self.lexicon.words["measuring"]["structures"].get(reading.kind):
                self.focus = _Focus(row.system, structure, (structure,), None, segment.sentence)
        self.focus.sentence = segment.sentence

    def _value_is_past(self, reading: Reading, segment: Segment) -> bool:
        """A word of the past beside the value, with no other value between."""
        readings = self.analysis.readings
        at = bisect_left(readings, reading.start, key=lambda r: r.start)
        start = max(segment.start, readings[at - 1].end if at else 0)
        end = min(segment.end, readings[at + 1].start if at + 1 < len(readings) else segment.end)
        now = [cue.start for cue in self._cues("now", start, end)]
        previous_end = readings[at - 1].end if at else -100
        for cue in self._cues("past", start, end):
            first, last = sorted((cue.start, reading.start))
            of_previous = cue.start < reading.start and cue.start - previous_end <= 1
            if not of_previous and not any(first <= token <= last for token in now):
                return True
        return False

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

    def _items(self, segment: Segment) -> list[Item]:
        """Resolve the mentions of a segment from left to right, moving the focus along."""
        mentions = [m for m in self._unmeasured(segment.start, segment.end) if not self._is_verb(m)]
        places = self._landmarks(segment.start, self._sentence_end(segment))
        items: list[Item] = []
        context = self.focus.system
        pending = mentions[::-1]
        while pending:
            mention = pending.pop()
            if self._foreign_subject(mention, segment):
                continue
            near = self._near_system(mention, places) or context
            item = self._of_patient(mention, segment, near) or self._resolve(mention, near)
            if item is None:
                pending += mention.inner[::-1]
                continue
            items.append(item)
            if (system := self._system_of(item.entry)) != "any":
                context = system
        return items

    def _unmeasured(self, start: int, end: int) -> list[Mention]:
        return [
            m
            for m in mentions_within(self.analysis.mentions, start, end)
            if m.start not in self.measured and m.end - 1 not in self.measured
        ]

    def _foreign_subject(self, mention: Mention, segment: Segment) -> bool:
        """ "The door's open", "costs have gone up": an adjective or verb with a subject that is no part of a patient."""
        if not mention.is_predicate or not any(
            e.in_focus or self._system_of(e) == "any" for e in mention.entries
        ):
            return False
        at = mention.start - 1
        while at >= segment.start and self.norms[at] in self.rules.degrees:
            at -= 1
        if at <= segment.start or self.norms[at] not in self.rules.linking:
            return False
        subject = self.norms[at - 1]
        if subject in self.rules.subjects or subject in self.rules.copulas or not subject.isalpha():
            return False
        covered = mentions_within(self.analysis.mentions, max(segment.start, at - 6), at)
        if any(m.end == at for m in covered) or (at - 1) in self.measured:
            return False
        determined = at - 2 >= segment.start and self.norms[at - 2] in (
            "the",
            "a",
            "that",
            "this",
            "my",
            "your",
            "our",
        )
        return determined or (at - 1 == segment.start and subject.endswith("s"))

    def _is_verb(self, mention: Mention) -> bool:
        """ "Lungs sound good": the verb, not the sound."""
        if mention.end - mention.start > 1 or self.norms[mention.start] not in self.rules.copulas:
            return False
        following = self.norms[mention.end] if mention.end < len(self.norms) else ""
        return following in self.rules.degrees or any(
            m.start == mention.end and m.is_predicate
            for m in mentions_within(self.analysis.mentions, mention.end, mention.end + 1)
        )

    def _sentence_end(self, segment: Segment) -> int:
        """End of the part of the sentence that can tell what a word before it means."""
        end = segment.end
        limit = min(len(self.norms), end + 10)
        while end < limit and self.norms[end] not in SENTENCE_MARKS:
            end += 1
        return end

    def _landmarks(self, start: int, end: int) -> list[tuple[int, int, str]]:
        """(start, end, system) of the words whose system needs no context."""
        found = []
        for mention in self._unmeasured(start, end):
            systems = {self._system_of(e) for e in mention.entries if not e.in_focus or e.kind == "structure"}
            if len(systems) == 1 and (system := systems.pop()) != "any":
                found.append((mention.start, mention.end, system))
        return found

    def _near_system(self, mention: Mention, places: list[tuple[int, int, str]]) -> str | None:
        best: tuple[int, str] | None = None
        for start, end, system in places:
            if start == mention.start:
                continue
            marks = sum(
                w in COMMA_MARKS for w in self.norms[min(end, mention.end) : max(start, mention.start)]
            )
            ahead = start >= mention.end
            distance = (start - mention.end) * 2 + 3 if ahead else mention.start - end
            distance += marks * (8 if ahead else 2)
            if best is None or distance < best[0]:
                best = (distance, system)
        return best[1] if best is not None and best[0] <= 16 else None

    def _of_patient(self, mention: Mention, segment: Segment, near: str | None) -> Item | None:
        """ "He's quiet", "Bright, alert.": said of the animal as a whole, where the word can mean that."""
        general = [e for e in mention.entries if self._system_of(e) == "general" and e.kind != "structure"]
        if not general or not mention.is_predicate:
            return None
        free = [e for e in mention.entries if not e.in_focus]
        if free and all(self._system_of(e) not in ("any", "general") for e in free):
            return None
        before = self.norms[segment.start : mention.start]
        subject = next(
            (w for w in reversed(before) if w not in self.rules.degrees and w not in self.rules.copulas), ""
        )
        if subject in ("he", "she", "they", "patient") and any(w in self.rules.copulas for w in before):
            return Item(mention, general[0], mention.similarity)
        if before and not all(w in self.rules.degrees or w == "and" for w in before):
            return None
        following = mentions_within(self.analysis.mentions, mention.end, mention.end + 3)
        if any(m.is_structure for m in following):
            return None
        if near is not None and any(self._system_of(e) == near for e in mention.entries):
            return None
        if self.focus.structure is not None and free and near != "general":
            composed = {
                self.lexicon.compose(self.focus.structure, e.id) for e in free if e.kind != "structure"
            }
            if any(self.lexicon.findings[c].system != "any" for c in composed):
                return None
        return Item(mention, general[0], mention.similarity)

    def _system_of(self, entry: Entry) -> str:
        if entry.kind == "structure":
            return self.lexicon.structures[entry.id].system
        return self.lexicon.findings[entry.id].system

    def _resolve(self, mention: Mention, context: str | None) -> Item | None:
        """The meaning that fits the system in focus; else the one that needs no focus."""
        fitting = [e for e in mention.entries if e.in_focus and self._system_of(e) == context]
        free = [e for e in mention.entries if not e.in_focus]
        if fitting:
            return Item(mention, self._prefer(mention, fitting), mention.similarity)
        if free:
            return Item(mention, self._prefer(mention, free), mention.similarity)
        if any(not e.in_focus for inner in mention.inner for e in inner.entries):
            return None
        systems = {self._system_of(e) for e in mention.entries}
        nouns = [e for e in mention.entries if e.kind != "predicate"]
        sided = self.cues.get("side", self.no_cues).ending_at(mention.start) is not None
        if len(systems) == 1 and nouns and (context is None or systems == {context} or sided):
            return Item(mention, nouns[0], 0.8)
        several_words = mention.end - mention.start > 1
        if nouns and context is None and (len(nouns) <= 2 or several_words):
            # Nose to tail, the first system that has the word.
            return Item(mention, min(nouns, key=lambda e: SYSTEMS.index(self._system_of(e))), 0.6)
        return None

    def _prefer(self, mention: Mention, entries: list[Entry]) -> Entry:
        """Between a structure and a finding of the same name: the finding, unless a verdict follows."""
        if len(entries) == 1:
            return entries[0]
        following = self.norms[mention.end] if mention.end < len(self.norms) else ""
        structures = [e for e in entries if e.kind == "structure"]
        if structures and (following in self.rules.copulas or len(structures) == len(entries)):
            return structures[0]
        return next(e for e in entries if e.kind != "structure")

    # --- talk that is set aside ------------------------------------------------------------------------------------------

    def _set_aside(self, index: int, segment: Segment, items: list[Item]) -> None:
        """Keep the focus and what was named, for answers that follow; state nothing."""
        self.negation = None
        self.pending = []
        structures = [item for item in items if item.is_structure]
        if structures:
            named = self.lexicon.structures[structures[-1].entry.id]
            self.talked = (named.system, named.id)
        if segment.act in (SpeechAct.INTENTION, SpeechAct.QUESTION) and structures:
            self._focus_on(structures, segment)
        for item in items:
            if not item.is_structure:
                places = self._places(item, items, segment)
                self._name(index, item, places[0][0] if places else None)
                concept = self.lexicon.findings[item.entry.id]
                if segment.act is SpeechAct.INTENTION and concept.system != "any" and not structures:
                    self.focus = _Focus(concept.system, None, (), None, segment.sentence)

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

    # --- findings --------------------------------------------------------------------------------------------------------

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
                    draft.confidence = min(draft.confidence, 0.75)
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

    def _focus_by_finding(self, draft: Draft, segment: Segment) -> None:
        own = self.lexicon.findings[draft.concept].structure
        moved = own is not None and own == draft.structure and not self._related(own, self.focus.structure)
        if draft.system != self.focus.system or moved:
            self.focus = _Focus(draft.system, draft.structure, (), draft.side, segment.sentence)
        elif draft.side is not None:
            self.focus.side = draft.side
        self.focus.sentence = segment.sentence

    def _focus_on(self, structures: list[Item], segment: Segment) -> None:
        last = structures[-1]
        structure = self.lexicon.structures[last.entry.id]
        side = self._side_at(last, segment)
        if side is None:
            sides = [
                cue for cue in self._sides(segment.start, segment.end) if self._owner(cue, segment) is None
            ]
            side = sides[-1].group.value if sides else None
        if side is None and (
            self._related(structure.id, self.focus.structure) or self._same_limb(last, structure)
        ):
            side = self.focus.side
        names = tuple(item.entry.id for item in structures)
        self.focus = _Focus(structure.system, structure.id, names, side, segment.sentence)
        for item in structures:
            self.out.mentioned.add(self.lexicon.structures[item.entry.id].system)

    def _same_limb(self, item: Item, structure: Structure) -> bool:
        """ "Left fore lame. Elbow fine, shoulder sore.": a single paired part goes with the side being examined."""
        singular = not self.norms[item.end - 1].endswith("s")
        return (
            singular
            and structure.paired
            and structure.system == self.focus.system
            and self.focus.side in ("left", "right")
        )

    def _related(self, one: str, other: str | None) -> bool:
        if other is None:
            return False
        structures = self.lexicon.structures
        return one == other or structures[one].part_of == other or structures[other].part_of == one

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
            if not any(word in COMMA_MARKS or word in ("no", "not", "or") for word in between):
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
                return words not in self.rules.praise and self._structure_before(item, items) is not None
            if light and following.is_structure:
                return True
        nxt = self.norms[item.end] if item.end < segment.end else ""
        if nxt.isalpha() and nxt not in self.rules.may_follow and self._position_cue(item.end) is None:
            return False
        if self._structure_before(item, items) is not None or self.pending:
            return True
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
        for kind in ("side", "anchor", "now", "act", "terminator"):
            if (cue := self.cues.get(kind, self.no_cues).starting_at(token)) is not None:
                return cue
        return None

    def _subject_pronoun(self, item: Item, segment: Segment) -> bool:
        for cue in self._cues("deictic", segment.start, item.start):
            gap = self.norms[cue.end : item.start]
            if all(word in self.rules.degrees or word in self.rules.copulas for word in gap):
                return True
        return False

    def _side_subject(self, item: Item, segment: Segment) -> bool:
        """ "Left one's fine", "right clear", "the rest fine": a side or remainder stands for the part in focus."""
        sides = [c for c in self._sides(segment.start, item.start) if self._owner(c, segment) is None]
        before = self.norms[segment.start : item.start]
        light = all(
            w in self.rules.degrees
            or w in self.rules.copulas
            or w in self.rules.determiners
            or w in ("and", "one", "side", "rest", "other", "otherwise", "remainder", "others", "ones", "two")
            for w in before
            if w not in ("left", "right", "both")
        )
        return light and (
            bool(sides) or any(w in ("rest", "other", "otherwise", "others", "remainder") for w in before)
        )

    def _structure_before(self, item: Item, items: list[Item]) -> Item | None:
        found = None
        for other in items:
            if other.start >= item.start:
                break
            if other.is_structure:
                found = other
        return found

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

    def _place(
        self, concept: FindingConcept, structure: str | None, item: Item | None
    ) -> tuple[str, str | None]:
        """System and structure of a finding: its own, else those of the structure, else the focus."""
        if concept.system != "any":
            if structure is None:
                return concept.system, concept.structure
            own = self.lexicon.structures[structure].system == concept.system
            return concept.system, structure if own or concept.structure is None else concept.structure
        if structure is not None:
            system: str = self.lexicon.structures[structure].system
            on_surface = (
                item is not None
                and system == "abdomen"
                and self._prepositions_after(item) & {"on", "over", "under"}
            )
            if system in concept.surface_of or (concept.surface_of and on_surface):
                return concept.home, structure
            return system, structure
        if item is not None and concept.nature == "normal" and self._said_of_patient(item):
            return concept.home, None
        if self.running is not None and item is not None:
            return (concept.home if self.running in concept.surface_of else self.running), None
        if self.focus.system is not None:
            system = self.focus.system
            if system in concept.surface_of:
                return concept.home, None
            return system, self.focus.structure
        return concept.home, None

    def _said_of_patient(self, item: Item) -> bool:
        """ "She moves freely": the subject is the animal, not the part in focus."""
        at = item.start - 1
        while at >= 0 and (self.norms[at] in self.rules.degrees or self.norms[at] in self.rules.copulas):
            at -= 1
        return at >= 0 and self.norms[at] in ("he", "she")

    def _prepositions_after(self, item: Item) -> set[str]:
        return set(self.norms[item.end : item.end + 2])

    # --- where -----------------------------------------------------------------------------------------------------------

    def _places(self, item: Item, items: list[Item], segment: Segment) -> list[tuple[str | None, str | None]]:
        """Structures (with their side, where said) that a finding belongs to."""
        structures = [other for other in items if other.is_structure]
        right = self._after_preposition(item, structures)
        attributive = self._attributive(item, structures, items)
        left = self._subjects(item, structures, segment)
        if item.mention.is_predicate and left and not self._consumed(left, items, item):
            # "Proprioception normal in all four limbs": the subject is what is judged.
            right = []
        compound = [s for s in structures if s.end == item.start and not item.mention.is_predicate]
        chosen = (
            compound
            or right
            or (attributive if not left or self._consumed(left, items, item) else [])
            or left
        )
        concept = self.lexicon.findings[item.entry.id]
        if not chosen and self.pending and item.mention.is_predicate:
            return [(structure, side) for structure, side in self.pending]
        pairs: list[tuple[str | None, str | None]] = [
            (other.entry.id, self._side_at(other, segment)) for other in chosen
        ]
        if self.pending and chosen and chosen == left and item.mention.is_predicate:
            pairs = [*self.pending, *pairs]
        several = concept.system == "any" and len(self.focus.structures) > 1 and item.mention.is_predicate
        if not pairs and several and self._speaks_of_focus(item, segment):
            return [(name, None) for name in self.focus.structures]
        return pairs

    def _speaks_of_focus(self, item: Item, segment: Segment) -> bool:
        return segment.sentence == self.focus.sentence or self._subject_pronoun(item, segment)

    def _after_preposition(self, item: Item, structures: list[Item]) -> list[Item]:
        """ "swelling of the left hock", "no discharge from the eyes or nose"."""
        following = [s for s in structures if s.start >= item.end]
        at = bisect_left(self.sizes, item.end, key=lambda z: z.start)
        sized = at < len(self.sizes) and self.sizes[at].start < item.end + 4
        if not following or following[0].start - item.end > (12 if sized else 7):
            return []
        gap = self.norms[item.end : following[0].start]
        if not any(word in self.rules.prepositions for word in gap) and not self._placed_by_side(
            item, following[0], gap
        ):
            return []
        if any(word in ("is", "are", "no", "not", "has") or word in COMMA_MARKS for word in gap):
            return []
        return self._listed(following)

    def _placed_by_side(self, item: Item, structure: Item, gap: list[str]) -> bool:
        """ "Wax both ears", "hair loss left flank": a side leads to the part, and no verdict on the part follows."""
        if (
            not gap
            or len(gap) > 3
            or not all(
                w in ("left", "right", "both", "upper", "lower") or w in self.rules.determiners for w in gap
            )
        ):
            return False
        following = self.norms[structure.end] if structure.end < len(self.norms) else ""
        verdict = mentions_within(self.analysis.mentions, structure.end, structure.end + 2)
        sided = any(w in ("left", "right", "both") for w in gap)
        return sided and following not in self.rules.copulas and not any(m.is_predicate for m in verdict)

    def _listed(self, structures: list[Item]) -> list[Item]:
        """The first structure and those joined to it."""
        group = [structures[0]]
        for following in structures[1:]:
            gap = self.norms[group[-1].end : following.start]
            joined = any(word in ("and", "or", "nor", "to") for word in gap)
            light = all(
                word in ("and", "or", "nor", "to")
                or word in self.rules.determiners
                or word in self.rules.prepositions
                or word in ("left", "right", "both")
                for word in gap
            )
            if not (joined and light):
                break
            group.append(following)
        return group

    def _attributive(self, item: Item, structures: list[Item], items: list[Item]) -> list[Item]:
        """ "lovely clean ears", "a swollen left hock"."""
        if not item.mention.is_predicate:
            return []
        following = [s for s in structures if s.start >= item.end]
        if not following:
            return []
        gap_items = [o for o in items if item.end <= o.start < following[0].start]
        gap = self.norms[item.end : following[0].start]
        if len(gap) > 5 or any(word in self.rules.copulas for word in gap):
            return []
        allowed = (
            "left",
            "right",
            "upper",
            "lower",
            "front",
            "back",
            "and",
            "looking",
            "hind",
            "both",
            "little",
            "old",
        )
        covered = {t for o in gap_items for t in range(o.start, o.end)}
        for offset, word in enumerate(gap):
            if item.end + offset in covered or word in allowed or word in self.rules.degrees:
                continue
            return []
        if any(not o.mention.is_predicate for o in gap_items):
            return []
        return self._listed(following)

    def _consumed(self, left: list[Item], items: list[Item], item: Item) -> bool:
        """The structure before has its own adjective in front or its verdict already ("clean ears bright eyes")."""
        subject = left[-1]
        verdicts = [o for o in items if subject.end <= o.start < item.start and not o.is_structure]
        in_front = [
            o for o in items if not o.is_structure and o.mention.is_predicate and o.end == subject.start
        ]
        adjacent = item.start == subject.end
        joined = any(word in ("and", ",", "or") for word in self.norms[subject.end : item.start])
        return (bool(verdicts) and not joined) or (bool(in_front) and adjacent)

    def _subjects(self, item: Item, structures: list[Item], segment: Segment) -> list[Item]:
        """The structures before a finding in its segment, joined ones together."""
        before = [s for s in structures if s.end <= item.start]
        if not before:
            return []
        group = [before[-1]]
        for previous in reversed(before[:-1]):
            gap = self.norms[previous.end : group[0].start]
            if (
                gap
                and all(
                    word in ("and", "or", "nor", ",")
                    or word in self.rules.determiners
                    or word in ("left", "right", "both")
                    for word in gap
                )
                and any(word in ("and", "or", "nor") for word in gap)
            ):
                group.insert(0, previous)
            else:
                break
        return group

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
        if before and before[-1] in ("or", "nor"):
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

    # --- there or not ----------------------------------------------------------------------------------------------------

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
            if self._cancels(cue):
                self.negation = None
                continue
            self.negation = _Negation(cue, index, cue.end)

    def _cancels(self, cue: Cue) -> bool:
        """ "not without pain", "no lack of appetite": the second denial undoes the first."""
        words = self.norms[cue.start : cue.end]
        return (
            self.negation is not None
            and not self.negation.denied
            and words[0] in ("without", "lack", "absence", "free", "lacks")
            and cue.start - self.negation.last_end <= 2
        )

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
        return self._deny(item, concept, verdict)

    def _new_subject(self, negation: _Negation, item: Item, items: list[Item]) -> bool:
        """ "no <word not understood> nose wet": "no" denies a noun; a part with its own adjective is a new statement."""
        if (
            self.norms[negation.cue.end - 1] not in ("no", "or", "nor", "nil", "without")
            or not item.mention.is_predicate
        ):
            return False
        between = [o for o in items if negation.cue.end <= o.start < item.start]
        if not any(o.is_structure for o in between):
            return False
        subject = next(o for o in between if o.is_structure)
        return subject.start > negation.cue.end or self.lexicon.findings[item.entry.id].nature == "normal"

    def _deny(self, item: Item, concept: FindingConcept, sure: bool) -> tuple[bool, bool]:
        negation = cast("_Negation", self.negation)
        negation.last_end = item.end
        negation.denied += 1
        negation.last_system = concept.system
        return True, sure

    def _list_goes_on(
        self,
        item: Item,
        concept: FindingConcept,
        items: list[Item],
        position: int,
        words: list[str],
        segment: Segment,
    ) -> bool | None:
        """Whether a further finding is still in the denied list: True surely, False perhaps, None no."""
        negation = cast("_Negation", self.negation)
        joined_by_or = "or" in words or "nor" in words
        if joined_by_or:
            return True
        if self._opens_present(negation.last_end, item.start + 1):
            return None
        if any(w in ("the", "his", "her", "this", "that", "these", "those") for w in words):
            return None
        if concept.nature == "normal":
            return None
        joined = "and" in words
        extra = [
            w
            for w in words
            if w not in ("and", "any", "other", "obvious", "overt", "of", "further", "real", "apparent")
        ]
        if joined:
            return True if not extra else None
        if self._closes_with_or(items, position, segment):
            return True
        if len(extra) > 3:
            return None
        same = negation.last_system in (concept.system, "any") or concept.system == "any"
        if not same:
            return None
        punctuated = any(w in COMMA_MARKS for w in self.norms[negation.last_end : item.start])
        return not extra if punctuated else False

    def _opens_present(self, start: int, end: int) -> bool:
        for kind in ("present_opening", "severity", "possible_before"):
            if self._cues(kind, start, end):
                return True
        return any(start <= grade.start < end for grade in self.grades)

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
            if word in ("or", "nor"):
                return True
            if (
                word not in COMMA_MARKS
                and at not in known
                and word not in ("any", "obvious", "other", "overt")
            ):
                return False
            if at in known and self.norms[at] in ("normal", "clear", "clean", "fine"):
                return False
            at += 1
        return False

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
            else:
                draft.assertion, draft.past = "absent", False

    def _ellipsis(self, index: int, segment: Segment, findings: list[Item], sentence: int) -> None:
        """ "…and hers has none", "can't hear it today", "none seen": the finding was named just before."""
        if findings:
            return
        cue = self._elliptical_denial(segment)
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
        asked = source.act is SpeechAct.QUESTION and self._asks_owner(source)
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
            if source.act in _CARRYING:
                self._resolve_antecedent(draft, item)
                continue
            self.out.drafts.append(draft)

    def _resolve_antecedent(self, draft: Draft, item: Item) -> None:
        """ "Previously a murmur, can't hear it today": the earlier fact is past, the new one stands beside it."""
        earlier = [d for d in self.out.drafts if d.start == item.start and not d.superseded]
        if any(d.past or d.reported for d in earlier) or not earlier:
            self.out.drafts.append(draft)
            return
        for other in earlier:
            if other.assertion != draft.assertion:
                other.assertion = draft.assertion

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
        return answered or (found and len(words) <= 6)

    def _asks_owner(self, segment: Segment) -> bool:
        words = self.norms[segment.start : segment.end]
        return any(word in ("you", "home", "been", "he", "she", "your") for word in words)

    # --- time, doubt, sides, degrees ---------------------------------------------------------------------------------------

    def _is_past(self, item: Item, segment: Segment) -> bool:
        for cue in self._cues("past", segment.start, segment.end):
            before = self.norms[cue.start - 1] if cue.start else ""
            if before in ("since", "for", "from", "over", "in", "than", "compared", "as", "like", "until"):
                continue
            between = self._cues("now", cue.end, item.start) if cue.end <= item.start else []
            if not between:
                return True
        return False

    def _is_possible(self, item: Item, segment: Segment) -> bool:
        for cue in self._cues("possible_before", segment.start, item.start):
            gap = self.norms[cue.end : item.start]
            if len(gap) <= 8 and "no" not in gap and "not" not in gap:
                return True
        for cue in self._cues("possible_after", item.end, segment.end):
            ends = not mentions_within(self.analysis.mentions, cue.end, min(segment.end, cue.end + 4))
            if cue.start - item.end <= 6 and ends:
                return True
        return False

    def _sides(self, start: int, end: int) -> list[Cue]:
        return [
            cue
            for cue in self._cues("side", start, end)
            if cue.start not in self.cancelled_sides and self._is_side(cue)
        ]

    def _is_side(self, cue: Cue) -> bool:
        """ "Right, let's see" is no side: a lone "right" before a pause at the beginning of a sentence."""
        if self.norms[cue.start] != "right" or cue.end - cue.start > 1:
            return True
        following = self.norms[cue.end] if cue.end < len(self.norms) else ""
        before = self.norms[cue.start - 1] if cue.start else "."
        opens = before in (".", "!", "?", "\n", ";", ",") or cue.start == 0
        if before == "," and "left" in self.norms[max(0, cue.start - 12) : cue.start]:
            return True
        return not (opens and (not following or not following[0].isalnum()))

    def _first_side(self, segment: Segment) -> str | None:
        sides = self._sides(segment.start, segment.end)
        return sides[0].group.value if sides else None

    def _side_at(self, structure: Item, segment: Segment) -> str | None:
        """The side said with a structure: "left ear", "ear on the left"."""
        owned = [
            c for c in self._sides(segment.start, segment.end) if self._owner(c, segment) == structure.start
        ]
        if owned:
            return owned[-1].group.value
        # A side may be part of the part's own name ("left apex").
        words = self.norms[structure.start : structure.end]
        return next((w for w in ("left", "right") if w in words), None)

    def _owner(self, cue: Cue, segment: Segment) -> int | None:
        """First token of the mention that a side belongs to; None when it stands for a part itself ("left one's fine")."""
        if cue.start in self.owners:
            return self.owners[cue.start]
        self.owners[cue.start] = self._find_owner(cue, segment)
        return self.owners[cue.start]

    def _find_owner(self, cue: Cue, segment: Segment) -> int | None:
        after = mentions_within(self.analysis.mentions, cue.end, min(segment.end, cue.end + 4))
        if after:
            gap = self.norms[cue.end : after[0].start]
            if not any(
                w in self.rules.copulas or w in ("one", "side", "no", "and", "or") or w in COMMA_MARKS
                for w in gap
            ):
                return after[0].start
        before = mentions_within(self.analysis.mentions, max(segment.start, cue.start - 8), cue.start)
        posed = self.norms[cue.start] == "on" or (
            cue.start > segment.start and self.norms[cue.start - 1] in self.rules.prepositions
        )
        posed = posed or (
            cue.start > segment.start + 1
            and self.norms[cue.start - 1] == "the"
            and self.norms[cue.start - 2] in self.rules.prepositions
        )
        bilateral = self.norms[cue.start] in ("bilaterally", "bilateral", "both", "each")
        if before and (posed or bilateral or before[-1].end == cue.start):
            following = self.norms[cue.end] if cue.end < segment.end else ""
            subject = following in self.rules.copulas or following in ("one", "'s")
            if not subject:
                return before[-1].start
        return None

    def _side_for(self, item: Item, structure: str | None, segment: Segment) -> str | None:
        """The side of a finding: its own, else that of the subject before it, else the one in focus for the same part."""
        sides = self._sides(segment.start, segment.end)
        for cue in sides:
            if self._owner(cue, segment) == item.start:
                return cue.group.value
        subjects = [
            c
            for c in sides
            if c.end <= item.start and self._owner(c, segment) is None and self._reaches(c, item)
        ]
        if subjects:
            return subjects[-1].group.value
        trailing = [
            c
            for c in sides
            if c.start >= item.end and self._owner(c, segment) is None and c.start - item.end <= 6
        ]
        if trailing and not mentions_within(self.analysis.mentions, item.end, trailing[0].start):
            following = self.norms[trailing[0].end] if trailing[0].end < segment.end else ""
            if following not in self.rules.copulas and following not in ("one", "'s"):
                return trailing[0].group.value
        if self.leading_side is not None:
            return self.leading_side
        if (
            structure is None
            or self.focus.side not in ("left", "right")
            or segment.sentence - self.focus.sentence > 1
        ):
            return None
        place = self.lexicon.structures[structure]
        if place.paired and self._related(structure, self.focus.structure):
            return self.focus.side
        if self.negation is not None:
            return None
        # "Off-loading the left front. At the walk, lame": a sided finding without a part goes with the side in hand.
        concept = self.lexicon.findings[item.entry.id]
        named = any(
            m.is_structure for m in mentions_within(self.analysis.mentions, segment.start, segment.end)
        )
        if (
            concept.sided
            and concept.nature == "abnormal"
            and concept.system == self.focus.system
            and not named
        ):
            return self.focus.side
        return None

    def _limb_side(self, item: Item, structure: str | None, segment: Segment) -> str | None:
        """The side being examined, for a single paired part of the same system named without a side."""
        if (
            structure is None
            or segment.sentence - self.focus.sentence > 1
            or self._sides(segment.start, segment.end)
        ):
            return None
        named = [
            m
            for m in mentions_within(self.analysis.mentions, segment.start, segment.end)
            if any(e.kind == "structure" and e.id == structure for e in m.entries)
        ]
        if not named:
            return None
        place = Item(named[-1], named[-1].entries[0])
        return self.focus.side if self._same_limb(place, self.lexicon.structures[structure]) else None

    def _reaches(self, cue: Cue, item: Item) -> bool:
        """No other part of the body lies between a side used as a subject and the finding."""
        return item.start - cue.end <= 14 and not any(
            m.is_structure for m in mentions_within(self.analysis.mentions, cue.end, item.start)
        )

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
        if concept.nature != "abnormal" or item.entry.kind != "noun":
            return None
        low = bisect_left(self.sizes, max(0, segment.start - 12), key=lambda s: s.start)
        for size in self.sizes[low:]:
            if size.start >= segment.end + 12:
                break
            near = size.end - item.start if size.end <= item.start else size.start - item.end
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

    # --- corrections -----------------------------------------------------------------------------------------------------

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
        size = next((z for z in self.sizes if start <= z.start < segment.end), None)
        grade = next(
            (g for g in self.grades if start <= g.start < segment.end and g.start not in self.measured), None
        )
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

    def _last_drafts(self, segment: Segment) -> list[Draft]:
        """The findings of the last segment that has any, if it is near enough to be meant."""
        last = next((d for d in reversed(self.out.drafts) if not d.superseded), None)
        if last is None or segment.sentence - last.sentence > 1:
            return []
        return [d for d in self.out.drafts if d.segment == last.segment and not d.superseded]

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


__all__ = ["Draft", "Read", "Refusal", "StatementReader", "Withdrawal", "replace"]
