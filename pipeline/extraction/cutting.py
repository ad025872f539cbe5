"""Where one clause ends and the next begins, in text with marks and in text without any."""

from __future__ import annotations

from dataclasses import dataclass, field

from lexicon import Lexicon
from pipeline.extraction.concepts import Cue
from pipeline.extraction.mentions import Mention
from pipeline.extraction.segments import Segment
from pipeline.extraction.starts import Start, StatementStarts
from pipeline.extraction.tokens import COMMA_MARKS, SENTENCE_MARKS, Analysis

_LONGEST_SEGMENT = 80
_FRONTED = 5  # words of a phrase that stands before its clause
# A measured value is no part of an aim, a report, praise or a plan that came before it without a mark.
_ENDED_BY_VALUE = frozenset(("intention", "report", "chatter", "plan"))

# "The plan", "to plan", "health plan": part of what was begun, no heading.
_BEFORE_PLAN = frozenset(
    ("the", "a", "to", "of", "no", "our", "your", "my", "health", "diet", "loss", "we", "i")
)


@dataclass(slots=True)
class _Places:
    """Tokens of one text at which something begins or ends that matters for cutting."""

    acts: dict[int, Cue] = field(default_factory=dict)
    ended_by_value: set[int] = field(default_factory=set)
    readings: set[int] = field(default_factory=set)
    answers: set[int] = field(default_factory=set)
    headings: set[int] = field(default_factory=set)
    nones: set[int] = field(default_factory=set)
    mentions: set[int] = field(default_factory=set)
    inside: set[int] = field(default_factory=set)
    corrections: set[int] = field(default_factory=set)
    aims: set[int] = field(default_factory=set)
    verdicts: set[int] = field(default_factory=set)
    closing: set[int] = field(default_factory=set)
    stating: set[int] = field(default_factory=set)
    naming: set[int] = field(default_factory=set)
    attributes: set[int] = field(default_factory=set)
    starts: dict[int, Start] = field(default_factory=dict)


@dataclass(slots=True)
class _Open:
    """The segment that is being read."""

    start: int = 0
    sentence: int = 0
    opener: str = "sentence"
    complete: bool = False
    act_seen: bool = False
    value_ends: bool = False
    aim_seen: bool = False
    stated: bool = False
    named: bool = False


class Cutter:
    """Cuts a text into segments; needs its mentions, cues and readings."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.words["clauses"]
        self._and_openers = frozenset(words["and_openers"])
        self._openers = frozenset(words["openers"])
        self._prepositions = frozenset(lexicon.words["groups"]["prepositions"])
        self._binding = frozenset(words["binding"]) | self._prepositions
        self._contrast = frozenset(words["contrast"])
        self._titles = frozenset(words["titles"])
        self._starts = StatementStarts(lexicon)

    def cut(self, analysis: Analysis) -> list[Segment]:
        """Segments in order, without the marks between them; linear in the length of the text."""
        norms = analysis.norms
        places = _places_of(analysis)
        places.starts = self._starts.find(analysis)
        segments: list[Segment] = []
        now = _Open()

        def close(end: int, start: int, opener: str) -> None:
            nonlocal now
            if end > now.start:
                segments.append(Segment(now.start, end, now.sentence, now.opener))
            now = _Open(start, now.sentence + (opener == "sentence"), opener)

        for at, norm in enumerate(norms):
            if norm == "." and at and norms[at - 1] in self._titles:
                continue
            if norm in SENTENCE_MARKS:
                sentence = now.sentence
                close(at, at + 1, "sentence")
                if norm == "?":
                    _mark_question(segments, sentence)
                continue
            if norm in COMMA_MARKS and norm != ":":
                contrasts = at + 1 < len(norms) and norms[at + 1] in self._contrast
                close(at, at + 1, "contrast" if contrasts else "comma")
                continue
            opener = self._cut_before(norms, at, now, places)
            if opener is not None:
                close(at, at, opener)
            _advance(now, at, places)
        close(len(norms), len(norms), "sentence")
        return segments

    def _cut_before(self, norms: list[str], at: int, now: _Open, places: _Places) -> str | None:
        """How a new segment opens at a token, or None where the clause goes on."""
        if at <= now.start:
            return None
        if at in places.corrections:
            return "comma"
        if at in places.inside:
            return None
        if (at in places.nones and now.act_seen) or at in places.answers:
            return "comma"
        if opener := self._opens(norms, at, places.acts, now.complete):
            return opener
        if now.aim_seen and at in places.verdicts:
            return "cue"
        if (at in places.readings and now.value_ends) or (
            at in places.headings and norms[at - 1] not in _BEFORE_PLAN
        ):
            return "cue"
        if not self._fronted(norms, at, now) and (opener := _starts_statement(at, now, places)):
            return opener
        return "comma" if at - now.start > _LONGEST_SEGMENT and at in places.mentions else None

    def _fronted(self, norms: list[str], at: int, now: _Open) -> bool:
        """ "With gingivitis you would see red gums": a phrase with a preposition before its clause."""
        return norms[now.start] in self._prepositions and at - now.start < _FRONTED

    def _opens(self, norms: list[str], at: int, acts: dict[int, Cue], complete: bool) -> str | None:
        norm = norms[at]
        here, following = acts.get(at), acts.get(at + 1)
        if norm in self._contrast or (norm == "while" and complete):
            return "contrast"
        if norm in ("which", "so", "then") and (here or following):
            return "contrast"
        if norm == "and":
            word = norms[at + 1] if at + 1 < len(norms) else ""
            strong = following is not None and following.kind != "act_weak"
            return "and" if word in self._and_openers or strong else None
        free = norms[at - 1] not in self._binding
        if here is not None and here.kind != "act_weak" and complete and free and norm in self._openers:
            return "cue"
        return None


def _starts_statement(at: int, now: _Open, places: _Places) -> str | None:
    """How a statement opens that begins at a token of text without marks, or None while the one before is not finished."""
    start = places.starts.get(at)
    if start is Start.MARKER:
        return "sentence"
    if start in (Start.PRONOUN, Start.ACT) and (now.stated or at - now.start >= 4):
        return "cue"
    if start is Start.SUBJECT and at - now.start >= 3 and at not in places.attributes:
        return "sentence"
    if start is None or not now.stated:
        return None
    if start is Start.QUALITY and not now.named:
        return None
    if start in (Start.SUBJECT, Start.TOPIC) and not now.named and at in places.attributes:
        return None  # "swollen left hock, painful": the adjective before belongs to the part
    return "sentence" if start in (Start.SUBJECT, Start.TOPIC, Start.VALUE, Start.QUALITY) else "comma"


def _places_of(analysis: Analysis) -> _Places:
    places = _Places()
    for cue in analysis.cues:
        _place_cue(places, cue, analysis.norms)
    for mention in analysis.mentions:
        _place_mention(places, mention)
    for reading in analysis.readings:
        places.readings.add(reading.start)
        if reading.answers_from is not None:
            places.answers.add(reading.answers_from)
        places.closing.add(reading.end - 1)
        places.stating.add(reading.end - 1)
        places.inside.update(range(reading.start + 1, reading.end))
    return places


def _place_cue(places: _Places, cue: Cue, norms: list[str]) -> None:
    if cue.kind in ("act", "anchor") or (cue.kind == "act_weak" and cue.start not in places.acts):
        places.acts[cue.start] = cue
    if cue.kind in ("act", "act_idle") and cue.group.value in _ENDED_BY_VALUE:
        places.ended_by_value.add(cue.start)
    if cue.kind == "act" and cue.group.value == "intention":
        places.aims.add(cue.start)
    if cue.kind == "deictic" and cue.end - cue.start > 1:
        # "Starting with the eyes they're clear": a pronoun with its verb brings the result.
        places.verdicts.add(cue.start)
    if cue.kind in ("act", "pseudo_negation", "withdraw", "replace"):
        places.inside.update(range(cue.start + 1, cue.end))
    if cue.kind in ("replace", "withdraw") and _corrects(norms, cue):
        # The part that a withdrawal names goes with it.
        places.corrections.update((cue.start,) if cue.group.value == "named" else (cue.start, cue.end))
    if cue.kind == "negation_after" and norms[cue.start] == "none":
        places.nones.add(cue.start)
    if cue.group.id == "plan_heading" and "plan" in norms[cue.start : cue.end]:
        places.headings.add(cue.start)
    if cue.kind in ("negation_before", "negation_after"):
        places.closing.add(cue.end - 1)


def _place_mention(places: _Places, mention: Mention) -> None:
    places.mentions.add(mention.start)
    places.inside.update(range(mention.start + 1, mention.end))
    if mention.is_predicate:
        places.closing.add(mention.end - 1)
        if _fits_next(mention):
            places.attributes.add(mention.end)
    else:
        places.naming.add(mention.start)
    if not mention.is_structure:
        places.stating.add(mention.end - 1)


def _advance(now: _Open, at: int, places: _Places) -> None:
    cue = places.acts.get(at)
    now.act_seen = now.act_seen or (cue is not None and cue.kind == "act")
    now.value_ends = now.value_ends or at in places.ended_by_value
    now.aim_seen = now.aim_seen or at in places.aims
    # After a denial, an adjective's verdict or a measured value a clause can be complete.
    now.complete = now.complete or at in places.closing
    now.stated = now.stated or at in places.stating
    now.named = now.named or at in places.naming


def _fits_next(mention: Mention) -> bool:
    """Whether an adjective can stand before a part ("swollen"); those of the animal as a whole ("bright") can not."""
    return any(entry.in_focus for entry in mention.entries)


def _corrects(norms: list[str], cue: Cue) -> bool:
    """Whether a cue of correction opens one by itself; weak words ("no", "rather") need the pause that marks show, or a side.

    "A lump on the left side no the right side": after the weak word stands a side that names no part of its own.
    """
    words = norms[cue.start : cue.end]
    if cue.kind == "withdraw" or len(words) > 1 or words[0] in ("sorry", "correction"):
        return True
    at = cue.end + (norms[cue.end : cue.end + 1] in (["the"], ["upper"], ["lower"]))
    if words == ["actually"] and norms[at : at + 1] in (["there"], ["i"]):
        return True
    sided = norms[at : at + 1] in (["left"], ["right"])
    return sided and norms[at + 1 : at + 2] in ([], ["side"], ["one"], ["."], [","])


def _mark_question(segments: list[Segment], sentence: int) -> None:
    for segment in reversed(segments):
        if segment.sentence != sentence:
            break
        segment.question_mark = True
