"""Which clauses plan: steps that no cue announces, conditions with what is to be done then, and lists under a heading.

Runs after the cues have decided (acts.py) and settles what they leave open or took for an aim, a condition or an observation.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import groupby

from lexicon import Lexicon
from pipeline.extraction.concepts import Cue
from pipeline.extraction.mentions import mentions_within
from pipeline.extraction.model import PlanKind, SpeechAct
from pipeline.extraction.segments import Ground, Segment, holds_value
from pipeline.extraction.steps import Manner, Step, StepGrammar
from pipeline.extraction.tokens import Analysis

_TOLD = frozenset((Manner.INSTRUCTION, Manner.ANNOUNCED, Manner.NEEDED))
_SHORTEST_CONDITION = 3  # tokens: "if he vomits"


class PlanActs:
    """Settles which segments of a text plan."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.plan["grammar"]
        self.steps = StepGrammar(lexicon)
        self._conditions = frozenset(words["conditions"])
        self._meets_again = frozenset(words["meeting_again"])
        self._going_on = frozenset(words["going_on"])
        self._subjects = frozenset(words["subjects"])
        self._purposes = frozenset(words["purposes"])
        self._subordinate = frozenset(words["subordinate"])
        self._speakers = frozenset(("i", "we", "you", "let", "please"))
        self._patient = frozenset(lexicon.words["clauses"]["patient"]) | frozenset(
            ("it", "you", "there", "any")
        )

    def settle(self, analysis: Analysis, segments: list[Segment]) -> None:
        """Set the act of every segment that plans, and take it from those that only examine."""
        listed = False
        previous: Segment | None = None
        refused: tuple[Cue, SpeechAct] | None = None
        for _, group in groupby(segments, key=lambda segment: segment.sentence):
            sentence = list(group)
            for segment in sentence:
                listed = _heads_list(segment) or (listed and not self._leaves_list(analysis, segment))
                cue, act = segment.act_cue, segment.act
                if refused is not None and cue is refused[0] and not segment.start <= cue.start < segment.end:
                    # Behind words that turned out to be no plan, none goes on.
                    segment.does(refused[1], Ground.NO_STEP)
                self._settle_one(analysis, previous, segment, listed=listed)
                if cue is not None and act is SpeechAct.PLAN and segment.act is not act:
                    refused = cue, segment.act
                previous = segment
            self._settle_conditions(analysis, sentence)

    def condition(self, analysis: Analysis, segment: Segment) -> bool:
        """Whether a segment only names when something is to be done ("if he's sick again")."""
        head = self.steps.head(analysis, segment.start, segment.end)
        return (
            head < segment.end
            and analysis.norms[head] in self._conditions
            and self.step_after_condition(analysis, segment) is None
        )

    def step_after_condition(self, analysis: Analysis, segment: Segment) -> int | None:
        """Where the step begins in "if it's no better by Friday bring her back", said in one breath."""
        norms = analysis.norms
        head = self.steps.head(analysis, segment.start, segment.end)
        if head >= segment.end or norms[head] not in self._conditions:
            return None
        for at in range(head + _SHORTEST_CONDITION, segment.end):
            if norms[at - 1] in self._subjects or norms[at - 1] in ("to", "not", "and", "or", "a", "the"):
                continue
            step = self.steps.opening(analysis, at, segment.end)
            if step is not None and step.manner in (Manner.INSTRUCTION, Manner.ANNOUNCED):
                if step.manner is Manner.ANNOUNCED and norms[at] not in self._subjects:
                    continue
                return at
        return None

    def _settle_one(
        self, analysis: Analysis, previous: Segment | None, segment: Segment, *, listed: bool
    ) -> None:
        in_plan = listed or (
            previous is not None
            and previous.act is SpeechAct.PLAN
            and previous.sentence >= segment.sentence - 1
        )
        if segment.act is SpeechAct.PLAN:
            conditional = previous is not None and self.condition(analysis, previous)
            if not conditional and self._only_examines(analysis, segment):
                segment.does(SpeechAct.INTENTION, Ground.NO_STEP, segment.act_cue)
            elif self._tells_a_state(analysis, segment) or self._goes_back_to_exam(analysis, segment):
                segment.does(SpeechAct.OBSERVATION, Ground.NO_STEP)
            elif self._tells_how_often(analysis, previous, segment):
                segment.does(SpeechAct.REPORT, Ground.NO_STEP, segment.act_cue)
            return
        step = self.steps.opening(analysis, segment.start, segment.end, in_plan=in_plan)
        goes_on = (
            segment.act is SpeechAct.OBSERVATION
            and (listed or self._carries_on(analysis, previous, segment))
            and not self._observes(analysis, segment)
        )
        if goes_on or (step is not None and self._plans(analysis, segment, step, in_plan=in_plan)):
            segment.does(SpeechAct.PLAN, Ground.STEP, segment.act_cue)

    def _plans(self, analysis: Analysis, segment: Segment, step: Step, *, in_plan: bool) -> bool:
        cue = segment.act_cue
        own = cue is not None and segment.start <= cue.start < segment.end
        before_cue = cue is None or not own or step.told <= cue.end
        match segment.act:
            case SpeechAct.OBSERVATION:
                if holds_value(analysis, segment):
                    return False
                if step.manner in (Manner.INSTRUCTION, Manner.ANNOUNCED):
                    return True
                if step.manner is Manner.NEEDED:
                    return not self._observes(analysis, segment)
                return not (self._observes(analysis, segment) or self._names_finding(analysis, segment, step))
            case SpeechAct.INTENTION:
                return step.manner in _TOLD and not self._only_greets(analysis, segment)
            case SpeechAct.QUESTION:
                asked = analysis.norms[step.told : step.told + 2]
                return step.manner is Manner.ANNOUNCED and asked[1:] == ["you"]
            case SpeechAct.TEACHING:
                condition = own and cue is not None and cue.group.id == "teaching_conditional"
                return before_cue and (
                    condition
                    or (in_plan and not own)
                    or step.manner in (Manner.INSTRUCTION, Manner.ANNOUNCED)
                )
            case SpeechAct.REPORT:
                spoken = any(word in self._speakers for word in analysis.norms[step.start : step.end])
                return before_cue and (
                    step.manner is Manner.INSTRUCTION or (step.manner is Manner.ANNOUNCED and spoken)
                )
            case SpeechAct.CHATTER:
                # "Pop her on the list for a spay" begins like a word to whoever holds the patient.
                idle = cue is not None and cue.kind == "act_idle"
                return idle and step.manner is Manner.INSTRUCTION and step.kind is not PlanKind.ADVICE
            case _:
                return False

    def _names_finding(self, analysis: Analysis, segment: Segment, step: Step) -> bool:
        """Whether a thing stands beside something found, and not for it: "drops in, eye still red"."""
        if step.kind in (PlanKind.VACCINATION, PlanKind.PARASITE_CONTROL):
            return False
        named = self.steps.named(analysis.norms, segment.start, segment.end)
        for mention in mentions_within(analysis.mentions, segment.start, segment.end):
            if mention.is_structure or not named.isdisjoint(range(mention.start, mention.end)):
                continue
            between = analysis.norms[step.end : mention.start]
            if mention.start < step.told or not any(word in self._purposes for word in between):
                return True
        return False

    def _only_examines(self, analysis: Analysis, segment: Segment) -> bool:
        """ "I'll pop the scope in the back", "I'm going to take your temperature": announced like a step, and none."""
        cue = segment.act_cue
        if cue is None or cue.group.id != "plan_do" or not segment.start <= cue.start < segment.end:
            return False
        words = analysis.norms[cue.start : cue.end]
        if words == ["come", "back"] and analysis.norms[cue.start - 2 : cue.start] in (
            ["i", "will"],
            ["we", "will"],
        ):
            return not self.steps.timed(analysis, cue.end, segment.end)
        if self._only_greets(analysis, segment):
            return True
        if words[0] not in ("i", "we", "let") or not {"will", "going", "like", "us"} & set(words):
            return False
        step = self.steps.opening(analysis, cue.start, segment.end)
        return step is None and not self.steps.timed(analysis, cue.end, segment.end)

    def _only_greets(self, analysis: Analysis, segment: Segment) -> bool:
        """ "I see you, mister", "let's see you": a meeting to come has a time, or says "again"."""
        met = _see_you(analysis.norms, segment.start, segment.end)
        if met is None or not self._meets_again.isdisjoint(analysis.norms[met : segment.end]):
            return False
        return not self.steps.timed(analysis, met, segment.end)

    def _tells_a_state(self, analysis: Analysis, segment: Segment) -> bool:
        """ "Bloods last month were normal", "on insulin twice daily", "give it a three out of six": a cue of a plan, and none."""
        cue = segment.act_cue
        if cue is None or not segment.start <= cue.start < segment.end or cue.group.id == "plan_heading":
            return False
        norms = analysis.norms
        head = self.steps.head(analysis, segment.start, segment.end)
        if self.steps.opening(analysis, segment.start, segment.end) is not None:
            return False
        if head < segment.end and norms[head] in self._going_on:
            return True
        if cue.start > segment.start and norms[cue.start - 1] in ("has", "have", "had", "not", "a"):
            # "The old lesion has not come back".
            return True
        if cue.start >= head and any(
            self.steps.of_the_moment(analysis, head, after, segment.end) for after in (cue.end - 1, cue.end)
        ):
            return True
        thing = self.steps.things.at(norms, cue.start, segment.end)
        return thing is not None and self.steps.has_result(norms, thing[0], segment.end)

    def _goes_back_to_exam(self, analysis: Analysis, segment: Segment) -> bool:
        """ "She needs to lose weight, six out of nine", "Plan is a check. Bright, alert.": what is seen behind a plan is none."""
        cue = segment.act_cue
        if cue is not None and segment.start <= cue.start < segment.end:
            return False
        if segment.opener == "sentence":
            return self._observes(analysis, segment)
        return segment.opener == "comma" and holds_value(analysis, segment)

    def _tells_how_often(self, analysis: Analysis, previous: Segment | None, segment: Segment) -> bool:
        """ "Coughing, she says, first twice a day": how often it happens, and nothing to do."""
        cue = segment.act_cue
        if previous is None or previous.act is not SpeechAct.REPORT or previous.sentence != segment.sentence:
            return False
        told = cue is not None and analysis.norms[cue.end - 1] in ("day", "daily", "hours")
        return told and self.steps.opening(analysis, segment.start, segment.end) is None

    def _settle_conditions(self, analysis: Analysis, sentence: list[Segment]) -> None:
        """ "If he's sick again, straight back": the condition belongs to the step that follows it."""
        for at, segment in enumerate(sentence):
            if segment.act not in (
                SpeechAct.TEACHING,
                SpeechAct.PLAN,
                SpeechAct.QUESTION,
                SpeechAct.OBSERVATION,
            ):
                continue
            head = self.steps.head(analysis, segment.start, segment.end)
            if head >= segment.end or analysis.norms[head] not in self._conditions:
                continue
            if self.step_after_condition(analysis, segment) is not None:
                segment.does(SpeechAct.PLAN, Ground.STEP, segment.act_cue)
                continue
            reach = self._reach(analysis, sentence, at)
            for condition in sentence[at:reach]:
                condition.does(SpeechAct.PLAN, Ground.STEP, condition.act_cue)

    def _reach(self, analysis: Analysis, sentence: list[Segment], at: int) -> int:
        """The end of the segments from a condition to what is to be done then; `at` where nothing is."""
        for index in range(at + 1, len(sentence)):
            following = sentence[index]
            if following.act is SpeechAct.PLAN:
                return index + 1
            cue = following.act_cue
            own = cue is not None and following.start <= cue.start < following.end
            if following.act is not SpeechAct.TEACHING or own:
                break
        condition = analysis.norms[sentence[at].start : sentence[at].end]
        planned = at > 0 and sentence[at - 1].act is SpeechAct.PLAN
        if planned and any(word in self._patient for word in condition):
            return len(sentence) if all(s.act is SpeechAct.TEACHING for s in sentence[at:]) else at + 1
        return at

    def _leaves_list(self, analysis: Analysis, segment: Segment) -> bool:
        """Whether a segment under a heading is no more of the list: a report, a value, a part with its state."""
        if segment.act in (SpeechAct.PLAN, SpeechAct.TEACHING):
            return False
        return segment.act is not SpeechAct.OBSERVATION or self._observes(analysis, segment)

    def _observes(self, analysis: Analysis, segment: Segment) -> bool:
        """Whether something is measured in a segment, denied, or said of a part."""
        if holds_value(analysis, segment):
            return True
        norms = analysis.norms
        end = next(
            (at for at in range(segment.start + 1, segment.end) if norms[at] in self._subordinate),
            segment.end,
        )
        named = self.steps.named(norms, segment.start, segment.end)
        said = [
            mention
            for mention in mentions_within(analysis.mentions, segment.start, end)
            if named.isdisjoint(range(mention.start, mention.end))
        ]
        found = [mention for mention in said if not mention.is_structure]
        verdict = any(mention.is_predicate for mention in found)
        if verdict and (
            len(found) < len(said)
            or self.steps.opening(analysis, segment.start, segment.end, in_plan=True) is None
        ):
            return True
        return bool(found) and _denies(analysis, segment)

    def _carries_on(self, analysis: Analysis, previous: Segment | None, segment: Segment) -> bool:
        """ "Rads of the left shoulder today, sedated": behind a step, in its sentence, and of nothing that was found."""
        if previous is None or previous.act is not SpeechAct.PLAN or previous.sentence != segment.sentence:
            return False
        if segment.opener != "comma" or segment.anchored:
            return False
        found = mentions_within(analysis.mentions, segment.start, segment.end)
        return all(
            m.is_structure or self.steps.participles.at(analysis.norms, m.start, m.end) is not None
            for m in found
        )


def _heads_list(segment: Segment) -> bool:
    cue = segment.act_cue
    return (
        segment.act is SpeechAct.PLAN
        and cue is not None
        and cue.group.id == "plan_heading"
        and segment.start <= cue.start < segment.end
    )


def _denies(analysis: Analysis, segment: Segment) -> bool:
    at = bisect_left(analysis.cues, segment.start, key=lambda cue: cue.start)
    while at < len(analysis.cues) and analysis.cues[at].start < segment.end:
        if analysis.cues[at].kind.startswith("negation"):
            return True
        at += 1
    return False


def _see_you(norms: Sequence[str], start: int, end: int) -> int | None:
    """The token after "see you" in tokens start to end."""
    return next((at + 2 for at in range(start, end - 1) if norms[at : at + 2] == ["see", "you"]), None)
