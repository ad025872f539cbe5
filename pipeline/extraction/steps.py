"""Where a step of a plan begins, and what sort of step it is: from the words of lexicon/plan.toml and a little grammar.

A step is announced ("we'll run bloods"), told as an instruction ("keep him quiet"), needed ("he's due his booster"), done ("nails
clipped") or a bare thing ("hip x-rays on Tuesday").
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

from lexicon import Lexicon
from pipeline.extraction.due import DueReader
from pipeline.extraction.model import PlanKind
from pipeline.extraction.tokens import Analysis

V = TypeVar("V")
_SUBJECT_REACH = 4  # tokens from the head of a clause to its modal verb
_THING_REACH = 5  # tokens from the head of a clause to the thing that is given or done
_ADVERBS_REACH = 5  # tokens between a modal verb and its verb
_NAMED_REACH = 7  # tokens from the head of a clause to what was done ("fur between his pads trimmed")


class Manner(StrEnum):
    """How a step is said."""

    ANNOUNCED = "announced"
    INSTRUCTION = "instruction"
    NEEDED = "needed"
    DONE = "done"
    SETTLED = "settled"
    THING = "thing"


@dataclass(frozen=True, slots=True)
class Step:
    """A step whose words begin at `start`; what tells it is at `told` (exclusive `end`)."""

    start: int
    told: int
    end: int
    manner: Manner
    kind: PlanKind


class Phrases(Generic[V]):
    """Phrases of one or more words, each with what it stands for; the longest wins."""

    def __init__(self, phrases: Iterable[tuple[str, V]]) -> None:
        self._by_first: dict[str, list[tuple[tuple[str, ...], V]]] = defaultdict(list)
        for phrase, value in phrases:
            words = tuple(phrase.split())
            self._by_first[words[0]].append((words, value))
        for found in self._by_first.values():
            found.sort(key=lambda item: -len(item[0]))

    def at(self, norms: Sequence[str], at: int, end: int) -> tuple[int, V] | None:
        """(the token after the phrase, its value) for the longest phrase that begins at a token and ends by `end`."""
        if at >= end:
            return None
        for words, value in self._by_first.get(norms[at], ()):
            if len(words) == 1 or tuple(norms[at : min(at + len(words), end)]) == words:
                return at + len(words), value
        return None

    def within(self, norms: Sequence[str], start: int, end: int) -> Iterator[tuple[int, int, V]]:
        """(start, end, value) of the phrases in tokens start to end, without overlaps."""
        at = start
        while at < end:
            found = self.at(norms, at, end)
            if found is None:
                at += 1
            else:
                yield at, *found
                at = found[0]


def verb_forms(base: str) -> tuple[set[str], set[str]]:
    """The regular forms in -ing and in -ed of a verb: "clip" → clipping, clipped; of a phrase those of its first word."""
    first, _, rest = base.partition(" ")
    stems = {first.removesuffix("e")}
    if len(first) > 2 and first[-1] not in "aeiouwxy" and first[-2] in "aeiou":
        stems.add(first + first[-1])
    after = f" {rest}" if rest else ""
    past = {f"{stem}ed{after}" for stem in stems}
    if first.endswith("y") and first[-2:-1] not in "aeiou":
        past = {f"{first[:-1]}ied{after}"}
    return {f"{stem}ing{after}" for stem in stems}, past


@dataclass(frozen=True, slots=True)
class _Verb:
    """A verb by its base form."""

    base: str
    kind: PlanKind


class StepGrammar:
    """Tells whether tokens begin with a step of a plan."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.plan["grammar"]
        kinds = {PlanKind(name): table for name, table in lexicon.plan["kinds"].items()}
        verbs = {base: _Verb(base, kind) for kind, table in kinds.items() for base in table["verbs"]}
        self.things = Phrases((thing, kind) for kind, table in kinds.items() for thing in table["things"])
        self.verbs = Phrases(verbs.items())
        gerunds, pasts = [], []
        for base, verb in verbs.items():
            ing, ed = verb_forms(base)
            gerunds += [(form, verb) for form in ing]
            pasts += [(form, verb) for form in ed]
        irregular = [(form, verbs[base]) for form, base in words["irregular_forms"].items() if base in verbs]
        self._gerunds = Phrases([*gerunds, *irregular])
        self.participles = Phrases([*pasts, *irregular])
        self._announcing = Phrases((phrase, True) for phrase in words["announcing"])
        self._needing = Phrases((phrase, True) for phrase in words["needing"])
        self.done_forms = Phrases((phrase, True) for phrase in words["done_forms"])
        self.settled_forms = Phrases((phrase, True) for phrase in words["settled_forms"])
        self._before_step = frozenset(words["before_step"])
        self._subjects = frozenset(words["subjects"])
        self._askable = frozenset(words["askable"])
        self._weak_announcing = frozenset(words["weak_announcing"])
        self._adverbs = frozenset(words["adverbs"])
        self._light = frozenset(words["light_verbs"])
        self._need_object = frozenset(words["object_verbs"])
        self._completing = frozenset(words["completing"])
        self._objects = frozenset(words["objects"])
        self._back_of_place = frozenset(words["back_of_place"])
        self._rates_after = frozenset(words["rates_after"])
        self._weak_things = frozenset(words["weak_things"])
        self._reporting = frozenset(words["reporting"])
        self._number_words = frozenset(word for table in lexicon.numbers.values() for word in table) | {
            "point"
        }
        self._before_thing_no = frozenset(words["before_thing_no"])
        self._examining = frozenset(words["examining"])
        self._past = frozenset(words["past_words"])
        self._going = Phrases((phrase, True) for phrase in words["going"])
        self._speakers = frozenset(words["speakers"])
        self._momentary = Phrases((phrase, True) for phrase in words["of_the_moment"])
        self._states = frozenset(words["states"])
        self._addressed = self._speakers | {"you", "he", "she", "it", "owner", "owners"}
        self._adjectives = frozenset(words["adjective_verbs"])
        self._head_forms = frozenset(words["head_forms"])
        self._waiting = frozenset(words["waiting"])
        self._examining_verbs = frozenset(words["examining_verbs"])
        self._results = frozenset(words["results"])
        self._titles = frozenset(lexicon.words["clauses"]["titles"])
        self._articles = frozenset(lexicon.words["groups"]["articles"]) | frozenset(
            lexicon.words["groups"]["possessives"]
        )
        self._no_back = self._articles - {"her"} | {"lower", "upper"}
        self.due = DueReader(lexicon)

    def head(self, analysis: Analysis, start: int, end: int) -> int:
        """The first token that says something, past "so", "okay then", "Mrs Harrow"."""
        norms = analysis.norms
        at = start
        while at < end:
            if norms[at] in self._titles and at + 1 < end:
                at += 2 + (norms[at + 1] == "." and at + 2 < end)
            elif norms[at] in self._before_step:
                at += 1
            else:
                return at
        return at

    def opening(self, analysis: Analysis, start: int, end: int, *, in_plan: bool = False) -> Step | None:
        """The step that tokens start to end begin with; in a plan (`in_plan`) fewer words suffice."""
        head = self.head(analysis, start, end)
        if head >= end:
            return None
        return (
            self._instruction(analysis, start, head, end)
            or self._returns(analysis, start, head, end)
            or self._announced(analysis, start, head, end)
            or self._needed(analysis, start, head, end)
            or self._goes(analysis, start, head, end)
            or self._has_had(analysis, start, head, end)
            or self._done(analysis, start, head, end, in_plan=in_plan)
            or self._thing(analysis, start, head, end, in_plan=in_plan)
        )

    def timed(self, analysis: Analysis, start: int, end: int) -> bool:
        """Whether tokens start to end name a time to come or say how often."""
        found = self.due.find(analysis, start, end)
        return found is not None or any(word in self._rates_after for word in analysis.norms[start:end])

    def happened(self, norms: Sequence[str], start: int, end: int) -> bool:
        """Whether tokens start to end speak of the past."""
        return any(
            word in self._past or (len(word) == 4 and word.isdecimal() and word[:2] in ("19", "20"))
            for word in norms[start:end]
        )

    def named(self, norms: Sequence[str], start: int, end: int) -> set[int]:
        """The tokens that name what is given or done."""
        tables = (self.things, self.participles, self.done_forms)
        return {
            token
            for table in tables
            for first, stop, _ in table.within(norms, start, end)
            for token in range(first, stop)
        }

    def has_result(self, norms: Sequence[str], after: int, end: int) -> bool:
        """Whether what follows a thing tells its result ("bloods were normal") or a time past."""
        following = norms[after] if after < end else ""
        return (
            following in self._reporting
            or (after < end and self._number_words.issuperset(norms[after:end]))  # "PCV forty two"
            or any(word in self._results for word in norms[after:end])
            or self.happened(norms, after, end)
        )

    def _instruction(self, analysis: Analysis, start: int, head: int, end: int) -> Step | None:
        """ "Keep him off the stairs", "clean both ears twice a day", "pop back if it gets worse"."""
        found = self.verbs.at(analysis.norms, head, end)
        if found is None:
            return None
        after, verb = found
        if not self._is_told(analysis, verb, head, after, end) or self.of_the_moment(
            analysis, head, after, end
        ):
            return None
        return Step(start, head, after, Manner.INSTRUCTION, verb.kind)

    def graded(self, norms: Sequence[str], after: int, end: int) -> bool:
        """ "I'd give it a three out of six": a grade, whatever the verb."""
        return "grade" in norms[after:end] or any(
            norms[at : at + 2] == ["out", "of"] for at in range(after, end)
        )

    def of_the_moment(self, analysis: Analysis, head: int, after: int, end: int) -> bool:
        """ "Keep him there", "watch his face when I press", "give me that paw": asked of somebody during the examination."""
        norms = analysis.norms
        if self.graded(norms, after, end) or (
            norms[after - 1] == "give" and norms[after : after + 1] in (["me"], ["us"])
        ):
            return True
        held = next(self._momentary.within(norms, after, end), None)
        return held is not None and self.due.find(analysis, head, end) is None

    def _is_told(self, analysis: Analysis, verb: _Verb, head: int, after: int, end: int) -> bool:
        norms = analysis.norms
        following = norms[after] if after < end else ""
        if verb.base in self._need_object:
            timed = any(word in self._rates_after for word in norms[after:end])
            article = following in ("a", "an") and verb.base in self._adjectives
            return (
                (following in self._objects and not article) or timed or self._thing_near(norms, after, end)
            )
        if verb.base in self._light:
            return self._completed(analysis, after, end)
        return following not in ("is", "are", "was", "were", "'s", "of")

    def _completed(self, analysis: Analysis, after: int, end: int) -> bool:
        """Whether a light verb gets its meaning from a thing, a time to come, or a word such as "home"."""
        norms = analysis.norms
        for at in range(after, end):
            following = norms[at + 1] if at + 1 < end else ""
            if norms[at] in self._completing and norms[at - 1] not in self._articles:
                return True
            if (
                norms[at] == "back"
                and norms[at - 1] not in self._no_back
                and following not in self._back_of_place
            ):
                return True
        if self._thing_near(norms, after, end):
            return True
        found = self.due.find(analysis, after, end)
        if found is None or found.weak:
            return False
        return not (found.end - found.start == 1 and norms[found.start] == "now")

    def _thing_near(self, norms: Sequence[str], after: int, end: int) -> bool:
        """A thing within the object that follows a verb."""
        return next(self.things.within(norms, after, min(after + _THING_REACH + 2, end)), None) is not None

    def _announced(self, analysis: Analysis, start: int, head: int, end: int) -> Step | None:
        """ "I'd like you to keep him in", "we'll run bloods", "let's get an x-ray", "he can go home"."""
        norms = analysis.norms
        for at in range(head, min(head + _SUBJECT_REACH, end)):
            if found := self._announcing.at(norms, at, end):
                break
            # "I'd like ...", "the best thing is to ...": a short subject stands before.
            if norms[at] in ("not", "that", "if", "when") and at > head:
                return None
        else:
            return None
        if at == head and norms[at] in ("may", "might", "can", "could", "should", "is", "are", "does"):
            following = norms[at + 1] if at + 1 < end else ""
            if following not in ("you", "we", "i"):
                return None
        phrase = " ".join(norms[at : found[0]])
        after = found[0]
        if at == head and norms[after : after + 1] and norms[after] in ("you", "we", "i"):
            after += 1
        subject = norms[head:at]
        if phrase in ("do not", "can", "could", "must") and subject and not self._addressed & set(subject):
            # "Piggies don't give you much", "they can't make vitamin C": of animals.
            return None
        if phrase.startswith("would") and not any(word in self._speakers for word in norms[head:at]):
            return None
        weak = phrase in self._weak_announcing and not any(word in self._askable for word in norms[head:at])
        return self._announced_verb(analysis, start, at, after, end, weak=weak)

    def _announced_verb(
        self, analysis: Analysis, start: int, told: int, after: int, end: int, *, weak: bool
    ) -> Step | None:
        norms = analysis.norms
        for at in range(after, min(after + _ADVERBS_REACH, end)):
            found = self.verbs.at(norms, at, end)
            passive = norms[at - 1] in ("be", "get", "have") and self.participles.at(norms, at, end)
            longer = self._announcing.at(norms, at, end)
            if found is None and passive:
                stop, verb = passive
                unsure = weak or verb.base in self._light
                if unsure and not self._completed(analysis, stop, end):
                    return None
                return Step(start, told, stop, Manner.ANNOUNCED, verb.kind)
            if found is not None and self._is_announced(analysis, told, at, found, end, weak=weak):
                return Step(start, told, found[0], Manner.ANNOUNCED, found[1].kind)
            if longer is not None:
                return self._announced_verb(analysis, start, told, longer[0], end, weak=weak)
            if norms[at] not in self._adverbs and norms[at] not in self._articles:
                return None
        return None

    def _is_announced(
        self, analysis: Analysis, told: int, at: int, found: tuple[int, _Verb], end: int, *, weak: bool
    ) -> bool:
        """Whether a verb behind a modal one is a step: not of the examination, and with an object where it says little."""
        stop, verb = found
        norms = analysis.norms
        if self.graded(norms, stop, end):
            return False
        by_vet = norms[told] in ("let", "will", "am", "are") and (
            norms[told] == "let" or norms[told - 1 : told] in (["i"], ["we"])
        )
        just = "just" in norms[told:at] and verb.base not in self._waiting
        now = by_vet and (just or verb.base in self._examining_verbs | {"come back"})
        if verb.base in self._light and self._about_exam(analysis, at, end):
            return False
        bare = verb.base in self._light or now or (weak and verb.base in self._need_object)
        return not bare or self._completed(analysis, stop, end)

    def _about_exam(self, analysis: Analysis, at: int, end: int) -> bool:
        """ "I'll just have a look", "let me take your temperature": of the examination, unless it is for another day."""
        if not any(word in self._examining for word in analysis.norms[at:end]):
            return False
        found = self.due.find(analysis, at, end)
        return found is None or found.weak

    def _needed(self, analysis: Analysis, start: int, head: int, end: int) -> Step | None:
        """ "She needs a dental", "he's due his booster in March", "the wound wants bathing"."""
        norms = analysis.norms
        for at in range(head, min(head + _SUBJECT_REACH + 1, end)):
            found = self._needing.at(norms, at, end)
            if found is None:
                continue
            if self.happened(norms, at, end) or (
                norms[found[0] - 1] == "due" and norms[found[0] : found[0] + 1] == ["to"]
            ):
                return None
            if norms[found[0] - 1] in ("due", "back") and self._comes(analysis, found[0], end):
                return Step(start, at, found[0], Manner.NEEDED, PlanKind.RECHECK)
            for place in range(found[0], min(found[0] + _THING_REACH, end)):
                if thing := self.things.at(norms, place, end):
                    return Step(start, at, thing[0], Manner.NEEDED, thing[1])
                form = self._gerunds.at(norms, place, end) or self.participles.at(norms, place, end)
                if form is not None and place == found[0] + (norms[found[0]] == "to") * 2:
                    return Step(start, at, form[0], Manner.NEEDED, form[1].kind)
                if norms[place] in self._reporting or norms[place] in self._subjects:
                    break
        return None

    def _comes(self, analysis: Analysis, after: int, end: int) -> bool:
        """ "She's due again in twelve months": a time to come right behind, and no thing."""
        due = self.due.find(analysis, after, end)
        named = next(self.things.within(analysis.norms, after, end), None)
        return due is not None and not due.weak and due.start - after <= 1 and named is None

    def _goes(self, analysis: Analysis, start: int, head: int, end: int) -> Step | None:
        """ "She goes under tomorrow for the teeth", "he goes to the eye people"."""
        norms = analysis.norms
        if head + 1 >= end or norms[head] not in self._subjects:
            return None
        found = self._going.at(norms, head + 1, end)
        if found is None or self.happened(norms, head, end):
            return None
        thing = next(self.things.within(norms, found[0], min(found[0] + _THING_REACH, end)), None)
        due = self.due.find(analysis, found[0], end)
        if thing is None and due is None:
            return None
        weak = found[0] - head == 2
        if weak and (thing is None or due is None or due.weak):
            return None
        return Step(start, head, found[0], Manner.NEEDED, thing[2] if thing else PlanKind.PROCEDURE)

    def _has_had(self, analysis: Analysis, start: int, head: int, end: int) -> Step | None:
        """ "He's had his jab": done today, unless another time is said."""
        norms = analysis.norms
        if head + 3 >= end or norms[head + 1 : head + 3] not in (
            ["has", "had"],
            ["is", "had"],
            ["have", "had"],
        ):
            return None
        after = head + 3
        thing = next(self.things.within(norms, after, min(after + 4, end)), None)
        if thing is None or norms[after] not in self._articles or self.happened(norms, after, end):
            return None
        return Step(start, head, thing[1], Manner.DONE, thing[2])

    def _done(self, analysis: Analysis, start: int, head: int, end: int, *, in_plan: bool) -> Step | None:
        """ "I've given him an injection", "nails clipped", "FNA taken", "dental booked for the fourth"."""
        norms = analysis.norms
        if self.happened(norms, head, end):
            return None
        for at in range(head, min(head + _NAMED_REACH, end)):
            done = self.done_forms.at(norms, at, end)
            if done is None and norms[head : head + 2] in (["i", "have"], ["we", "have"]) and at == head + 2:
                # "I've popped a catheter in": whatever the vet has done to give or take a thing.
                told = self.participles.at(norms, at, end)
                if told is not None and self._thing_near(norms, told[0], end):
                    return Step(start, at, told[0], Manner.DONE, told[1].kind)
            settled = self.settled_forms.at(norms, at, end)
            if done is None and settled is None:
                if norms[at] in ("is", "was", "were", "are", "not", "if", "when", "to", "be") or (
                    norms[at] in self._subjects and at > head
                ):
                    return None
                continue
            stop = (done or settled or (at + 1,))[0]
            following = norms[stop] if stop < end else ""
            thing = next(self.things.within(norms, head, end), None)
            timed = at == head or self.timed(analysis, head, end)
            alone = at == head and norms[at] in self._head_forms
            if done is None and not (in_plan or alone) and (thing is None or not timed):
                return None
            if following in ("is", "are", "was", "were", "'s", "up"):
                return None
            if done is not None and thing is None and norms[at] in self._states and not in_plan:
                named = norms[head:at] + norms[stop:end]
                if not any(word in ("today", "now", "with", "this", "i", "we") for word in named):
                    return None
            verb = self.participles.at(norms, at, stop)
            kind = thing[2] if thing is not None else verb[1].kind if verb is not None else PlanKind.ADVICE
            return Step(start, at, stop, Manner.DONE if done is not None else Manner.SETTLED, kind)
        return None

    def _returns(self, analysis: Analysis, start: int, head: int, end: int) -> Step | None:
        """ "Back tonight if nothing passed", "he's back with me on Tuesday"."""
        if analysis.norms[head] in self._subjects and analysis.norms[head + 1 : head + 2] == ["is"]:
            head += 2
        if head >= end or analysis.norms[head] != "back":
            return None
        found = self.due.find(analysis, head + 1, end)
        if found is None or found.weak or found.start - head > 4:
            return None
        return Step(start, head, head + 1, Manner.INSTRUCTION, PlanKind.RECHECK)

    def _thing(self, analysis: Analysis, start: int, head: int, end: int, *, in_plan: bool) -> Step | None:
        """ "Hip x-rays under sedation next Tuesday", "bland diet little and often"."""
        norms = analysis.norms
        for at in range(head, min(head + _THING_REACH, end)):
            found = self.things.at(norms, at, end)
            if found is None:
                if norms[at] in self._before_thing_no:
                    return None
                continue
            after = found[0]
            while (longer := self.things.at(norms, after, end)) is not None:
                found, after = longer, longer[0]
            if self.has_result(norms, after, end) or self.happened(norms, head, at):
                return None
            if _within_longer(analysis, at, after):
                return None
            weak = " ".join(norms[at:after]) in self._weak_things
            if weak and not in_plan and not self.timed(analysis, after, end):
                return None
            return Step(start, at, after, Manner.THING, found[1])
        return None


def _within_longer(analysis: Analysis, start: int, end: int) -> bool:
    """Whether tokens start to end are part of a longer term ("dental" in "dental disease")."""
    at = bisect_right(analysis.mentions, start, key=lambda mention: mention.start) - 1
    if at < 0:
        return False
    mention = analysis.mentions[at]
    return mention.end > end and mention.start <= start


__all__ = ["Manner", "Phrases", "Step", "StepGrammar", "verb_forms"]
