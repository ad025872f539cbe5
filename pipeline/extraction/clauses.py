"""Cuts the text into segments and says what each one does: observation, report, teaching, plan and so on.

A sentence is cut at commas, at contrasting conjunctions and where a cue opens a new clause, with or without punctuation. Each
segment takes the act of the first cue in it; without one it goes on with what the sentence did before, unless it is tied to the
patient here and now.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from spacy.tokens import Doc

from lexicon import Lexicon
from pipeline.extraction.concepts import Cue, Mention
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.tokens import COMMA_MARKS, SENTENCE_MARKS, Analysis, analysis_of

_CONTRAST = frozenset(
    {"but", "however", "although", "though", "whereas", "while", "because", "which", "so", "then", "except"}
)
_AND_OPENERS = frozenset(
    [
        "he",
        "she",
        "it",
        "they",
        "his",
        "her",
        "hers",
        "the",
        "there",
        "i",
        "we",
        "no",
        "that",
        "those",
        "this",
        "these",
        "you",
        "nothing",
        "none",
        "its",
        "then",
        "owner",
        "mum",
        "mom",
        "dad",
        "not",
        "both",
        "left",
        "right",
        "also",
        "now",
        "can",
        "could",
        "cannot",
    ]
)
_SUBJECTS = frozenset(
    [
        "i",
        "we",
        "you",
        "owner",
        "owners",
        "there",
        "if",
        "he",
        "she",
        "it",
        "let",
        "mum",
        "mom",
        "dad",
        "they",
        "have",
        "has",
        "do",
        "does",
        "is",
        "are",
        "client",
    ]
)
_BEFORE_IMPERATIVE = frozenset(
    [
        "but",
        "well",
        "ok",
        "now",
        "and",
        "so",
        "then",
        "we",
        "to",
        "please",
        "also",
        "just",
        "maybe",
        "perhaps",
        "or",
        "today",
        "first",
        "now",
        "plan",
        "plus",
        "probably",
        "okay",
        "right",
    ]
)
_PARTS_VERBS = frozenset(
    [
        "are",
        "look",
        "feel",
        "were",
        "seem",
        "both",
        "all",
        "do",
        "have",
        "appear",
        "sound",
        "smell",
        "'s",
        "is",
        "have",
        "just",
        "still",
        "really",
    ]
)
_ASKING = frozenset(
    [
        "any",
        "how",
        "what",
        "when",
        "where",
        "which",
        "who",
        "why",
        "is",
        "are",
        "was",
        "were",
        "has",
        "have",
        "had",
        "do",
        "does",
        "did",
        "anything",
    ]
)
_ENDED_BY_VALUE = frozenset(("intention", "report", "chatter", "plan"))
_ABBREVIATIONS = frozenset(("mr", "mrs", "ms", "dr", "st"))
_PERMANENT = frozenset({SpeechAct.PLAN, SpeechAct.REPORT})
_LONGEST_SEGMENT = 80


@dataclass(slots=True)
class Segment:
    """Tokens start to end (exclusive) of one clause-like stretch.

    `opener` says how it begins: sentence, contrast, comma, and, cue. `question_mark` ends its sentence.
    """

    start: int
    end: int
    sentence: int
    opener: str
    act: SpeechAct = SpeechAct.OBSERVATION
    act_cue: Cue | None = None
    anchored: bool = False
    question_mark: bool = False


class ClauseReader:
    """spaCy component that fills `segments` of the Analysis (needs mentions, cues and readings)."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._plan_words = frozenset(word for words in lexicon.words["plan_kinds"].values() for word in words)
        self._due_units = frozenset(lexicon.words["due"]["units"])
        self._due_words = frozenset(lexicon.words["due"]["days"])

    def __call__(self, doc: Doc) -> Doc:
        """Read the text that the Doc carries."""
        analysis = analysis_of(doc)
        analysis.segments = _cut(analysis)
        _classify(analysis, analysis.segments)
        for segment in analysis.segments:
            if segment.act is SpeechAct.OBSERVATION and self._plans(analysis, segment):
                segment.act = SpeechAct.PLAN
        return doc

    def _plans(self, analysis: Analysis, segment: Segment) -> bool:
        """ "Strict crate rest four weeks", "rads tomorrow": something to do with a time, and nothing seen or measured."""
        words = analysis.norms[segment.start : segment.end]
        timed = any(word in self._due_words for word in words) or any(
            word in self._due_units and _number_ends_before(analysis, segment.start + at)
            for at, word in enumerate(words)
        )
        if not timed or not any(word in self._plan_words for word in words) or _measured(analysis, segment):
            return False
        if segment.anchored or any(
            word in ("no", "not", "been", "was", "were", "had", "ago", "since") for word in words
        ):
            return False
        said = mentions_within(analysis.mentions, segment.start, segment.end)
        return not (any(m.is_structure for m in said) and any(m.is_predicate for m in said))


def _number_ends_before(analysis: Analysis, token: int) -> bool:
    at = bisect_left(analysis.numbers, token, key=lambda number: number.end)
    return at < len(analysis.numbers) and analysis.numbers[at].end == token


def _cut(analysis: Analysis) -> list[Segment]:
    norms = analysis.norms
    act_starts: dict[int, Cue] = {}
    for cue in analysis.cues:
        if cue.kind in ("act", "anchor") or (cue.kind == "act_weak" and cue.start not in act_starts):
            act_starts[cue.start] = cue
    intentions = {
        c.start for c in analysis.cues if c.kind in ("act", "act_idle") and c.group.value in _ENDED_BY_VALUE
    }
    readings = {reading.start for reading in analysis.readings}
    headings = {c.start for c in analysis.cues if c.group.id == "plan_heading"}
    nones = {c.start for c in analysis.cues if c.kind == "negation_after" and norms[c.start] == "none"}
    closed_at = _closing_tokens(analysis)
    mention_starts = {m.start for m in analysis.mentions}
    inside = {t for m in analysis.mentions for t in range(m.start + 1, m.end)}
    inside |= {
        t
        for c in analysis.cues
        if c.kind in ("act", "pseudo_negation", "withdraw")
        for t in range(c.start + 1, c.end)
    }
    corrections = {
        c.start: c.end for c in analysis.cues if c.kind in ("replace", "withdraw") and _corrects(analysis, c)
    }
    correction_ends = set(corrections.values())
    segments: list[Segment] = []
    sentence, start, opener, complete = 0, 0, "sentence", False

    def close(end: int) -> None:
        if end > start:
            segments.append(Segment(start, end, sentence, opener))

    for at, norm in enumerate(norms):
        if norm == "." and at and norms[at - 1] in _ABBREVIATIONS:
            continue
        if norm in SENTENCE_MARKS:
            close(at)
            if norm == "?":
                _mark_question(segments, sentence)
            sentence, start, opener, complete = sentence + 1, at + 1, "sentence", False
            continue
        if norm in COMMA_MARKS and norm != ":":
            close(at)
            start, opener, complete = at + 1, "comma", False
            continue
        if at > start and (at in corrections or at in correction_ends):
            close(at)
            start, opener, complete = at, "comma", False
        elif at > start and at not in inside:
            cut = _opens(norms, at, act_starts, complete)
            if cut is None and at in readings and any(t in intentions for t in range(start, at)):
                cut = "cue"
            if cut is None and complete and at in headings and norm == "plan":
                cut = "cue"
            if at in nones and any(t in act_starts and act_starts[t].kind == "act" for t in range(start, at)):
                cut = "comma"
            if cut is None and at - start > _LONGEST_SEGMENT and at in mention_starts:
                cut = "comma"
            if cut is not None:
                close(at)
                start, opener, complete = at, cut, False
        complete = complete or at in closed_at
    close(len(norms))
    return segments


def _corrects(analysis: Analysis, cue: Cue) -> bool:
    """Whether a cue of correction opens one by itself; weak words ("no", "rather") need the pause that punctuation shows."""
    words = analysis.norms[cue.start : cue.end]
    return cue.kind == "withdraw" or len(words) > 1 or words[0] in ("sorry", "correction")


def _closing_tokens(analysis: Analysis) -> set[int]:
    """Tokens after which a clause can be complete: a denial, an adjective's verdict, a measured value."""
    closing = {m.end - 1 for m in analysis.mentions if m.is_predicate}
    closing |= {c.end - 1 for c in analysis.cues if c.kind in ("negation_before", "negation_after")}
    return closing | {reading.end - 1 for reading in analysis.readings}


def _opens(norms: list[str], at: int, act_starts: dict[int, Cue], complete: bool) -> str | None:
    norm = norms[at]
    following = norms[at + 1] if at + 1 < len(norms) else ""
    if norm in ("but", "however", "although", "whereas", "because", "though"):
        return "contrast"
    if norm == "while" and complete:
        return "contrast"
    if norm in ("which", "so", "then") and (at + 1 in act_starts or (at in act_starts)):
        return "contrast"
    if norm == "and" and (
        following in _AND_OPENERS or (at + 1 in act_starts and act_starts[at + 1].kind != "act_weak")
    ):
        return "and"
    if at in act_starts and complete and norm in _SUBJECTS and act_starts[at].kind != "act_weak":
        return "cue"
    return None


def _mark_question(segments: list[Segment], sentence: int) -> None:
    for segment in reversed(segments):
        if segment.sentence != sentence:
            break
        segment.question_mark = True


def _classify(analysis: Analysis, segments: list[Segment]) -> None:
    """Set act, act_cue and anchored of every segment."""
    cues = [
        cue for cue in analysis.cues if cue.kind in ("act", "act_idle", "act_initial", "act_weak", "anchor")
    ]
    starts = [cue.start for cue in cues]
    mention_starts = [m.start for m in analysis.mentions]
    negations = sorted(c.start for c in analysis.cues if c.kind in ("negation_before", "negation_after"))
    previous: Segment | None = None
    for index, segment in enumerate(segments):
        inside = cues[bisect_left(starts, segment.start) : bisect_left(starts, segment.end)]
        inside = [cue for cue in inside if cue.end <= segment.end]
        segment.anchored = any(cue.kind == "anchor" for cue in inside)
        own = _own_act(analysis.norms, segment, _without_idle_chatter(analysis, segment, inside))
        if own is not None:
            segment.act, segment.act_cue = SpeechAct(own.group.value or "observation"), own
        elif previous is not None and _carries_on(analysis, previous, segment, mention_starts, negations):
            segment.act, segment.act_cue = previous.act, previous.act_cue
        previous = segment
        if (
            own is not None
            and own.group.value == "report"
            and index
            and segment.opener == "comma"
            and segments[index - 1].sentence == segment.sentence
            and segments[index - 1].act is SpeechAct.OBSERVATION
            and not mentions_within(analysis.mentions, segment.start, segment.end)
        ):
            # "No straining, she says.": the words after tell who said it.
            segments[index - 1].act, segments[index - 1].act_cue = SpeechAct.REPORT, own
    for index, segment in enumerate(segments):
        if segment.question_mark and _is_question(analysis, segments, index):
            segment.act = SpeechAct.QUESTION


def _without_idle_chatter(analysis: Analysis, segment: Segment, inside: list[Cue]) -> list[Cue]:
    """Leave out the cues of chatter where the segment says something.

    Praise in passing ("good boy eyes clear") decides only where the segment says nothing else; talk to the patient ("who's a
    smelly boy") decides unless a part or a value is named.
    """
    mentions = mentions_within(analysis.mentions, segment.start, segment.end)
    measured = _measured(analysis, segment)
    says = measured or bool(mentions)
    names = measured or any(m.is_structure for m in mentions)
    return [
        cue
        for cue in inside
        if cue.group.value != "chatter" or not (says if cue.kind == "act_idle" else names)
    ]


def _measured(analysis: Analysis, segment: Segment) -> bool:
    at = bisect_left(analysis.readings, segment.start, key=lambda r: r.start)
    return at < len(analysis.readings) and analysis.readings[at].start < segment.end


def _own_act(norms: list[str], segment: Segment, inside: list[Cue]) -> Cue | None:
    """The cue that decides: the first one, strong before weak; a weak one only without an anchor."""
    strong = [
        cue
        for cue in inside
        if cue.kind in ("act", "act_idle") or (cue.kind == "act_initial" and _initial(norms, segment, cue))
    ]
    strong = [cue for cue in strong if cue.group.value != "question" or _initial(norms, segment, cue)]
    if strong:
        first = min(strong, key=lambda cue: (cue.start, -cue.end))
        anchors = [cue for cue in inside if cue.kind == "anchor" and cue.start < first.start]
        # "his coat is what you'd see in older dogs": rare; "I can feel what you would feel": rare. But a generic
        # noun after "his" or "there is" names this patient's kind: "there is what we often see, a lipoma".
        if anchors and first.group.id in ("teaching_generic", "teaching_breeds"):
            return None
        return first
    weak = [cue for cue in inside if cue.kind == "act_weak" and _general_they(norms, cue)]
    of_patient = segment.anchored or any(
        w in ("he", "she", "his", "her") for w in norms[segment.start : segment.end]
    )
    return weak[0] if weak and not of_patient else None


def _general_they(norms: list[str], cue: Cue) -> bool:
    """ "They grind their teeth" is about animals in general, "they are clean" about the ears just named."""
    if norms[cue.start : cue.end] != ["they"]:
        return True
    following = norms[cue.end] if cue.end < len(norms) else ""
    return following not in _PARTS_VERBS


def _initial(norms: list[str], segment: Segment, cue: Cue) -> bool:
    """Whether a cue opens its segment, but for words such as "and then"."""
    return all(word in _BEFORE_IMPERATIVE for word in norms[segment.start : cue.start])


def _is_question(analysis: Analysis, segments: list[Segment], index: int) -> bool:
    """A question mark asks from the first segment with a question's words on, else the whole sentence if it opens like
    a question, else its last segment ("Nose is fine, and the ears?").
    """
    segment = segments[index]
    first = index
    while first > 0 and segments[first - 1].sentence == segment.sentence:
        first -= 1
    last = index
    while last + 1 < len(segments) and segments[last + 1].sentence == segment.sentence:
        last += 1
    same = segments[first : last + 1]
    asking = [s for s in same if s.act_cue is not None and s.act_cue.group.value == "question"]
    if asking:
        return segment.start >= asking[0].start
    if analysis.norms[same[0].start] in _ASKING or len(same) == 1:
        return True
    return index == last


def _carries_on(
    analysis: Analysis,
    previous: Segment,
    segment: Segment,
    mention_starts: list[int],
    negations: list[int],
) -> bool:
    """Whether a segment without a cue of its own goes on with what the one before did."""
    if previous.act is SpeechAct.OBSERVATION or segment.anchored:
        return False
    if segment.sentence != previous.sentence:
        return _teaching_goes_on(analysis, previous, segment) or _plan_goes_on(analysis, previous, segment)
    if previous.act is SpeechAct.CHATTER:
        return False
    if analysis.norms[segment.start] == "because":
        return True
    if previous.act in _PERMANENT:
        return segment.opener != "contrast" or previous.act is SpeechAct.REPORT
    if segment.opener == "contrast":
        return False
    low, high = bisect_left(mention_starts, segment.start), bisect_left(mention_starts, segment.end)
    inside = analysis.mentions[low:high]
    at = bisect_left(negations, segment.start)
    negated = at < len(negations) and negations[at] < segment.end
    if previous.act is SpeechAct.QUESTION:
        return not negated and not any(m.is_predicate for m in inside)
    if previous.act in (SpeechAct.TEACHING, SpeechAct.OTHER_ANIMAL):
        return not (negated and negations[at] == segment.start)
    if _measured(analysis, segment):
        return False
    # An intention goes on over a list of nouns; a verdict or a denial is its result.
    verdict = any(m.is_predicate for m in inside)
    return not negated and not verdict


def _plan_goes_on(analysis: Analysis, previous: Segment, segment: Segment) -> bool:
    """ "Plan: bloods today. Dental in two weeks." A sentence without finding and value after a plan plans on."""
    if previous.act is not SpeechAct.PLAN or segment.opener != "sentence":
        return False
    says = mentions_within(analysis.mentions, segment.start, segment.end)
    if previous.act_cue is not None and previous.act_cue.group.id == "plan_heading":
        verdict = any(m.is_structure for m in says) and any(m.is_predicate for m in says)
        return not verdict and not _measured(analysis, segment)
    return not says and not _measured(analysis, segment) and segment.end - segment.start >= 2


def _teaching_goes_on(analysis: Analysis, previous: Segment, segment: Segment) -> bool:
    """ "Cavaliers get heart disease. It starts as a soft murmur." The second sentence teaches on."""
    if previous.act is not SpeechAct.TEACHING or segment.opener != "sentence":
        return False
    norms = analysis.norms
    first = norms[segment.start]
    second = norms[segment.start + 1] if segment.start + 1 < segment.end else ""
    if first in ("they", "it", "that", "those", "this", "these", "you", "we"):
        return (
            second not in ("is", "are", "look", "looks", "feel", "feels", "sound", "sounds", "'s")
            or previous.act_cue is None
        )
    return False


def mentions_within(mentions: list[Mention], start: int, end: int) -> list[Mention]:
    """Mentions that lie in tokens start to end; `mentions` in text order."""
    low = bisect_left(mentions, start, key=lambda m: m.start)
    high = bisect_left(mentions, end, key=lambda m: m.start)
    return mentions[low:high]
