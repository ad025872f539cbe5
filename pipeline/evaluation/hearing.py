"""How well a text was heard: word errors after one spelling of all that can be written in two ways, and trade words.

The normaliser, in this order, for the words that were said and for those that were heard alike:

1. lower case, no punctuation, hesitations and stammered repeats left out, contractions written out ("isn't" → is not);
2. numbers as values, however said or written ("a hundred and one point two", "101.2" → 101.2);
3. unit words after a number as their code of the Unified Code for Units of Measure ("kilos", "kg" → kg), "%" as percent;
4. one spelling for UK and US words (`lexicon/spelling.toml`).

All of it is that of the extraction, so that differences which change no record do not count, and it is the same for every
recogniser. Word errors are counted by jiwer's alignment (word error rate: substitutions, deletions and insertions by the
number of words said).
"""

from __future__ import annotations

import functools
from collections import Counter
from dataclasses import dataclass

from lexicon import Lexicon, load_lexicon
from lexicon.bias import load_bias
from lexicon.forms import spellings
from pipeline.extraction import spoken_tokens, trade_words
from pipeline.speech.model import Transcript

_LONGEST_UNIT = 3


def plain_words(text: str) -> list[str]:
    """The words of a text in one spelling."""
    tokens = spoken_tokens(text)
    lexicon = load_lexicon()
    units = _units(lexicon)
    words: list[str] = []
    at = 0
    while at < len(tokens):
        token = tokens[at]
        at += 1
        if token.value is not None:
            words.append(token.text)
            for count in range(_LONGEST_UNIT, 0, -1):
                unit = units.get(" ".join(one.text for one in tokens[at : at + count]))
                if unit is not None:
                    words.append(unit)
                    at += count
                    break
            continue
        word = "percent" if token.text == "%" else token.text
        if word.isascii() and not word.isalnum():
            continue
        words.append(min(spellings(word, lexicon.spelling)))
    return words


@functools.lru_cache(maxsize=2)
def _units(lexicon: Lexicon) -> dict[str, str]:
    return {term: row.code for row in lexicon.units for term in row.terms}


@dataclass(frozen=True)
class TradeWords:
    """Trade words of one text: how many were said, and how many of those stand in what was heard."""

    said: Counter[str]
    heard: Counter[str]

    @property
    def missed(self) -> list[str]:
        """Words that were said and not heard, each as often as it is wanting."""
        return sorted((self.said - self.heard).elements())


def trade_words_of(text: str) -> Counter[str]:
    """The trade words of a text with their numbers: rare words of the lexicon, singular and plural being one."""
    terms = _terms(load_lexicon())
    words = [_singular(word) for word in plain_words(text)]
    found: Counter[str] = Counter()
    at = 0
    while at < len(words):
        count = next((n for n in (3, 2, 1) if tuple(words[at : at + n]) in terms), 0)
        if count:
            found[" ".join(words[at : at + count])] += 1
        at += max(count, 1)
    return found


@functools.lru_cache(maxsize=2)
def _terms(lexicon: Lexicon) -> frozenset[tuple[str, ...]]:
    """Terms that the recogniser is told to listen for, and every rare word of the lexicon."""
    named = [*(row.term for row in load_bias()), *trade_words()]
    return frozenset(tuple(_singular(word) for word in plain_words(term)) for term in named)


def _singular(word: str) -> str:
    if word.endswith("ae"):
        return word[:-1]
    return word[:-1] if word.endswith("s") and not word.endswith(("ss", "us", "is")) else word


@dataclass(frozen=True)
class Repairs:
    """What repair did to one transcript: words it put in, and how many of those nobody had said."""

    made: int
    false: int


def repairs_of(said: str, heard: Transcript) -> Repairs:
    """Count the repaired places, and those whose word stands nowhere in what was said."""
    there = {_singular(word) for word in plain_words(said)}
    made = [word for word in heard.words if word.heard is not None]
    wrong = [word for word in made if any(_singular(one) not in there for one in plain_words(word.text))]
    return Repairs(len(made), len(wrong))
