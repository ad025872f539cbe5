"""Where a speaker paused: marks supplied in text that a recogniser wrote without any.

A small model, learnt from the marked dictations of tests/gold/dev, scores every gap between two words: none, a comma, the end of a
sentence. It sees the words around the gap, what kind of word each is (part, finding, adjective, denial, value), and what has been
said since the last pause. The marks become tokens of no width, so that everything after them reads such text as it reads typed
text and all places in the text stay true. `pipeline/evaluation/learning.py` learns the weights and compares with the rules alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from spacy.tokens import Doc

from lexicon import Lexicon
from lexicon.pauses import Pauses
from pipeline.extraction.measuring import MeasurementReader
from pipeline.extraction.mentions import Mention
from pipeline.extraction.starts import UNMARKED, Start, StatementStarts, unmarked_stretches
from pipeline.extraction.tokens import MARKS, Analysis, analysis_of

# What a token is to the model: of several the last one counts. Small letters are the later words of the same thing.
_CUE_KINDS = {
    "negation_before": "D",
    "negation_after": "A",
    "severity": "V",
    "side": "L",
    "replace": "X",
    "withdraw": "X",
    "terminator": "B",
    "anchor": "Y",
    "past": "Z",
    "possible_before": "Q",
    "not_examined": "E",
}
_CONTENT = frozenset(
    "SPFNDAMR"
)  # part, adjective, finding, number, denial, denial after, name of a value, value
_REMEMBERED = "SFPDNRcvTMo"
_TEACHES = "Tte"
# Talk in general goes on over a pause unless one of these begins: a part, a cue of what is said, a value or its name.
_TURNING = frozenset("STMR")
_UNDIVIDED = frozenset(
    (
        "act",
        "pseudo_negation",
        "withdraw",
        "replace",
        "negation_before",
        "negation_after",
        "possible_before",
        "not_examined",
    )
)


class Mark(NamedTuple):
    """A mark at a gap: before which token, and which one."""

    at: int
    norm: str


@dataclass(slots=True)
class _Since:
    """What has been said since the last pause; `at` is the first token after it."""

    at: int = 0
    seen: set[str] = field(default_factory=set)
    content: str = ""

    def hear(self, kind: str) -> None:
        """Take in one more token."""
        self.seen.add(kind[0])
        if kind[0] in _CONTENT:
            self.content = (self.content + kind[0])[-3:]


@dataclass(frozen=True, slots=True)
class Gaps:
    """The gaps of one text as the model sees them: kinds of its tokens, what content follows each, gaps that no mark divides."""

    norms: Sequence[str]
    kinds: Sequence[str]
    ahead: Sequence[str]
    closed: frozenset[int]
    starts: Mapping[int, Start]

    def features(self, at: int, since: _Since) -> list[str]:
        """Names of what is true of the gap before a token."""
        before2, before, here, after, after2 = (self._kind(at + step) for step in range(-2, 3))
        word2, word1, word, following = (self._word(at + step) for step in range(-2, 2))
        distance = at - since.at
        far = next((bound for bound in (14, 9, 6, 4) if distance >= bound), distance)
        seen = "".join(kind for kind in _REMEMBERED if kind in since.seen)
        content, ahead = since.content, self.ahead[at]
        names = [
            "any",
            f"word before {word1}",
            f"word {word}",
            f"word before, kind {word1}|{here}",
            f"kind before, word {before}|{word}",
            f"word and next {word}|{following}",
            f"two words before {word2}|{word1}",
            f"words about {word1}|{word}",
            f"kinds about {before}|{here}",
            f"kinds 2+1 {before2}{before}|{here}",
            f"kinds 1+2 {before}|{here}{after}",
            f"kinds 2+2 {before2}{before}|{here}{after}",
            f"kinds 1+3 {before}|{here}{after}{after2}",
            f"words since {far}",
            f"words since, kind {far}|{here}",
            f"since {seen}",
            f"since, kinds {seen}|{before}{here}",
            f"content {content}",
            f"content, kind {content}|{here}",
            f"content ahead {ahead}",
            f"content about {content[-2:]}|{ahead[:2]}",
            f"word, content ahead {word}|{ahead[:2]}",
            f"word, content {word}|{content[-2:]}",
        ]
        if (start := self.starts.get(at)) is not None:
            names += [
                f"start {start.name}",
                f"start, content {start.name}|{content[-2:]}",
                f"start, since {start.name}|{seen}",
            ]
        return names

    def examples(self, marks: Mapping[int, str]) -> Iterable[tuple[list[str], str]]:
        """What is true of each gap, and the mark that stands there or "": what there is to learn from."""
        since = _Since()
        for at, kind in enumerate(self.kinds):
            mark = marks.get(at, "") if at else ""
            if at and at not in self.closed:
                yield self.features(at, since), mark
            if mark:
                since = _Since(at)
            since.hear(kind)

    def marks(self, pauses: Pauses, stretches: Iterable[tuple[int, int]]) -> list[Mark]:
        """The marks to supply in the given stretches, from left to right; linear in the length of the text."""
        bound = pauses.threshold / (1 - pauses.threshold)
        placed = []
        for first, last in stretches:
            since, taught = _Since(first), False
            for at in range(first, last):
                if at > first and at not in self.closed:
                    comma, stop = pauses.scores(self.features(at, since))
                    if math.exp(comma) + math.exp(stop) >= bound:
                        taught = taught or _TEACHES in self.kinds[since.at : at]
                        ends = stop >= comma and not (taught and self.kinds[at] not in _TURNING)
                        taught = taught and not ends
                        placed.append(Mark(at, "." if ends else ","))
                        since = _Since(at)
                since.hear(self.kinds[at])
        return placed

    def _kind(self, at: int) -> str:
        return self.kinds[at] if 0 <= at < len(self.kinds) else "#"

    def _word(self, at: int) -> str:
        return self.norms[at] if 0 <= at < len(self.norms) else "#"


class GapReader:
    """Turns an Analysis with mentions, cues, numbers and readings into its Gaps."""

    def __init__(self, lexicon: Lexicon) -> None:
        groups, words = lexicon.words["groups"], lexicon.words["clauses"]
        self._starts = StatementStarts(lexicon)
        self._prepositions = frozenset(groups["prepositions"])
        self._leading = frozenset(words["leading_on"])
        self._classes: dict[str, str] = {}
        for kind, listed in (
            ("v", words["finite_verbs"]),
            ("g", groups["degree_words"]),
            ("i", groups["prepositions"]),
            ("&", groups["conjunctions"]),
            ("o", words["pronouns"]),
            ("h", groups["possessives"]),
            ("d", groups["articles"]),
            ("c", groups["copulas"]),
        ):
            self._classes.update(dict.fromkeys(listed, kind))

    def gaps(self, analysis: Analysis) -> Gaps:
        """The gaps of one text; linear in its length."""
        kinds = self._kinds(analysis)
        closed = _closed(analysis) | self._leading_on(analysis.norms)
        return Gaps(analysis.norms, kinds, _ahead(kinds), closed, self._starts.find(analysis))

    def _leading_on(self, norms: Sequence[str]) -> frozenset[int]:
        """Tokens after a word that asks for one: "the", "my", "in her"; "her" alone may end a clause."""
        return frozenset(
            at
            for at in range(1, len(norms))
            if norms[at - 1] in self._leading
            or (norms[at - 1] == "her" and at > 1 and norms[at - 2] in self._prepositions)
        )

    def _kinds(self, analysis: Analysis) -> list[str]:
        kinds = [self._classes.get(norm, "w") for norm in analysis.norms]

        def set_kind(start: int, end: int, first: str, later: str) -> None:
            kinds[start:end] = [first, *[later] * (end - start - 1)]

        for cue in analysis.cues:
            if cue.kind == "act":
                set_kind(cue.start, cue.end, f"T{(cue.group.value or '')[:2]}", "t")
        for cue in analysis.cues:
            if (kind := _CUE_KINDS.get(cue.kind)) is not None:
                set_kind(cue.start, cue.end, kind, kind.lower())
        for number in analysis.numbers:
            set_kind(number.start, number.end, "N", "n")
        for reading in analysis.readings:
            set_kind(reading.start, max(reading.end, reading.start + 1), "R", "r")
            if reading.name is not None:
                kinds[reading.name[0]] = "M"
        for mention in analysis.mentions:
            kind = "S" if mention.is_structure else "P" if mention.is_predicate else "F"
            set_kind(mention.start, mention.end, kind, kind.lower())
        return kinds


class PauseMarker:
    """spaCy component that supplies marks in stretches without any; needs mentions, cues, numbers and readings.

    Values are read again where marks were supplied: a pause ends what a number can belong to.
    """

    def __init__(self, lexicon: Lexicon, pauses: Pauses, measurements: MeasurementReader) -> None:
        self.pauses = pauses
        self._reader = GapReader(lexicon)
        self._measurements = measurements

    def __call__(self, doc: Doc) -> Doc:
        """Read the text that the Doc carries."""
        analysis = analysis_of(doc)
        analysis.unmarked = unmarked_stretches(analysis.norms)
        long = [(first, last) for first, last in analysis.unmarked if last - first >= UNMARKED]
        if not long:
            return doc
        marks = self._reader.gaps(analysis).marks(self.pauses, long)
        if not marks:
            return doc
        _supply(analysis, marks)
        marked = Doc(doc.vocab, words=analysis.norms)
        marked.user_data["analysis"] = analysis
        return self._measurements(marked)


def _ahead(kinds: Sequence[str]) -> list[str]:
    """The next three kinds of content from each token on."""
    ahead, content = [""] * len(kinds), ""
    for at in range(len(kinds) - 1, -1, -1):
        if kinds[at][0] in _CONTENT:
            content = (kinds[at][0] + content)[:3]
        ahead[at] = content
    return ahead


def _closed(analysis: Analysis) -> frozenset[int]:
    """Tokens before which no mark can stand: inside a term, a number, a cue, between a value and its name; beside a mark."""
    closed: set[int] = set()
    findings = {mention.start for mention in analysis.mentions if not mention.is_structure}
    for mention in analysis.mentions:
        closed.update(range(mention.start + 1, mention.end))
    for number in analysis.numbers:
        closed.update(range(number.start + 1, number.end))
    for cue in analysis.cues:
        if cue.kind in _UNDIVIDED:
            closed.update(range(cue.start + 1, cue.end))
        if cue.kind == "severity" and cue.end in findings:
            closed.add(cue.end)  # "mild" goes with the tartar that follows it
    for reading in analysis.readings:
        name = reading.name or (reading.start, reading.end)
        closed.update(range(min(reading.start, name[0]) + 1, max(reading.end, name[1])))
    closed.update(at for at, norm in enumerate(analysis.norms) if norm in MARKS)
    return frozenset(closed)


def _supply(analysis: Analysis, marks: Sequence[Mark]) -> None:
    """Put marks among the tokens, each with no characters of its own, and move what was found to its new place."""
    norms: list[str] = []
    starts: list[int] = []
    ends: list[int] = []
    capitals: list[bool] = []
    moved: list[int] = []
    upcoming = iter(marks)
    mark = next(upcoming, None)
    for at, norm in enumerate(analysis.norms):
        if mark is not None and mark.at == at:
            norms.append(mark.norm)
            starts.append(analysis.ends[at - 1])
            ends.append(analysis.ends[at - 1])
            capitals.append(False)
            mark = next(upcoming, None)
        moved.append(len(norms))
        norms.append(norm)
        starts.append(analysis.starts[at])
        ends.append(analysis.ends[at])
        capitals.append(analysis.capitals[at])

    def end(token: int) -> int:
        return moved[token - 1] + 1

    def with_mention(mention: Mention) -> Mention:
        return replace(
            mention,
            start=moved[mention.start],
            end=end(mention.end),
            passed=tuple(moved[token] for token in mention.passed),
            inner=tuple(with_mention(inner) for inner in mention.inner),
        )

    analysis.norms, analysis.starts, analysis.ends, analysis.capitals = norms, starts, ends, capitals
    analysis.mentions = [with_mention(mention) for mention in analysis.mentions]
    analysis.cues = [replace(cue, start=moved[cue.start], end=end(cue.end)) for cue in analysis.cues]
    analysis.numbers = [
        replace(
            number,
            start=moved[number.start],
            end=end(number.end),
            elided_from=None if number.elided_from is None else moved[number.elided_from],
        )
        for number in analysis.numbers
    ]
    analysis.unmarked = [(moved[first], end(last)) for first, last in analysis.unmarked or ()]
