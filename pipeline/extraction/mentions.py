"""Words of the lexicon in a text, each with its place."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from lexicon import Entry


@dataclass(frozen=True, slots=True)
class Mention:
    """Words of the lexicon in tokens start to end (exclusive), with everything they can stand for.

    `similarity` is 1.0 for words as written in a table, below for words taken as misheard. `inner` are the shorter
    mentions inside words that count only in the focus of their system, for when that is not in focus. `passed` are the
    tokens between its words that are not its own; `route` says how the term was found when not word by word.
    """

    start: int
    end: int
    entries: tuple[Entry, ...]
    similarity: float = 1.0
    inner: tuple[Mention, ...] = ()
    passed: tuple[int, ...] = ()
    route: str = ""

    @property
    def is_structure(self) -> bool:
        """True when the words name a part of the body and no finding."""
        return all(entry.kind == "structure" for entry in self.entries)

    @property
    def is_predicate(self) -> bool:
        """True for adjectives and verbs ("swollen"), false for nouns ("swelling")."""
        return any(entry.kind == "predicate" for entry in self.entries)


def mentions_within(mentions: list[Mention], start: int, end: int) -> list[Mention]:
    """Mentions that begin in tokens start to end (exclusive); `mentions` in text order."""
    low = bisect_left(mentions, start, key=lambda mention: mention.start)
    high = bisect_left(mentions, end, key=lambda mention: mention.start)
    return mentions[low:high]
