"""Plan items: what was done, given, booked or advised, in the words that were said, one for each step."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from lexicon import Lexicon
from pipeline.extraction.drafts import Draft
from pipeline.extraction.mentions import mentions_within
from pipeline.extraction.model import PlanKind, PlanState, SpeechAct
from pipeline.extraction.planning import PlanActs
from pipeline.extraction.segments import Segment
from pipeline.extraction.steps import Manner, Phrases, Step, StepGrammar
from pipeline.extraction.tokens import MARKS, Analysis

_SHORT = 3  # tokens of a segment that only adds to the step before


@dataclass(slots=True)
class PlannedStep:
    """Tokens start to end of one plan item."""

    start: int
    end: int
    conditional: bool = False


_LONGEST_CORRECTION = 8  # tokens of words of correction


class PlanReader:
    """Gathers plan segments to items."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.plan["grammar"]
        self._acts = PlanActs(lexicon)
        self._grammar: StepGrammar = self._acts.steps
        self._due = self._grammar.due
        self._joining = frozenset(("and", "then", "plus", "or"))
        self._continuing = frozenset(words["continuing"])
        self._heading = frozenset(words["heading"])
        self._titles = frozenset(lexicon.words["clauses"]["titles"])
        self._before = frozenset(words["trimmed_before"])
        self._after = frozenset(words["trimmed_after"])
        self._ending = (
            frozenset(words["rates_after"])
            | frozenset(lexicon.plan["due"]["units"])
            | frozenset(lexicon.plan["due"]["days"])
            | frozenset(("food", "meals", "home", "overnight"))
        )
        self._done = frozenset(("given", "done", "taken", "sent"))
        self._no_clause_after = frozenset(words["no_clause_after"])
        self._pointing = frozenset(lexicon.plan["pointing"]["words"])
        self._topics: dict[str, list[str]] = defaultdict(list)
        for system, telling in lexicon.plan["topics"].items():
            for word in telling:
                self._topics[word].append(system)
        self._declining = Phrases((phrase, True) for phrase in words["declining"])
        self._needless = Phrases((phrase, True) for phrase in words["needless"])

    def items(self, analysis: Analysis) -> list[tuple[int, int]]:
        """Token ranges of the plan items in order; what only adds to a step is part of it."""
        found: list[PlannedStep] = []
        previous: Segment | None = None
        listed = False
        for segment in analysis.segments:
            if segment.act is not SpeechAct.PLAN:
                previous, listed = None, False
                continue
            listed = listed or (segment.act_cue is not None and segment.act_cue.group.id == "plan_heading")
            joined = previous is not None and previous.sentence == segment.sentence and bool(found)
            for number, step in enumerate(self._parts(analysis, segment)):
                if number == 0 and joined and self._continues(analysis, found[-1], step, listed=listed):
                    found[-1].end = step.end
                    # A condition waits for its step ("if it bursts, don't panic, ring us").
                    found[-1].conditional = found[-1].conditional and (
                        step.conditional or self._opening(analysis, step) is None
                    )
                else:
                    found.append(step)
            previous = segment
        trimmed = (self._trimmed(analysis, item.start, item.end) for item in found)
        return [(start, end) for start, end in trimmed if start < end]

    def _opening(self, analysis: Analysis, step: PlannedStep) -> Step | None:
        return self._grammar.opening(analysis, step.start, step.end, in_plan=True)

    def _parts(self, analysis: Analysis, segment: Segment) -> Iterator[PlannedStep]:
        """The steps of one segment: "start him on the drops and I'll see you in ten days" are two."""
        conditional = self._acts.condition(analysis, segment)
        told = self._acts.step_after_condition(analysis, segment)
        # What is to be done under a condition stays with it.
        cuts = [] if conditional or told is not None else self._cuts(analysis, segment)
        places = [segment.start, *cuts, segment.end]
        for start, end in pairwise(places):
            yield PlannedStep(start, end, conditional or told is not None)

    def _cuts(self, analysis: Analysis, segment: Segment) -> list[int]:
        norms = analysis.norms
        cuts: list[int] = []
        begun = segment.start
        for at in range(segment.start + 1, segment.end - 1):
            joining = norms[at] in self._joining and norms[at] != "or"
            first = at + 1 if joining else at
            if at - begun < 2 or norms[at - 1] in self._joining or norms[first] in self._joining:
                continue
            ended = norms[at - 1] in self._ending or (
                norms[at - 1] in self._done
                and next(self._grammar.things.within(norms, begun, at - 1), None) is not None
            )
            speaks = norms[first] in ("i", "we", "please", "let")
            if not (joining or ended or speaks):
                continue
            step = self._grammar.opening(analysis, first, segment.end, in_plan=joining or ended)
            if step is not None and self._opens_step(analysis, begun, at, step, joining=joining):
                cuts.append(at)
                begun = at
        return cuts

    def _opens_step(self, analysis: Analysis, begun: int, at: int, step: Step, *, joining: bool) -> bool:
        norms = analysis.norms
        before = norms[at - 1]
        if step.told - step.start > 3 and step.manner is not Manner.DONE:
            return False
        if step.manner is Manner.THING:
            # "Bloods and a urine sample" is one errand, "dental and bloods" are two.
            here = next(self._grammar.things.within(norms, begun, at), None)
            return before in self._ending | self._done or (here is not None and here[2] is not step.kind)
        if step.manner is Manner.INSTRUCTION and not joining:
            return before in self._ending | self._done
        if not joining:
            return before not in self._no_clause_after
        return before not in ("try", "go", "come", "pop", "wait", "sit")

    def _continues(self, analysis: Analysis, item: PlannedStep, step: PlannedStep, *, listed: bool) -> bool:
        """Whether what follows a comma only adds to the item before it."""
        if item.conditional or self._corrects(analysis, step):
            return True
        if step.conditional:
            return False
        if self._is_heading(analysis, item.start, item.end):
            return False
        opening = self._opening(analysis, step)
        if opening is not None:
            if opening.manner is Manner.THING and item.end - item.start == 1:
                # "Given, as usual, fluids": the verb alone waits for its thing.
                return self._grammar.participles.at(analysis.norms, item.start, item.end) is not None
            # "Nails clipped, done": the verb alone adds to what was named.
            return (
                opening.manner in (Manner.DONE, Manner.SETTLED) and step.end - step.start == 1 and not listed
            )
        first = analysis.norms[step.start]
        if listed:
            return first in self._continuing
        return True

    def _corrects(self, analysis: Analysis, step: PlannedStep) -> bool:
        """ "…, no, make that the twenty first": words of correction, and what comes right behind them and is no step itself."""
        low = bisect_left(analysis.cues, step.start - _LONGEST_CORRECTION, key=lambda cue: cue.start)
        high = bisect_left(analysis.cues, step.start + 1, key=lambda cue: cue.start)
        cues = [cue for cue in analysis.cues[low:high] if cue.kind == "replace"]
        if any(cue.start == step.start and cue.end >= step.end for cue in cues):
            return True
        return any(cue.end == step.start for cue in cues) and self._opening(analysis, step) is None

    def _trimmed(self, analysis: Analysis, start: int, end: int) -> tuple[int, int]:
        """The words of an item without those that lead on to it; none of a heading."""
        norms = analysis.norms
        if self._is_heading(analysis, start, end):
            return start, start
        while start < end and (
            norms[start] in self._before or norms[start] in MARKS or self._headed(norms, start, end)
        ):
            start += 1
        if start + 2 < end and norms[start] in self._titles:
            start += 2 + (norms[start + 1] == ".")
        while end > start and (norms[end - 1] in self._after or norms[end - 1] in MARKS):
            end -= 1
        return start, end

    @staticmethod
    def _headed(norms: list[str], start: int, end: int) -> bool:
        """ "The plan is", "my plan": of the heading in front of an item."""
        return norms[start] in ("the", "my") and start + 1 < end and norms[start + 1] in ("plan", "plans")

    def _is_heading(self, analysis: Analysis, start: int, end: int) -> bool:
        """ "So the plan" announces items and is none."""
        return all(word in self._heading or word in MARKS for word in analysis.norms[start:end])

    def kind(self, analysis: Analysis, start: int, end: int) -> PlanKind:
        """Sort of plan item: by the thing that is given or done, else by the verb, else advice."""
        norms = analysis.norms
        if next(self._needless.within(norms, start, end), None) is not None:
            return PlanKind.ADVICE
        opening = self._grammar.opening(analysis, start, end, in_plan=True)
        verb = opening.kind if opening is not None and opening.manner is not Manner.THING else None
        if verb in (PlanKind.REFERRAL, PlanKind.PARASITE_CONTROL, PlanKind.PROCEDURE):
            return verb
        things = list(self._grammar.things.within(norms, start, end))
        for first, second in pairwise(things):
            if second[0] == first[1] and second[2] is PlanKind.RECHECK:
                return PlanKind.RECHECK
        if named := next((kind for _, _, kind in things if kind is not PlanKind.RECHECK), None):
            return named
        if things:
            return things[0][2]
        if verb is not None:
            return verb
        verbs = self._grammar.verbs.within(norms, start, end)
        told = (found.kind for _, _, found in verbs)
        return next((kind for kind in told if kind is not PlanKind.ADVICE), PlanKind.ADVICE)

    def state(self, analysis: Analysis, start: int, end: int) -> PlanState:
        """Whether an item was done, is to be done, or is not wanted."""
        norms = analysis.norms
        if next(self._declining.within(norms, start, end), None) is not None:
            return "declined"
        opening = self._grammar.opening(analysis, start, end, in_plan=True)
        if opening is not None and opening.manner is Manner.DONE:
            return "done"
        for at, _, _ in self._grammar.done_forms.within(norms, start, end):
            if not any(
                word in ("be", "to", "will", "needs", "get", "when", "once", "until")
                for word in norms[start:at]
            ):
                found = self._due.find(analysis, start, end)
                return "done" if found is None or found.weak or found.start < at else "to_do"
        return "to_do"

    def about(self, analysis: Analysis, start: int, end: int, drafts: Sequence[Draft]) -> tuple[str, ...]:
        """The parts, findings and systems that an item names, or the finding before it that it points at.

        `drafts` in the order of the text.
        """
        norms = analysis.norms
        named = [entry.id for m in mentions_within(analysis.mentions, start, end) for entry in m.entries]
        named += [system for word in norms[start:end] for system in self._topics.get(word, ())]
        if not named and any(word in self._pointing for word in norms[start:end]):
            at = bisect_left(drafts, start, key=lambda draft: draft.start) - 1
            if at >= 0:
                pointed = (drafts[at].concept, drafts[at].structure, drafts[at].system)
                named = [name for name in pointed if name is not None]
        return tuple(dict.fromkeys(named))

    def due(self, analysis: Analysis, start: int, end: int, on: date | None) -> tuple[str | None, str | None]:
        """(ISO date or None, the words): "in ten days", "in a fortnight", "next week"; the date needs the visit's day."""
        return self._due.read(analysis, start, end, on)


__all__ = ["PlanReader"]
