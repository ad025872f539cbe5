"""What doubtful words may have been, and which of it the sound bears out.

A recogniser writes what English makes likely. But asked how likely another text is, word by word over the same sound, it
knows: "uveitis" fits where it wrote "uvities", and "otitis" does not fit what it wrote as "stitis", although the letters are
nearer. So the words that are no English, or that it was itself unsure of, are compared with the trade's words by sound and
spelling; each that may stand there makes another way to read the stretch, and the recogniser weighs all of them. Numbers,
sides, denials and all that was heard with certainty stay as they were.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from pipeline.extraction.heard_text import HeardText, HeardWord
from pipeline.extraction.misheard import english_ranks
from pipeline.extraction.repair import LONE_LETTERS, Choice, repair, swallows_denial
from pipeline.extraction.trade import known_trade_words
from pipeline.speech.model import Transcript, Word

# Likeness from which a trade word is weighed, far below the one from which it would be put in unheard.
_ALONE_FROM = 0.7
_TOGETHER_FROM = 0.75
_EACH = 3
_EACH_TOGETHER = 2
_TOGETHER = 3
_LEAST_LETTERS = 3
_LEAST_LETTERS_TOGETHER = 4
_LEAST_LETTERS_OVER_COMMA = 10
_MOST_READINGS = 16
# English words as rare as this may be what the recogniser made of a trade word, though it was not unsure.
_RARE_FROM_RANK = 8_000
_SURE = 0.9
_UNSURE_TOGETHER = 0.5

# A reading is taken when the natural logarithm of its odds, with this much for likeness above the bound, is positive. Chosen on
# the dictations by four voices that tables are tuned on: at 0.70 three more of 540 trade words were right, and one more wrong.
_PER_LIKENESS = 30.0
_LIKENESS_AT_EVEN_ODDS = 0.75
_AGAINST_ENGLISH = 1.0


@dataclass(frozen=True)
class _Reading:
    """A trade word that may have been said: in place of words from index `at` of an utterance on."""

    utterance: int
    at: int
    start_char: int
    choice: Choice
    english: bool

    @property
    def place(self) -> set[tuple[int, int]]:
        return {(self.utterance, at) for at in range(self.at, self.at + self.choice.length)}


class Doubts:
    """A stretch of recognised speech and how else it may be read: what `pipeline.speech.Mending` gives."""

    def __init__(self, heard: Transcript, before: str = "") -> None:
        self._heard = heard
        self._before = before

    @cached_property
    def texts(self) -> tuple[str, ...]:
        """The text as it was heard, and with each of the trade words that may have been said; none without doubt."""
        return (self._heard.text, *(self._text(one) for one in self._readings)) if self._readings else ()

    @property
    def terms(self) -> tuple[str, ...]:
        """The trade words that may have been said, the most alike first."""
        return tuple(dict.fromkeys(one.choice.term for one in self._readings))

    def mended(self, weights: Sequence[float] = ()) -> Transcript:
        """Put in what the sound bears out; without weights what is alike enough, and nothing else."""
        if not weights or not self._readings:
            return repair(self._heard, self._before)
        scored = sorted(
            (
                (self._score(one, weight - weights[0]), one)
                for one, weight in zip(self._readings, weights[1:], strict=True)
            ),
            key=lambda pair: -pair[0],
        )
        taken: set[tuple[int, int]] = set()
        chosen: dict[int, Choice] = {}
        for score, one in scored:
            if score > 0 and taken.isdisjoint(one.place):
                taken |= one.place
                chosen[one.start_char] = one.choice
        return repair(self._heard, self._before, chosen)

    @staticmethod
    def _score(reading: _Reading, odds: float) -> float:
        like = _PER_LIKENESS * (reading.choice.alike - _LIKENESS_AT_EVEN_ODDS)
        return odds + like - _AGAINST_ENGLISH * reading.english

    @cached_property
    def _readings(self) -> tuple[_Reading, ...]:
        if not self._heard.words:
            return ()
        text = HeardText(self._heard, self._before)
        found = [
            reading
            for number, utterance in enumerate(self._heard.utterances)
            for reading in _readings(text, number, utterance.words)
        ]
        return tuple(sorted(found, key=lambda one: -one.choice.alike)[:_MOST_READINGS])

    def _text(self, reading: _Reading) -> str:
        words: list[str] = []
        for number, utterance in enumerate(self._heard.utterances):
            texts = [word.text for word in utterance.words]
            if number == reading.utterance:
                last = texts[reading.at + reading.choice.length - 1]
                mark = last[len(last.rstrip(".,;:!?")) :]
                texts[reading.at : reading.at + reading.choice.length] = [reading.choice.term + mark]
            words += texts
        return " ".join(words)


def _readings(text: HeardText, utterance: int, words: tuple[Word, ...]) -> Iterator[_Reading]:
    row = text.row(words)
    for at, first in enumerate(row):
        if first.word.start_char + len(first.before) in text.alikes:
            # What the table of sound-alikes has is settled by it.
            continue
        view = text.view(first.word.start_char)
        for count in range(1, min(_TOGETHER, len(row) - at) + 1):
            group = row[at : at + count]
            if any(one.fixed for one in group):
                break
            letters = "".join(one.letters for one in group).replace("'", "").replace("-", "")
            if not (_doubtful(group[0]) if count == 1 else _doubtful_together(group)):
                continue
            if len(letters) < (_LEAST_LETTERS if count == 1 else _LEAST_LETTERS_TOGETHER):
                continue
            english = not any(one.unknown for one in group)
            ranked = sorted(known_trade_words().ranked(letters, view), key=lambda term: -term[1])
            for term, alike in ranked[: _EACH if count == 1 else _EACH_TOGETHER]:
                if alike < (_ALONE_FROM if count == 1 else _TOGETHER_FROM) or swallows_denial(letters, term):
                    continue
                if english and count == 1 and not known_trade_words().in_view(term, view):
                    continue
                yield _Reading(utterance, at, first.word.start_char, Choice(count, term, alike), english)


def _doubtful(one: HeardWord) -> bool:
    if one.known or one.is_name:
        return False
    rare = english_ranks().get(one.letters, _RARE_FROM_RANK) >= _RARE_FROM_RANK
    return one.unknown or (rare and one.word.probability <= _SURE)


def _doubtful_together(group: list[HeardWord]) -> bool:
    """Whether words may be one, heard as several.

    A name or a lone letter is none of them; a comma stands between only in a long word of which no part is a word.
    """
    if any(one.is_name or one.letters in LONE_LETTERS for one in group):
        return False
    if any(one.after.strip(",") for one in group[:-1]) or any(one.before for one in group[1:]):
        return False
    if any(one.after for one in group[:-1]) and not (
        all(one.unknown for one in group)
        and sum(len(one.letters) for one in group) >= _LEAST_LETTERS_OVER_COMMA
    ):
        return False
    if all(one.known for one in group):
        return False
    return any(one.unknown for one in group) or min(one.word.probability for one in group) <= _UNSURE_TOGETHER
