"""Puts trade words in the place of what a recogniser made of them; what was heard stays on the word.

A small recogniser writes "jingavitis", "malaclusion", "pato de matitis". A word is looked at when neither English nor the
lexicon knows it, or when the recogniser itself was unsure of it; two or three words together when one of them is. It becomes
the trade word that it resembles most in sound (a phonetic key) and in spelling, if the likeness reaches a bound, which is
higher for short words and lower for words of the system in view. Numbers, sides, denials, names and words the lexicon knows
are never touched, but for an English word that leaves a term of several words unfinished ("otitis external"). The new word
carries what was heard and a probability so low that whatever is read from it is shown for a person to check.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from lexicon import SYSTEMS
from lexicon.schema import System
from pipeline.extraction.heard_text import HeardText, HeardWord, put_in, read_concepts, with_words
from pipeline.extraction.phrases import PHRASE_LENGTHS, known_phrases
from pipeline.extraction.trade import known_trade_words, system_of
from pipeline.speech.model import Transcript, Word

# Likeness from which a word is taken for a trade word. Chosen on dictations by five synthetic voices so that no name and no
# ordinary word was taken; "jingavitis" has 0.85, "ceremony" for cerumen 0.90, "artiline" (a name) for ortolani 0.84.
_UNKNOWN = 0.845
_SHORT = 0.89  # words of five letters or less
_UNSURE = 0.84  # English words of which the recogniser was unsure, in the system in view only
_TOGETHER = 0.88  # several words for one
_KNOWN_ALIKE = 0.95  # words of the table of sound-alikes
_LONGEST = 3
_LEAST_LETTERS = 5
LONE_LETTERS = frozenset("bcdefghijklmnopqrstuvwxyz")
"""A lone letter is a name of something, but for the article."""


class Choice(NamedTuple):
    """A trade word for some words in a row (`length`; 0 for none), and how alike it is to them."""

    length: int
    term: str
    alike: float


_NOTHING = Choice(0, "", 0.0)


def repair(
    transcript: Transcript, before: str = "", weighed: Mapping[int, Choice] | None = None
) -> Transcript:
    """Repair what was misheard; typed text and text without misheard words come back as they are.

    `before` is what was said before the transcript, where that is only a part. `weighed` tells which words are put in by the
    sound, by the character they begin at; then none is by likeness. Offsets fit the new text. A repaired `Word` has `heard`,
    the words it stands for, and at most `REPAIRED_PROBABILITY`.
    """
    if not transcript.words:
        return transcript
    text = HeardText(transcript, before)
    utterances = [
        (utterance, tuple(_repaired(utterance.words, text, weighed))) for utterance in transcript.utterances
    ]
    if all(utterance.words == words for utterance, words in utterances):
        return transcript
    return with_words(transcript, [words for _, words in utterances])


def systems_in_view(text: str) -> tuple[System, ...]:
    """The body systems named in a text, the last one first, each once; words of no one system say none."""
    found = [system_of(entry) for mention in read_concepts(text).mentions for entry in mention.entries[:1]]
    return tuple(name for name in dict.fromkeys(reversed(found)) if name in SYSTEMS)


def trade_words() -> frozenset[str]:
    """The single words that repair puts in: rare in English, and in the lexicon."""
    return frozenset(known_trade_words().systems)


def _repaired(
    words: tuple[Word, ...], text: HeardText, weighed: Mapping[int, Choice] | None
) -> Iterator[Word]:
    row = text.row(words)
    at = 0
    while at < len(row):
        start = words[at].start_char + len(row[at].before)
        if start in text.alikes:
            end, term = text.alikes[start]
            count = sum(words[at].start_char <= word.start_char < end for word in words)
            alike = _KNOWN_ALIKE
        else:
            if weighed is None:
                count, term, alike = _best(row, at, text.view(words[at].start_char))
            else:
                count, term, alike = weighed.get(words[at].start_char, _NOTHING)
            if not count:
                term, alike = _completed(row, at)
                count = 1 if term else 0
        if count:
            yield from put_in(row[at : at + count], term, alike)
        else:
            yield words[at]
        at += max(count, 1)


def _best(row: list[HeardWord], at: int, view: frozenset[str]) -> Choice:
    """The trade word that the words from `at` on are most alike, if they are enough."""
    best = _NOTHING
    for count in range(1, min(_LONGEST, len(row) - at) + 1):
        taken = row[at : at + count]
        if any(one.fixed for one in taken) or any(
            one.after or one.word.text[:1].isupper() for one in taken[:-1]
        ):
            # What lies before a mark, or is written like a name, begins nothing that goes on.
            if count == 1 and row[at].fixed:
                break
            if count > 1:
                break
        bound = _bound(taken)
        if bound is None:
            continue
        letters = "".join(one.letters for one in taken).replace("'", "")
        if len(letters) < _LEAST_LETTERS - (count == 1):
            continue
        term, alike = known_trade_words().nearest(letters, view)
        if swallows_denial(letters, term) or (
            bound == _UNSURE and not known_trade_words().in_view(term, view)
        ):
            continue
        if alike >= bound and alike > best.alike:
            best = Choice(count, term, alike)
    return best


def _completed(row: list[HeardWord], at: int) -> tuple[str, float]:
    """The word that makes a term of the lexicon of this one and its neighbours, and how alike; or nothing."""
    if row[at].fixed:
        return "", 0.0
    for length in PHRASE_LENGTHS:
        for start in range(max(0, at - length + 1), min(at, len(row) - length) + 1):
            group = row[start : start + length]
            if any(one.after.strip(",") for one in group[:-1]) or any(one.before for one in group[1:]):
                continue
            term, alike = known_phrases().completed([one.letters for one in group], at - start)
            if term:
                return term, alike
    return "", 0.0


def _bound(taken: list[HeardWord]) -> float | None:
    """The likeness these words need, None when there is nothing to repair."""
    known = known_trade_words().known
    if len(taken) == 1:
        (one,) = taken
        if one.letters in known or one.is_name:
            return None
        if one.unknown:
            return _SHORT if len(one.letters) <= _LEAST_LETTERS else _UNKNOWN
        return _UNSURE if one.unsure and len(one.letters) >= _LEAST_LETTERS else None
    telling = any(
        len(one.letters) > 2 and (one.unknown or (one.unsure and one.letters not in known)) for one in taken
    )
    return _TOGETHER if telling and not any(one.letters in LONE_LETTERS for one in taken) else None


def swallows_denial(letters: str, term: str) -> bool:
    """Whether a "no" may be inside what was heard ("nomyxomatosis"), which must not go with it."""
    return any(letters.startswith(no) and not term.startswith(no[0]) for no in ("no", "know", "snow", "not"))
