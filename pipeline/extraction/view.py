"""What a reading of one text rests on: the tokens, cues and mentions in view, what is in focus, and what was found so far."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from dataclasses import dataclass
from itertools import takewhile

from lexicon import Entry, Lexicon
from lexicon.schema import Structure
from pipeline.extraction.attributes import AttributeReader, CueIndex, Graded, Sized
from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import Draft, Focus, Item, Negation, Read, Replaceable
from pipeline.extraction.mentions import Mention, mentions_within
from pipeline.extraction.segments import Segment
from pipeline.extraction.teeth import ToothNumbers
from pipeline.extraction.tokens import MARKS, SENTENCE_MARKS, Analysis


@dataclass
class _Words:
    """The table "reading" of lexicon/words.toml, which says of each class what it is for."""

    bare_denial: frozenset[str]
    auxiliaries: frozenset[str]
    yes: frozenset[str]
    answers_of_amount: frozenset[str]
    asking_owner: frozenset[str]
    linking: frozenset[str]
    possessive_subjects: frozenset[str]
    definite: frozenset[str]
    known_already: frozenset[str]
    animal_pronouns: frozenset[str]
    animal_subjects: frozenset[str]
    joining: frozenset[str]
    choosing: frozenset[str]
    sides: frozenset[str]
    distributing: frozenset[str]
    side_nouns: frozenset[str]
    side_parted: frozenset[str]
    others: frozenset[str]
    lesion_surfaces: frozenset[str]
    of_whole_animal: frozenset[str]
    remainder: frozenset[str]
    side_fillers: frozenset[str]
    no_side_after_right: frozenset[str]
    no_side_before_left: frozenset[str]
    regions: frozenset[str]
    unsurprising: frozenset[str]
    verbs_too: frozenset[str]
    before_verb: frozenset[str]
    parting: frozenset[str]
    placing: frozenset[str]
    undoing: frozenset[str]
    noun_denials: frozenset[str]
    list_fillers: frozenset[str]
    not_past_after: frozenset[str]
    degree_ends: frozenset[str]
    to_degree: frozenset[str]
    summing: frozenset[str]
    side_stand_ins: frozenset[str]
    paired_organs: frozenset[str]
    abstract_parts: frozenset[str]
    distributing_before: frozenset[str]
    denying: frozenset[str]
    between_count: frozenset[str]
    limbs: frozenset[str]
    side_letters: frozenset[str]
    before_size: frozenset[str]
    alike: frozenset[str]
    comparatives: frozenset[str]
    on_either_hand: frozenset[str]
    going_on: frozenset[str]
    comparing_to: frozenset[str]
    opposites: frozenset[str]
    sizing: frozenset[str]
    one_more: frozenset[str]
    between_sides: frozenset[str]
    of_whole: frozenset[str]
    before_one_more: frozenset[str]


class ReadingRules(_Words):
    """The closed classes of words that a reading works with, from lexicon/words.toml."""

    def __init__(self, lexicon: Lexicon) -> None:
        super().__init__(**{name: frozenset(words) for name, words in lexicon.words["reading"].items()})
        self.lexicon = lexicon
        self.part_names = frozenset(
            entry.term for entry in lexicon.entries if entry.kind == "structure" and not entry.in_focus
        )
        self.attributes = AttributeReader(lexicon)
        self.teeth = ToothNumbers(lexicon)
        groups = lexicon.words["groups"]
        self.copulas = frozenset(groups["copulas"])
        self.determiners = frozenset(groups["articles"]) | frozenset(groups["possessives"])
        self.articles = frozenset(groups["articles"])
        self.prepositions = frozenset(groups["prepositions"])
        self.plurals = frozenset(groups["irregular_plurals"])
        self.locating = frozenset(groups["locating"])
        self.degrees = frozenset(groups["degree_words"])
        self.weak = frozenset(lexicon.words["verdicts"]["weak"])
        self.told = frozenset(lexicon.words["told"]["at_home"])
        self.seen = frozenset(lexicon.words["told"]["seen"])
        self.asked = self.told | frozenset(lexicon.words["told"]["asked"])
        self.subjects = frozenset(groups["subjects"])
        self.before_part = frozenset(groups["before_part"])
        self.inside = frozenset(groups["inside_systems"])
        self.on_surface = frozenset(groups["surface_prepositions"])
        self.exam_words = frozenset(groups["exam_words"])
        self.comparing = frozenset(lexicon.words["measuring"]["comparing"])
        self.weak_corrections = frozenset(lexicon.words["correcting"]["weak"])
        self.before_weak = frozenset(lexicon.words["correcting"]["before_weak"])
        self.explaining = frozenset(lexicon.words["correcting"]["explaining"])
        self.not_withdrawing = frozenset(lexicon.words["correcting"]["not_withdrawing"])
        self.statement_openers = frozenset(lexicon.words["correcting"]["statement_openers"])
        self.praise = frozenset(lexicon.words["verdicts"]["praise"])
        self.hedges = frozenset(lexicon.words["verdicts"]["hedges"])
        self.turning = frozenset(lexicon.words["verdicts"]["turning"])
        self.may_follow = frozenset(lexicon.words["verdicts"]["may_follow"])


class View:
    """What a reading of one text rests on: the tokens, cues and mentions in view, what is in focus, and what was found so far."""

    def __init__(self, rules: ReadingRules, analysis: Analysis) -> None:
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
        self.size_starts = {size.start for size in self.sizes}
        self.size_ends = {size.end for size in self.sizes}
        self.durations = rules.attributes.durations(analysis)
        both = frozenset(self.lexicon.words["measuring"]["also_findings"])
        self.measured = {
            t for r in analysis.readings if r.kind not in both for t in range(r.start, r.end)
        } - self._judged(analysis)
        teeth = rules.teeth.find(analysis, self.measured)
        self.teeth = {tooth.start: tooth for tooth in teeth}
        if teeth:
            taken = {tooth.start for tooth in teeth}
            named = [m for m in analysis.mentions if m.start not in taken]
            analysis.mentions = sorted([*named, *(t.mention() for t in teeth)], key=lambda m: m.start)
        self.focus = Focus()
        self.named: list[tuple[int, Item, str | None, str]] = []
        self.pending: list[tuple[str, str | None]] = []
        self.negation: Negation | None = None
        self.cancelled_sides: set[int] = set()
        self.owners: dict[int, int | None] = {}
        self.talked: tuple[str, str] | None = None
        self.told_in: int | None = None  # sentence in which something was said that only the owner can know
        self.telling: int | None = None  # last segment in which the owner's words were told
        self.headed: int | None = None  # sentence that is headed "owner:"
        self.scanned = 0  # cues before this token have been taken up
        self.past_opening: int | None = None
        self.leading_side: str | None = None  # "Left hind, he flips it back": a side that opens its sentence
        self.running: str | None = None  # system of the last finding of the segment that has one of its own
        self.correcting: Cue | None = None
        self.replaceable: Replaceable | None = None
        self.out = Read()

    def _cues(self, kind: str, start: int, end: int) -> list[Cue]:
        return self.cues.get(kind, self.no_cues).within(start, end)

    def _grades_within(self, start: int, end: int) -> list[Graded]:
        """Grades that begin in tokens start to end and are no measured value."""
        low = bisect_left(self.grades, start, key=lambda grade: grade.start)
        high = bisect_left(self.grades, end, key=lambda grade: grade.start)
        return [grade for grade in self.grades[low:high] if grade.start not in self.measured]

    def _size_within(self, start: int, end: int) -> Sized | None:
        """The first size that begins in tokens start to end."""
        at = bisect_left(self.sizes, start, key=lambda size: size.start)
        return self.sizes[at] if at < len(self.sizes) and self.sizes[at].start < end else None

    def _unmeasured(self, start: int, end: int) -> list[Mention]:
        return [
            m
            for m in mentions_within(self.analysis.mentions, start, end)
            if m.start not in self.measured and m.end - 1 not in self.measured
        ]

    def _system_of(self, entry: Entry) -> str:
        if entry.kind == "structure":
            return self.lexicon.structures[entry.id].system
        return self.lexicon.findings[entry.id].system

    def _related(self, one: str, other: str | None) -> bool:
        if other is None:
            return False
        structures = self.lexicon.structures
        near = one == other or structures[one].part_of == other or structures[other].part_of == one
        if {one, other} & self.rules.abstract_parts:
            return structures[one].system == structures[other].system
        organ = self._organ(one)
        return near or (organ in self.rules.paired_organs and organ == self._organ(other))

    def _organ(self, structure: str) -> str:
        """The whole that a structure is part of."""
        while (whole := self.lexicon.structures[structure].part_of) is not None:
            structure = whole
        return structure

    def _same_limb(self, item: Item, structure: Structure) -> bool:
        """ "Left fore lame. Elbow fine, shoulder sore.": a single paired part goes with the side being examined."""
        singular = not self._is_plural(self.norms[item.end - 1])
        return (
            singular
            and structure.paired
            and structure.system == self.focus.system == "musculoskeletal"
            and self.focus.side in ("left", "right")
        )

    def _judged(self, analysis: Analysis) -> set[int]:
        """ "Heart's going fast, two twenty": what is wrong, said between a name and its value, is a finding all the same."""
        wrong: set[int] = set()
        for reading in analysis.readings:
            name = reading.name or (reading.end, reading.end)
            for mention in mentions_within(analysis.mentions, name[0], reading.end):
                if mention.end <= name[1]:
                    continue
                natures = {
                    self.lexicon.findings[e.id].nature for e in mention.entries if e.kind == "predicate"
                }
                if natures == {"abnormal"}:
                    # The name of the value then names the part that the word is said of.
                    wrong.update(range(mention.start, mention.end), range(*name))
        return wrong

    def _is_plural(self, word: str) -> bool:
        return word.endswith("s") or word in self.rules.plurals

    def _side_value(self, cue: Cue) -> str | None:
        """Left, right or both; "the other" and "that side" go by the side spoken of before."""
        if cue.group.value in ("left", "right") and self._both_named(cue):
            return "both"
        if cue.group.value not in ("other", "same"):
            return cue.group.value
        before = self.focus.side
        if before not in ("left", "right") or cue.group.value == "same":
            before = self._side_said_before(cue) or before
        return before if cue.group.value == "same" else {"left": "right", "right": "left"}.get(before or "")

    def _both_named(self, cue: Cue) -> bool:
        """ "On the upper left and upper right": one side and the other, with nothing of their own between."""
        index, light = self.cues["side"], self.rules.between_sides
        following = next(iter(index.within(cue.end, cue.end + 6)), None)
        before = next((c for c in reversed(index.within(max(0, cue.start - 6), cue.start))), None)
        for one, other in ((cue, following), (before, cue)):
            if one is None or other is None or {one.group.value, other.group.value} != {"left", "right"}:
                continue
            gap = self.norms[one.end : other.start]
            if "and" in gap and all(word in light for word in gap):
                return True
        return False

    def _side_said_before(self, cue: Cue) -> str | None:
        earlier = [c.group.value for c in self._sides(max(0, cue.start - 40), cue.start)]
        return next((side for side in reversed(earlier) if side in ("left", "right")), None)

    def _sides(self, start: int, end: int) -> list[Cue]:
        return [
            cue
            for cue in self._cues("side", start, end)
            if cue.start not in self.cancelled_sides and self._is_side(cue)
        ]

    def _is_side(self, cue: Cue) -> bool:
        """ "Right, let's see" is no side: a lone "right" before a pause at the beginning of a sentence."""
        if self.norms[cue.start] in self.rules.distributing and cue.end - cue.start == 1:
            return self._distributes(cue)
        if self.norms[max(0, cue.start - 3) : cue.start] == ["size", "of", "the"]:
            return False  # "twice the size of the right": what it is compared with
        if self.norms[cue.start] == "other" and cue.end - cue.start == 1:
            # "Other hip's good"; but "no other lumps", "other dogs", "other nodes".
            named = mentions_within(self.analysis.mentions, cue.end, cue.end + 1)
            single = bool(named) and not self.norms[named[0].end - 1].endswith("s")
            return single and any(
                e.kind == "structure" and self.lexicon.structures[e.id].paired for e in named[0].entries
            )
        if self.norms[cue.start] in self.rules.side_letters:
            named = mentions_within(self.analysis.mentions, cue.end, cue.end + 1)
            return any(m.is_structure for m in named)
        if self.norms[cue.start] != "right" or cue.end - cue.start > 1:
            return True
        following = self.norms[cue.end] if cue.end < len(self.norms) else ""
        before = self.norms[cue.start - 1] if cue.start else "."
        opens = before in SENTENCE_MARKS or before == "," or cue.start == 0
        if before == "," and self._wrong_before(cue.start - 1):
            return True
        if following == ":" or (before == "," and "left" in self.norms[max(0, cue.start - 12) : cue.start]):
            return True
        if opens and following == "," and "left" in self.norms[max(0, cue.start - 25) : cue.start + 12]:
            # "Left, mild wax. Right, clean." but "Right, heart next."
            said = mentions_within(self.analysis.mentions, cue.end + 1, cue.end + 2)
            amount = self.cues.get("severity", self.no_cues).starting_at(cue.end + 1)
            if amount is not None or any(not m.is_structure for m in said):
                return True
            return self._left_set_off(cue.start)
        if following == "back":
            limb = mentions_within(self.analysis.mentions, cue.end, cue.end + 1)
            return any(m.is_structure and m.end - m.start > 1 for m in limb)
        return not (opens and (not following or not following[0].isalnum()))

    def _left_set_off(self, right: int) -> bool:
        """ "Left, good. Right, a small hook": the left before stands between two marks, and so does the right."""
        return any(
            self.norms[at] == "left"
            and self.norms[at + 1] in (",", ":")
            and (at == 0 or self.norms[at - 1] in MARKS)
            for at in range(max(0, right - 25), right)
        )

    def _wrong_before(self, comma: int) -> bool:
        """ "Torn dewclaw, right." Right after something that is wrong it is where, and no word of discourse."""
        said = mentions_within(self.analysis.mentions, max(0, comma - 8), comma)
        said = [m for m in said if MARKS.isdisjoint(self.norms[m.end : comma]) and not m.is_structure]
        return any(
            e.kind != "structure" and self.lexicon.findings[e.id].nature == "abnormal" and not e.in_focus
            for m in said[-1:]
            for e in m.entries
        )

    def _distributes(self, cue: Cue) -> bool:
        """ "Both ears", "in each"; but not "three warts, each 3 mm", "no lumps either", "heart and lungs both fine"."""
        word = self.norms[cue.start]
        near = mentions_within(self.analysis.mentions, max(0, cue.start - 6), cue.end + 3)
        after = [m for m in near if m.start >= cue.end and m.is_structure]
        if word in self.rules.distributing_before:
            following = self.norms[cue.end] if cue.end < len(self.norms) else ""
            before = self.norms[cue.start - 1] if cue.start else ""
            return bool(after) or following in self.rules.side_stand_ins or before in self.rules.prepositions
        if after and after[0].start == cue.end:
            return self._paired(after[0])
        parts = [m for m in near if m.end <= cue.start and m.is_structure]
        joined = len(parts) > 1 and any(
            w in self.rules.joining for w in self.norms[parts[-2].end : parts[-1].start]
        )
        return not (joined and cue.start - parts[-1].end <= 2)

    def _paired(self, mention: Mention) -> bool:
        return any(e.kind == "structure" and self.lexicon.structures[e.id].paired for e in mention.entries)

    def _first_side(self, segment: Segment) -> str | None:
        sides = self._sides(segment.start, segment.end)
        return self._side_value(sides[0]) if sides else None

    def _last_drafts(self, segment: Segment) -> list[Draft]:
        """The findings of the last segment that has any, if it is near enough to be meant."""
        last = next((d for d in reversed(self.out.drafts) if not d.superseded), None)
        if last is None or segment.sentence - last.sentence > 1:
            return []
        of_segment = takewhile(lambda d: d.superseded or d.segment >= last.segment, reversed(self.out.drafts))
        return [d for d in of_segment if d.segment == last.segment and not d.superseded][::-1]

    def _structure_before(self, item: Item, items: list[Item]) -> Item | None:
        found = None
        for other in items:
            if other.start >= item.start:
                break
            if other.is_structure:
                found = other
        return found

    def _subject_pronoun(self, item: Item, segment: Segment) -> bool:
        for cue in self._cues("deictic", segment.start, item.start):
            gap = self.norms[cue.end : item.start]
            if all(word in self.rules.degrees or word in self.rules.copulas for word in gap):
                return True
        return False

    def _said_of_patient(self, item: Item) -> bool:
        """ "She moves freely": the subject is the animal, not the part in focus."""
        at = item.start - 1
        while at >= 0 and (self.norms[at] in self.rules.degrees or self.norms[at] in self.rules.copulas):
            at -= 1
        return at >= 0 and self.norms[at] in self.rules.animal_pronouns
