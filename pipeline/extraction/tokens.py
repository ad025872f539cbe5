"""From text to tokens as the rules want to see them, each still knowing its place in the original text.

Tokens are lower case; contractions are written out ("isn't" → is, not), hyphens fall away ("thirty-eight" → thirty, eight),
sounds of hesitation and stammered repeats are left out. The text itself is never changed.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, cast

from spacy.tokens import Doc

from lexicon import Lexicon

if TYPE_CHECKING:
    from spacy.vocab import Vocab

    from pipeline.extraction.concepts import Cue
    from pipeline.extraction.measuring import Reading
    from pipeline.extraction.mentions import Mention
    from pipeline.extraction.numbers import Number
    from pipeline.extraction.segments import Segment

_PIECE = re.compile(
    r"(?P<number>\d+,\d{1,2}(?![\d,])|(?:\d{1,3}(?:,\d{3})+|\d+)(?:\ ?\.\d+)?)"
    r"|(?P<initials>\b[a-zA-Z](?:\.[a-zA-Z])+\b(?:\.(?=\ [a-z\d]))?)"
    r"|(?P<word>[^\W\d_]+(?:['\u2019][^\W\d_]+)*)"
    r"|(?P<mark>[.!?;:,\u2013\u2014/%\u00b0()]|\.\.\.)"
    r"|(?P<line>\n\s*\n?)"
    r"|(?P<symbol>[^\s\w-])"
)
SENTENCE_MARKS = frozenset({".", "!", "?", ";", "\n"})
COMMA_MARKS = frozenset({",", ":", "\u2013", "\u2014", "(", ")"})
MARKS = SENTENCE_MARKS | COMMA_MARKS


@dataclass(slots=True)
class Analysis:
    """What the components have found out about one text so far; each adds its part.

    `norms[i]` is the token as the rules see it, `starts[i]`/`ends[i]` its characters in `text`, `capitals[i]` whether it
    is capitalised there. `from_sound` says that a recogniser wrote the text, with the slips that recognisers make.
    `unmarked` are the stretches written without marks, once somebody looked; marks supplied there have no characters.
    """

    text: str
    norms: list[str]
    starts: list[int]
    ends: list[int]
    capitals: list[bool]
    from_sound: bool = False
    unmarked: list[tuple[int, int]] | None = None
    numbers: list[Number] = field(default_factory=list)
    mentions: list[Mention] = field(default_factory=list)
    cues: list[Cue] = field(default_factory=list)
    segments: list[Segment] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)

    def slice(self, start: int, end: int) -> tuple[int, int]:
        """Character range of tokens start to end (exclusive)."""
        return self.starts[start], self.ends[end - 1]

    def numbers_within(self, start: int, end: int) -> list[Number]:
        """The numbers that begin in tokens start to end (exclusive)."""
        low = bisect_left(self.numbers, start, key=lambda number: number.start)
        high = bisect_left(self.numbers, end, key=lambda number: number.start)
        return self.numbers[low:high]

    def words(self, start: int, end: int) -> str:
        """The text of tokens start to end as it stands in the original."""
        first, last = self.slice(start, end)
        return self.text[first:last]


def _queries(text: str, at: int) -> bool:
    """Whether a question mark stands for the word "query", as in notes: "?cataract left", "opacity ? cataract"."""
    before, after = text[at - 1 : at], text[at + 1 : at + 3]
    if before.isalnum() or before in ("?", "!", "."):
        return False
    return after[:1].isalpha() or (bool(before) and after[:1] == " " and after[1:].islower())


class SpokenTokenizer:
    """spaCy tokenizer for spoken commentary; the resulting Doc holds the normalised tokens, the Analysis their places."""

    def __init__(self, vocab: Vocab, lexicon: Lexicon) -> None:
        self.vocab = vocab
        words = lexicon.words
        self._contractions: dict[str, tuple[str, ...]] = {
            written: tuple(parts) for written, parts in words["contractions"].items()
        }
        self._clitics: dict[str, str] = words["clitics"]
        self._before_is = frozenset(words["groups"]["pronouns_before_is"])
        self._fillers = frozenset(words["fillers"])
        self._plain: set[str] = set()  # words of tables that stay as they are
        self._stammered = frozenset(words["stammered"])

    def __call__(self, text: str) -> Doc:
        """Doc of the normalised tokens; the Analysis travels in its user_data."""
        analysis = self.analyse(text)
        doc = Doc(self.vocab, words=analysis.norms)
        doc.user_data["analysis"] = analysis
        return doc

    def phrase(self, term: str) -> list[str]:
        """The tokens of a table's term, so that table and text are split the same way."""
        if term.isascii() and term.islower() and term.replace(" ", "").isalpha():
            words = term.split()
            if self._plain.issuperset(words):
                return words
            if self._contractions.keys().isdisjoint(words) and self._fillers.isdisjoint(words):
                self._plain.update(words)
                return words
        return self.analyse(term, drop_repeats=False).norms

    def analyse(self, text: str, *, drop_repeats: bool = True) -> Analysis:
        """Split text into normalised tokens with their character offsets."""
        out = Analysis(text, [], [], [], [])
        for match in _PIECE.finditer(text):
            start, end = match.span()
            kind = match.lastgroup
            raw = match.group()
            if kind == "initials":
                # "C.R.T. two seconds": the dots end no sentence.
                self._add_word(out, raw.replace(".", ""), start, end, drop_repeats)
            elif kind == "word":
                self._add_word(out, raw, start, end, drop_repeats)
            elif kind == "number":
                # "38,5" has a decimal comma, "1,200" separates thousands; recognisers write "38 .5" for "38.5".
                raw = raw.replace(" ", "")
                decimal_comma = "." not in raw and len(raw.rpartition(",")[2]) < 3
                self._append(out, raw.replace(",", "." if decimal_comma else ""), start, end)
            elif kind == "line":
                # A single line break inside a sentence is layout; an empty line ends it.
                if raw.count("\n") > 1:
                    self._append(out, "\n", start, end)
            elif raw == "?" and _queries(text, start):
                self._append(out, "query", start, end)
            else:
                self._append(out, raw, start, end)
        return out

    @staticmethod
    def _append(out: Analysis, norm: str, start: int, end: int) -> None:
        out.norms.append(norm)
        out.starts.append(start)
        out.ends.append(end)
        out.capitals.append(out.text[start].isupper())

    def _add_word(self, out: Analysis, raw: str, start: int, end: int, drop_repeats: bool) -> None:
        norm = raw.lower().replace("\u2019", "'")
        if norm in self._fillers:
            return
        if drop_repeats and norm in self._stammered and out.norms and out.norms[-1] == norm:
            # "the the left" is a stammer; "four four" is a number, "pain, pain score" two things.
            out.starts[-1] = min(out.starts[-1], start)
            out.ends[-1] = end
            return
        for part, (first, last) in self._parts(norm, start, end):
            self._append(out, part, first, last)

    def _parts(self, norm: str, start: int, end: int) -> list[tuple[str, tuple[int, int]]]:
        """A word and its clitics with their characters."""
        if parts := self._contractions.get(norm):
            return [(part, (start, end)) for part in parts]
        stem, apostrophe, clitic = norm.rpartition("'")
        if not apostrophe or not stem:
            return [(norm, (start, end))]
        if clitic == "t" and stem.endswith("n"):
            return [(stem[:-1], (start, start + len(stem) - 1)), ("not", (start + len(stem) - 1, end))]
        cut = start + len(stem)
        if clitic == "s":
            return [(stem, (start, cut)), ("is" if stem in self._before_is else "'s", (cut, end))]
        if full := self._clitics.get(clitic):
            return [(stem, (start, cut)), (full, (cut, end))]
        return [(norm, (start, end))]


def analysis_of(doc: Doc) -> Analysis:
    """The Analysis that travels with a Doc made by SpokenTokenizer."""
    return cast("Analysis", doc.user_data["analysis"])
