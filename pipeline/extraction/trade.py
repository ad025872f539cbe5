"""The trade's words: rare in English, and in the lexicon; what a misheard word may have been."""

from __future__ import annotations

import functools
import re
from collections import defaultdict
from dataclasses import dataclass

from rapidfuzz import process
from rapidfuzz.distance import Levenshtein

from lexicon import Entry, Lexicon, load_lexicon
from lexicon.bias import load_bias
from lexicon.forms import plural
from pipeline.extraction.likeness import likeness, sound_key
from pipeline.extraction.misheard import english_ranks

RARE_FROM_RANK = 18_000
"""A word more common than this in English is no trade word, and nothing is turned into it alone."""

_VIEW_BONUS = 0.02
# Words that the recogniser is told to listen for are those that are said most and misheard most.
_LISTENED_FOR_BONUS = 0.02
_LEAST_LETTERS = 5
# Verb forms and comparatives made by rule are seldom trade words ("puffier").
_RULES = ("", "spelling", "plural")
_PLURAL_ENDS = "seiy"
# Only the most alike in sound are compared letter by letter.
_COMPARED = 12


def system_of(entry: Entry) -> str:
    """The body system that an entry belongs to, or "any"."""
    lexicon = load_lexicon()
    row = lexicon.structures if entry.kind == "structure" else lexicon.findings
    return str(row[entry.id].system)


@dataclass(frozen=True)
class TradeWords:
    """Rare words of the lexicon, with the systems they belong to, and every word the lexicon knows.

    `plurals` are words that stand in no table as they are, only by the rule of plurals; `listened_for` those of the table
    of bias terms.
    """

    systems: dict[str, frozenset[str]]
    plurals: frozenset[str]
    by_key: dict[str, tuple[str, ...]]
    keys: tuple[str, ...]
    known: frozenset[str]
    listened_for: frozenset[str]

    def in_view(self, term: str, view: frozenset[str]) -> bool:
        """Whether a term belongs to a system in view, or to any."""
        systems = self.systems.get(term, frozenset())
        return bool(view) and ("any" in systems or not view.isdisjoint(systems))

    def nearest(self, heard: str, view: frozenset[str]) -> tuple[str, float]:
        """The most alike trade word and its likeness, a little more for words of the systems in view."""
        ranked = self.ranked(heard, view)
        return max(ranked, key=lambda one: one[1]) if ranked else ("", 0.0)

    def ranked(self, heard: str, view: frozenset[str]) -> list[tuple[str, float]]:
        """Trade words that sound most like what was heard (letters only, lower case), with their likeness."""
        found = []
        for key, _, _ in process.extract(
            sound_key(heard), self.keys, scorer=Levenshtein.normalized_similarity, limit=_COMPARED
        ):
            for word in self.by_key[key]:
                if word in self.plurals and heard[-1] not in _PLURAL_ENDS:
                    continue
                bonus = _VIEW_BONUS * (not view.isdisjoint(self.systems[word]))
                bonus += _LISTENED_FOR_BONUS * (word in self.listened_for)
                found.append((word, likeness(heard, word) + bonus))
        return found


def known_trade_words() -> TradeWords:
    """Those of the lexicon in use."""
    return _trade_words_of(load_lexicon())


@functools.lru_cache(maxsize=2)
def _trade_words_of(lexicon: Lexicon) -> TradeWords:
    ranks = english_ranks()
    systems: dict[str, set[str]] = defaultdict(set)
    written: set[str] = set()
    plurals: set[str] = set()
    known = {word for group in lexicon.cues.values() for term in group.terms for word in term.split()}
    known |= {word for row in lexicon.measurements.values() for name in row.names for word in name.split()}
    known |= {
        form
        for row in lexicon.breeds
        for name in row.names
        for word in name.split()
        for form in (word, plural(word))
    }
    for entry in lexicon.entries:
        if entry.rule not in _RULES:
            known.update(entry.term.split())
            continue
        for word in re.findall(r"[a-z]+", entry.term):
            known.add(word)
            if len(word) >= _LEAST_LETTERS and ranks.get(word, RARE_FROM_RANK) >= RARE_FROM_RANK:
                systems[word].add(system_of(entry))
                (plurals if entry.rule == "plural" else written).add(word)
    by_key: dict[str, list[str]] = defaultdict(list)
    plurals -= written
    for word in systems:
        by_key[sound_key(word)].append(word)
    return TradeWords(
        plurals=frozenset(plurals),
        systems={word: frozenset(named) for word, named in systems.items()},
        by_key={key: tuple(words) for key, words in by_key.items()},
        keys=tuple(by_key),
        known=frozenset(known),
        listened_for=frozenset(word for row in load_bias() for word in row.term.split()),
    )
