"""Terms of two or three words of which one was misheard: "otitis external", "nucleus sclerosis"."""

from __future__ import annotations

import functools
from collections import defaultdict
from dataclasses import dataclass

from lexicon import Lexicon, load_lexicon
from pipeline.extraction.likeness import likeness
from pipeline.extraction.misheard import english_ranks
from pipeline.extraction.trade import RARE_FROM_RANK

PHRASE_LENGTHS = (3, 2)
"""Words in a term that is looked at, the longer first."""

# The rest of the term stands there, so a word may be less alike than one that stands alone.
_ALIKE = 0.8
_LEAST_LETTERS = 4
_RULES = ("", "spelling", "plural")


@dataclass(frozen=True)
class Phrases:
    """Terms of several words, and which words complete them: `gaps` has a term with "" in the place of one word."""

    terms: frozenset[tuple[str, ...]]
    gaps: dict[tuple[str, ...], frozenset[str]]

    def completed(self, heard: list[str], place: int) -> tuple[str, float]:
        """The word that makes a term of words of which the one at `place` was misheard, and its likeness; or nothing."""
        wrong = heard[place]
        if len(wrong) < _LEAST_LETTERS or _rare(wrong) or tuple(heard) in self.terms:
            return "", 0.0
        best = ("", 0.0)
        for word in self.gaps.get((*heard[:place], "", *heard[place + 1 :]), ()):
            alike = likeness(wrong, word)
            if alike >= _ALIKE and alike > best[1]:
                best = (word, alike)
        return best


def known_phrases() -> Phrases:
    """Those of the lexicon in use."""
    return _phrases_of(load_lexicon())


@functools.lru_cache(maxsize=2)
def _phrases_of(lexicon: Lexicon) -> Phrases:
    entries = [(tuple(entry.term.split()), entry.rule) for entry in lexicon.entries if entry.rule in _RULES]
    terms = {term for term, _ in entries if len(term) in PHRASE_LENGTHS}
    gaps: dict[tuple[str, ...], set[str]] = defaultdict(set)
    # A plural by rule would always be a little like its singular.
    for term in {term for term, rule in entries if term in terms and rule != "plural"}:
        for place, word in enumerate(term):
            # Only a word that belongs to the trade says so much about its neighbour.
            if len(word) >= _LEAST_LETTERS and any(
                _rare(other) for other in (*term[:place], *term[place + 1 :])
            ):
                gaps[(*term[:place], "", *term[place + 1 :])].add(word)
    return Phrases(frozenset(terms), {gap: frozenset(words) for gap, words in gaps.items()})


def _rare(word: str) -> bool:
    return english_ranks().get(word, RARE_FROM_RANK) >= RARE_FROM_RANK
