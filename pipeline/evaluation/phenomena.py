"""What each stated fact shows of the ways of spoken exams: a denial over a list, a denial that ends, a side that carries over.

What the annotation says (past, told by the owner, withdrawn) is taken from there; the rest follows from the words between and
around the facts, by the patterns of `phenomena.toml`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

SET_ASIDE = {
    "other_animal": "another animal",
    "teaching": "teaching",
    "intention": "intention",
    "plan": "plan or condition",
    "question": "question",
    "chatter": "chatter",
}
"""The kinds of talk of `set_aside` and the names of their phenomena."""

PHENOMENA = (
    "present",
    "absent",
    "denied in a list",
    "after an ended denial",
    "right after a denial",
    "denied afterwards",
    "seeming denial",
    "uncertain",
    "past",
    "told by the owner",
    "withdrawn",
    "side said",
    "side carried over",
    "grade or size",
    *SET_ASIDE.values(),
    "with punctuation",
    "without punctuation",
)
"""Every phenomenon, in the order of tables; that of a fact which is not set aside comes from `phenomena`."""

MANNER = frozenset({"uncertain", "past", "told by the owner", "withdrawn", "side said", "side carried over"})
"""Those that are part of a fact, whatever stands around it."""

_SENTENCE_END = re.compile(r"[.!?;:](?=\s|$)")
_CLAUSE_END = re.compile(r"[.,!?;:](?=\s|$)")
_NEAR_WORDS = 5
_REACH_WORDS = 12


@dataclass(frozen=True)
class Stated:
    """A fact with its place, as annotated or as extracted."""

    start: int
    end: int
    assertion: str = "present"
    side: str | None = None
    detailed: bool = False
    told_by_owner: bool = False
    past: bool = False
    withdrawn: bool = False


@cache
def _pattern(name: str) -> re.Pattern[str]:
    table = tomllib.loads(
        resources.files("pipeline.evaluation").joinpath("phenomena.toml").read_text(encoding="utf-8")
    )
    return re.compile(rf"(?<![\w'\u2019])(?:{'|'.join(table[name])})(?![\w'\u2019])", re.IGNORECASE)


def is_punctuated(text: str) -> bool:
    """Tell whether a text has marks as typing has: one after every twenty words or more of them."""
    return len(_CLAUSE_END.findall(text)) * 20 >= len(text.split())


def phenomena(text: str, facts: Sequence[Stated]) -> list[frozenset[str]]:
    """Name the phenomena of each fact, in the order of the facts."""
    marks = "with punctuation" if is_punctuated(text) else "without punctuation"
    ordered = sorted((fact for fact in facts if not fact.withdrawn), key=lambda fact: fact.start)
    return [frozenset({marks, *_of_manner(text, fact), *_of_place(text, fact, ordered)}) for fact in facts]


def _of_manner(text: str, fact: Stated) -> Iterable[str]:
    if fact.withdrawn:
        yield "withdrawn"
        return
    yield "uncertain" if fact.assertion == "possible" else fact.assertion
    if fact.past:
        yield "past"
    if fact.told_by_owner:
        yield "told by the owner"
    if fact.detailed:
        yield "grade or size"
    if fact.side is not None:
        near = _before(text, fact, _CLAUSE_END) + " " + _after(text, fact, _CLAUSE_END)
        yield "side said" if _pattern("side").search(near) else "side carried over"


def _of_place(text: str, fact: Stated, ordered: Sequence[Stated]) -> Iterable[str]:
    """Name what follows from the fact before and the words around."""
    if fact.withdrawn:
        return
    before, after = _before(text, fact, _SENTENCE_END), _after(text, fact, _SENTENCE_END)
    denied = max(
        (f for f in ordered if f.assertion == "absent" and f.end <= fact.start), key=_end, default=None
    )
    gap = None if denied is None else text[denied.end : fact.start]
    reached = gap is not None and len(gap.split()) <= _REACH_WORDS and not _SENTENCE_END.search(gap)
    if fact.assertion == "absent":
        near = " ".join(before.split()[-_NEAR_WORDS:])
        if gap is not None and reached and len(gap.split()) <= _NEAR_WORDS and not _denies(gap):
            yield "denied in a list"
        elif not _denies(near) and _pattern("denied_after").search(_first_words(after)):
            yield "denied afterwards"
        return
    if _pattern("seeming_denial").search(before) or _pattern("seeming_denial").search(_first_words(after)):
        yield "seeming denial"
    elif gap is not None and reached and _pattern("ending").search(gap):
        yield "after an ended denial"
    elif gap is not None and reached and not _denies(gap) and len(gap.split()) <= _NEAR_WORDS:
        yield "right after a denial"


def _end(fact: Stated) -> int:
    return fact.end


def _denies(words: str) -> bool:
    return _pattern("denial").search(words) is not None


def _first_words(text: str) -> str:
    return " ".join(text.split()[:_NEAR_WORDS])


def _before(text: str, fact: Stated, stop: re.Pattern[str]) -> str:
    """Up to eight words before a fact, from the last mark of `stop` on."""
    words = text[: fact.start].split()[-8:]
    joined = " ".join(words)
    ends = list(stop.finditer(joined + " "))
    return joined[ends[-1].end() :] if ends else joined


def _after(text: str, fact: Stated, stop: re.Pattern[str]) -> str:
    """Up to eight words after a fact, up to the next mark of `stop`."""
    joined = text[fact.end : fact.end + 120]
    end = stop.search(joined)
    return " ".join((joined[: end.start()] if end else joined).split()[:8])
