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
from dataclasses import dataclass, field

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
    rare = trade_words()
    # "Mores" is a plural by rule, and rare; "more" is not.
    named = [
        *(row.term for row in load_bias()),
        *(word for word in rare if _singular(word) == word or _singular(word) in rare),
    ]
    return frozenset(tuple(_singular(word) for word in plain_words(term)) for term in named)


def _singular(word: str) -> str:
    if word.endswith("ae"):
        return word[:-1]
    return word[:-1] if word.endswith("s") and not word.endswith(("ss", "us", "is")) else word


class WordErrorsError(Exception):
    """Words cannot be compared; the message says what is wanting."""


@dataclass
class WordScore:
    """Sums over recordings: words said and wrong, trade words said and heard, repairs made and false ones.

    A trade word counts as heard as often as it stands in both texts. A repair is false when the word that was put in
    stands nowhere in what was said.
    """

    words: int = 0
    errors: int = 0
    trade_said: int = 0
    trade_heard: int = 0
    repairs: int = 0
    false_repairs: int = 0
    missed: Counter[str] = field(default_factory=Counter)

    def add(self, said: str, heard: Transcript) -> None:
        """Count one recording. Raises WordErrorsError where jiwer is not installed."""
        wanted, got = plain_words(said), plain_words(heard.text)
        self.words += len(wanted)
        self.errors += word_errors(wanted, got)
        trade, found = trade_words_of(said), trade_words_of(heard.text)
        self.trade_said += trade.total()
        self.trade_heard += (trade & found).total()
        self.missed += trade - found
        there = {_singular(word) for word in wanted}
        for word in heard.words:
            if word.heard is not None:
                self.repairs += 1
                self.false_repairs += any(_singular(one) not in there for one in plain_words(word.text))

    @property
    def word_error_rate(self) -> float:
        """Substitutions, deletions and insertions by the number of words said."""
        return self.errors / max(1, self.words)

    @property
    def trade_recall(self) -> float:
        """Share of the trade words said that were heard; one where none was said."""
        return self.trade_heard / self.trade_said if self.trade_said else 1.0

    @property
    def false_repairs_per_thousand(self) -> float:
        """False repairs for a thousand words said."""
        return 1000 * self.false_repairs / max(1, self.words)


def word_errors(said: list[str], heard: list[str]) -> int:
    """Substitutions, deletions and insertions between two rows of words. Raises WordErrorsError."""
    try:
        # Late: a library for measuring only.
        import jiwer  # noqa: PLC0415
    except ModuleNotFoundError:
        raise WordErrorsError(
            "Word errors are counted by jiwer, which is not installed. Run: pip install jiwer"
        ) from None
    if not said:
        return len(heard)
    found = jiwer.process_words(" ".join(said), " ".join(heard))
    return int(found.substitutions + found.deletions + found.insertions)
