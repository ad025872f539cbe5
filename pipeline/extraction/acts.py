"""What each segment does: its speech act, from the cues of lexicon/cues/acts.toml and from what came before."""

from __future__ import annotations

from bisect import bisect_left

from lexicon import Lexicon
from pipeline.extraction.concepts import Cue
from pipeline.extraction.general import GeneralTruths
from pipeline.extraction.mentions import mentions_within
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Ground, Segment, holds_value
from pipeline.extraction.tokens import Analysis

_KINDS = frozenset(("act", "act_idle", "act_initial", "act_weak", "anchor"))


class ActReader:
    """Sets act, act_cue and anchored of every segment of a text."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.words["clauses"]
        self._before_instruction = frozenset(words["before_instruction"])
        self._parts_verbs = frozenset(words["parts_verbs"])
        self._indicative = frozenset(words["indicative"])
        self._asking = frozenset(words["asking"])
        self._teaching_subjects = frozenset(words["teaching_subjects"])
        self._patient = frozenset(words["patient"])
        self._aims = frozenset(words["aims"])
        self._before_manoeuvre = frozenset(words["before_manoeuvre"])
        self._conceding = frozenset(words["conceding"])
        self._naming = frozenset(words["naming"])
        self._general = GeneralTruths(lexicon)
        self._copulas = frozenset(lexicon.words["groups"]["copulas"])

    def classify(self, analysis: Analysis, segments: list[Segment]) -> None:
        """Decide segment by segment, then let question marks ask."""
        cues = [cue for cue in analysis.cues if cue.kind in _KINDS]
        starts = [cue.start for cue in cues]
        denials = sorted(c.start for c in analysis.cues if c.kind in ("negation_before", "negation_after"))
        previous: Segment | None = None
        for segment in segments:
            inside = cues[bisect_left(starts, segment.start) : bisect_left(starts, segment.end)]
            inside = [cue for cue in inside if cue.end <= segment.end]
            segment.anchored = any(cue.kind == "anchor" for cue in inside)
            own = self._own_act(analysis, segment, _without_idle_chatter(analysis, segment, inside))
            if own is not None:
                segment.does(SpeechAct(own.group.value or "observation"), Ground.CUE, own)
                if previous is not None:
                    _tell_who_said_it(analysis, previous, segment)
            elif self._asks_for_any(analysis, segment, denials):
                segment.does(SpeechAct.QUESTION, Ground.ASKED_FOR_ANY)
            elif not segment.anchored and self._general.hold(analysis, segment):
                segment.does(SpeechAct.TEACHING, Ground.GENERAL_TRUTH)
            elif previous is not None and self._carries_on(analysis, previous, segment, denials):
                segment.does(previous.act, Ground.GOES_ON, previous.act_cue)
            if previous is not None:
                _announce(analysis, previous, segment)
            previous = segment
        for index, segment in enumerate(segments):
            if segment.question_mark and self._is_asked(analysis, segments, index):
                segment.does(SpeechAct.QUESTION, Ground.QUESTION_MARK, segment.act_cue)

    def _asks_for_any(self, analysis: Analysis, segment: Segment, denials: list[int]) -> bool:
        """ "Any facial swelling or vomiting, ring us": what begins with "any" is asked or supposed, never seen."""
        words = analysis.norms[segment.start : segment.end]
        first = next((word for word in words if word not in self._before_instruction), "")
        return (
            first == "any"
            and not _denied_within(denials, segment)
            and segment.opener in ("sentence", "contrast")
        )

    def _own_act(self, analysis: Analysis, segment: Segment, inside: list[Cue]) -> Cue | None:
        """The cue that decides: the first one, strong before weak; a weak one only in talk that is not of the patient."""
        norms = analysis.norms
        inside = [cue for cue in inside if not self._stated_before(analysis, segment, cue)]
        strong = [cue for cue in inside if self._decides(analysis, segment, cue)]
        taught = [cue for cue in strong if cue.group.value == "teaching"]
        if taught:
            # "You see that a lot in older dogs" shows nothing.
            strong = [cue for cue in strong if cue.group.id != "showing" or cue.start < taught[0].start]
        of_patient = any(word in self._patient for word in norms[segment.start : segment.end])
        if strong:
            first = min(strong, key=lambda cue: (cue.start, -cue.end))
            anchored_before = any(cue.kind == "anchor" and cue.start < first.start for cue in inside)
            # A generic noun after "his" or "there is" names this patient's kind ("there is what dogs get, a lipoma").
            generic = first.group.id in ("teaching_generic", "teaching_breeds") and anchored_before
            # "That's how he walks": said of the patient it defines nothing.
            defined = first.group.id in ("teaching_definition", "teaching_future") and of_patient
            return None if generic or defined else first
        weak = [cue for cue in inside if cue.kind == "act_weak" and self._is_general(norms, cue)]
        return weak[0] if weak and not (segment.anchored or of_patient) else None

    def _decides(self, analysis: Analysis, segment: Segment, cue: Cue) -> bool:
        """Whether a cue can decide what its segment does."""
        norms = analysis.norms
        opens = self._opens_segment(norms, segment, cue)
        if cue.kind == "act_initial" or cue.group.value == "question":
            return cue.kind in ("act", "act_initial", "act_idle") and opens
        if cue.kind not in ("act", "act_idle"):
            return False
        following = norms[cue.end : min(cue.end + 2, segment.end)]
        if cue.group.id == "teaching_conditional":
            concedes = bool(following) and (
                following[0] in self._conceding or following[-1] in self._conceding
            )
            likens = cue.start > segment.start and norms[cue.start - 1] == "as"
            return not concedes and not likens and not self._conditions(norms, segment, cue.end)
        if cue.group.id == "intention_looking":
            return not self._conditions(norms, segment, cue.start) and not self._names(analysis, segment, cue)
        return True

    def _stated_before(self, analysis: Analysis, segment: Segment, cue: Cue) -> bool:
        """ "Lenses cloudy like most old dogs", "teeth clean, just how we like them": a verdict on a part, then a comparison."""
        likening = analysis.norms[cue.start : cue.end] == ["normal", "for", "a"]
        if (
            not likening
            and cue.kind != "act_weak"
            and cue.group.id not in ("teaching_generic", "teaching_breeds")
        ):
            return False
        said = mentions_within(analysis.mentions, segment.start, cue.start + likening)
        parts = [m.end for m in said if m.is_structure]
        return bool(parts) and any(m.is_predicate and m.start >= parts[0] for m in said)

    def _conditions(self, norms: list[str], segment: Segment, at: int) -> bool:
        """ "If I press here he flinches", "sore when I lift it": what the vet does is the condition of what is found."""
        words = norms[segment.start : segment.end]
        aimed = any(word in self._aims for word in words if word != "if")
        manoeuvre = norms[at : at + 1] == ["i"]
        return manoeuvre and not aimed and at > segment.start and norms[at - 1] in self._before_manoeuvre

    def _names(self, analysis: Analysis, segment: Segment, cue: Cue) -> bool:
        """ "I'm feeling a lump", "let's see bit of tartar": looking without an aim, with what is found named in the clause."""
        after = analysis.norms[cue.start : segment.end]
        if any(word in self._aims for word in after):
            return False
        for mention in mentions_within(analysis.mentions, cue.end, segment.end):
            before = analysis.norms[max(cue.end, mention.start - 3) : mention.start]
            if (
                not mention.is_structure
                and not mention.is_predicate
                and any(w in self._naming for w in before)
            ):
                return True
        return False

    def _is_general(self, norms: list[str], cue: Cue) -> bool:
        """Whether "they" and "can" speak of animals in general.

        "They grind their teeth" does, "they are clean" is about the ears just named; "it can cause blindness" does, "the right
        one I can pop out" and "it can't be expressed" tell what was tried.
        """
        following = norms[cue.end] if cue.end < len(norms) else ""
        words = norms[cue.start : cue.end]
        if words == ["can"]:
            return following != "not" and norms[max(0, cue.start - 1)] != "i"
        return words != ["they"] or following not in self._parts_verbs

    def _opens_segment(self, norms: list[str], segment: Segment, cue: Cue) -> bool:
        """Whether a cue opens its segment, but for words such as "and then"."""
        return all(word in self._before_instruction for word in norms[segment.start : cue.start])

    def _is_asked(self, analysis: Analysis, segments: list[Segment], index: int) -> bool:
        """Whether a question mark asks this segment.

        It asks from the first segment with a question's words on, else the whole sentence if it opens like a question,
        else its last segment ("Nose is fine, and the ears?").
        """
        segment = segments[index]
        first = last = index
        while first > 0 and segments[first - 1].sentence == segment.sentence:
            first -= 1
        while last + 1 < len(segments) and segments[last + 1].sentence == segment.sentence:
            last += 1
        same = segments[first : last + 1]
        if segment.act_cue is not None and segment.act_cue.group.id == "showing":
            return False
        asking = [s for s in same if s.act_cue is not None and s.act_cue.group.value == "question"]
        if asking:
            return segment.start >= asking[0].start
        if analysis.norms[same[0].start] in self._asking or len(same) == 1:
            return True
        return index == last

    def _carries_on(
        self, analysis: Analysis, previous: Segment, segment: Segment, denials: list[int]
    ) -> bool:
        """Whether a segment without a cue of its own goes on with what the one before did."""
        if previous.act is SpeechAct.OBSERVATION or segment.anchored:
            return False
        if segment.sentence != previous.sentence:
            return self._teaching_goes_on(analysis, previous, segment) or _plan_goes_on(
                analysis, previous, segment
            )
        if previous.act is SpeechAct.CHATTER:
            return False
        if analysis.norms[segment.start] == "because":
            return True
        if previous.act in (SpeechAct.REPORT, SpeechAct.PLAN) and holds_value(analysis, segment):
            return False  # "recheck temp in four hours, it's 39.6 now"
        if previous.act is SpeechAct.REPORT:
            return True
        if segment.opener == "contrast" or previous.act is SpeechAct.PLAN:
            return segment.opener != "contrast" and not self._states(analysis, segment)
        at = bisect_left(denials, segment.start)
        denied = _denied_within(denials, segment)
        if previous.act in (SpeechAct.TEACHING, SpeechAct.OTHER_ANIMAL):
            words = analysis.norms[segment.start : segment.end]
            states = any(word in self._indicative for word in words)
            return not (denied and (denials[at] == segment.start or states))
        # "I'm feeling for lumps, like a lipoma, a cyst or an abscess": the list of an aim runs on.
        listed = previous.ground is Ground.GOES_ON
        if previous.act is SpeechAct.INTENTION and not (listed or self._aimed(analysis, previous)):
            return False
        # A question or an aim goes on over a list of nouns; a verdict, a denial or a value is its answer.
        verdict = any(m.is_predicate for m in mentions_within(analysis.mentions, segment.start, segment.end))
        measured = previous.act is SpeechAct.INTENTION and holds_value(analysis, segment)
        return not (denied or verdict or measured)

    def _aimed(self, analysis: Analysis, segment: Segment) -> bool:
        """Whether something is looked for; after "let's see" or "I'll check the ears" comes what is found."""
        words = analysis.norms[segment.start : segment.end]
        return any(word in self._aims for word in words) or (
            segment.act_cue is not None and segment.act_cue.group.id == "intention_wish"
        )

    def _states(self, analysis: Analysis, segment: Segment) -> bool:
        """ "So the left side's smooth": a part with a verb and its verdict is no part of a plan."""
        said = mentions_within(analysis.mentions, segment.start, segment.end)
        words = analysis.norms[segment.start : segment.end]
        return (
            any(word in self._indicative for word in words)
            and any(m.is_predicate for m in said)
            and (any(m.is_structure for m in said) or any(w in ("left", "right") for w in words))
        )

    def _teaching_goes_on(self, analysis: Analysis, previous: Segment, segment: Segment) -> bool:
        """ "Cavaliers get heart disease. It starts as a soft murmur." The second sentence teaches on."""
        if previous.act is not SpeechAct.TEACHING or segment.opener != "sentence":
            return False
        first, *rest = analysis.norms[segment.start : segment.end]
        return first in self._teaching_subjects and not (
            rest and rest[0] in self._copulas - {"has", "have", "had", "get"}
        )


def _denied_within(denials: list[int], segment: Segment) -> bool:
    at = bisect_left(denials, segment.start)
    return at < len(denials) and denials[at] < segment.end


def _without_idle_chatter(analysis: Analysis, segment: Segment, inside: list[Cue]) -> list[Cue]:
    """Leave out the cues of chatter where the segment says something.

    Praise in passing ("good boy eyes clear") decides only where the segment says nothing else; talk to the patient
    ("who's a smelly boy") decides unless a part or a value is named.
    """
    mentions = mentions_within(analysis.mentions, segment.start, segment.end)
    measured = holds_value(analysis, segment)
    says = measured or bool(mentions)
    names = measured or any(m.is_structure for m in mentions)
    return [
        cue
        for cue in inside
        if cue.group.value != "chatter" or not (says if cue.kind == "act_idle" else names)
    ]


def _tell_who_said_it(analysis: Analysis, previous: Segment, segment: Segment) -> None:
    """ "No straining, she says.": words of report that follow make a report of what they follow."""
    if (
        segment.act is SpeechAct.REPORT
        and segment.opener == "comma"
        and previous.sentence == segment.sentence
        and previous.act is SpeechAct.OBSERVATION
        and not mentions_within(analysis.mentions, segment.start, segment.end)
    ):
        previous.does(SpeechAct.REPORT, Ground.LED_TO, segment.act_cue)


def _plan_goes_on(analysis: Analysis, previous: Segment, segment: Segment) -> bool:
    """ "Plan: bloods today. Dental in two weeks." A sentence without finding and value after a plan plans on."""
    if previous.act is not SpeechAct.PLAN or segment.opener != "sentence" or holds_value(analysis, segment):
        return False
    says = mentions_within(analysis.mentions, segment.start, segment.end)
    if previous.act_cue is not None and previous.act_cue.group.id == "plan_heading":
        return not (any(m.is_structure for m in says) and any(m.is_predicate for m in says))
    return not says and segment.end - segment.start >= 2


def _announce(analysis: Analysis, previous: Segment, segment: Segment) -> None:
    """ "Parvo, that's the nasty one": a noun alone before a clause that teaches is what is taught about."""
    if (
        segment.act is not SpeechAct.TEACHING
        or segment.ground is Ground.GOES_ON
        or previous.act is not SpeechAct.OBSERVATION
        or previous.opener != "sentence"
        or previous.sentence != segment.sentence
        or analysis.norms[segment.start] not in ("that", "they", "it", "those", "this", "you", "these")
    ):
        return
    said = mentions_within(analysis.mentions, previous.start, previous.end)
    bare = (
        len(said) == 1
        and all(entry.kind == "noun" for entry in said[0].entries)
        and said[0].end == previous.end
    )
    lead = analysis.norms[previous.start : said[0].start] if bare else []
    if bare and all(
        word in ("a", "an", "now", "so", "and", "then", "well", "with", "as", "for") for word in lead
    ):
        previous.does(SpeechAct.TEACHING, Ground.LED_TO, segment.act_cue)
