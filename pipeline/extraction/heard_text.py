"""A recognised text word by word, as those see it who put trade words in the place of misheard ones."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import cast

from pipeline.extraction.engine import load_pipeline
from pipeline.extraction.misheard import MisheardWords, english_ranks
from pipeline.extraction.tokens import Analysis, analysis_of
from pipeline.extraction.trade import known_trade_words, system_of
from pipeline.speech.model import Transcript, Utterance, Word

REPAIRED_PROBABILITY = 0.49
"""Most that a repaired word's probability may be: below one half a fact read from it is never taken as sure."""

UNSURE_PROBABILITY = 0.5
"""Below this the recogniser itself did not trust the word."""

# How many words back a part that was named is still in view.
_VIEW_WORDS = 40

_LETTERS = re.compile(r"^([^A-Za-z]*)([A-Za-z](?:[A-Za-z'-]*[A-Za-z])?)([^A-Za-z]*)$")


@dataclass(frozen=True)
class HeardWord:
    """A word as it may be repaired: its letters, what stands around them, and whether it must stay."""

    word: Word
    before: str
    letters: str
    after: str
    fixed: bool

    @property
    def known(self) -> bool:
        """Whether the lexicon has the word."""
        return self.letters in known_trade_words().known

    @property
    def unknown(self) -> bool:
        """Whether neither English nor the lexicon has the word."""
        plain = self.letters.removesuffix("'s")
        return plain not in known_trade_words().known and plain not in english_ranks()

    @property
    def unsure(self) -> bool:
        """Whether the recogniser itself did not trust the word."""
        return self.word.probability < UNSURE_PROBABILITY

    @property
    def is_name(self) -> bool:
        """Whether the word is written like a name and not only at the start of a sentence."""
        return self.word.text[:1].isupper() and not self.unknown


class HeardText:
    """A transcript and what was said before it, read as far as numbers and concepts."""

    def __init__(self, transcript: Transcript, before: str = "") -> None:
        lead = "".join(f"{word} " for word in before.split()[-_VIEW_WORDS:])
        self._shift = len(lead)
        self._analysis = read_concepts(lead + transcript.text)

    def row(self, words: tuple[Word, ...]) -> list[HeardWord]:
        """The words of an utterance; numbers, sides and denials must stay, and so must what was repaired already."""
        row = []
        for word in words:
            start, end = word.start_char + self._shift, word.end_char + self._shift
            parts = _LETTERS.match(word.text)
            held = word.heard is not None or any(low < end and start < high for low, high in self._fixed)
            before, letters, after = parts.groups() if parts else ("", "", "")
            row.append(HeardWord(word, before, letters.lower(), after, held or not parts))
        return row

    def view(self, start_char: int) -> frozenset[str]:
        """Systems of the parts and findings named shortly before a place in the transcript."""
        analysis, until = self._analysis, start_char + self._shift
        reached = [m for m in analysis.mentions if analysis.slice(m.start, m.end)[1] <= until]
        if not reached:
            return frozenset()
        nearest = [m for m in reached if reached[-1].end - m.start <= _VIEW_WORDS][-3:]
        return frozenset(system_of(entry) for mention in nearest for entry in mention.entries)

    @cached_property
    def alikes(self) -> dict[int, tuple[int, str]]:
        """Words of the table of sound-alikes: where they begin, where they end (characters), and the term."""
        misheard = cast("MisheardWords", load_pipeline().get_pipe("rostral_misheard"))
        found = {}
        for mention in misheard.known_alikes(self._analysis):
            start, end = self._analysis.slice(mention.start, mention.end)
            found[start - self._shift] = end - self._shift, mention.entries[0].term
        return found

    @cached_property
    def _fixed(self) -> list[tuple[int, int]]:
        analysis = self._analysis
        return [
            *(analysis.slice(number.start, number.end) for number in analysis.numbers),
            *(
                analysis.slice(cue.start, cue.end)
                for cue in analysis.cues
                if cue.kind in ("side", "negation_before", "negation_after", "pseudo_negation")
            ),
        ]


def read_concepts(text: str) -> Analysis:
    """A text read as far as its numbers and the words of the lexicon."""
    nlp = load_pipeline()
    doc = nlp.make_doc(text)
    for component in ("rostral_numbers", "rostral_concepts"):
        doc = nlp.get_pipe(component)(doc)
    return analysis_of(doc)


def put_in(taken: list[HeardWord], term: str, alike: float) -> list[Word]:
    """The words of a term in the place of those heard; each has a share of their time."""
    first, last = taken[0].word, taken[-1].word
    parts = (term.capitalize() if first.text[:1].isupper() else term).split()
    texts = [*parts[:-1], parts[-1] + taken[-1].after]
    texts[0] = taken[0].before + texts[0]
    probability = min(REPAIRED_PROBABILITY * min(alike, 1.0), *(one.word.probability for one in taken))
    return [
        Word(
            text=text,
            start_char=first.start_char,
            end_char=last.end_char,
            start_s=_between(first.start_s, last.end_s, number / len(texts)),
            end_s=_between(first.start_s, last.end_s, (number + 1) / len(texts)),
            probability=round(probability, 3),
            heard=" ".join(one.word.text for one in taken),
        )
        for number, text in enumerate(texts)
    ]


def _between(start_s: float | None, end_s: float | None, share: float) -> float | None:
    return None if start_s is None or end_s is None else round(start_s + share * (end_s - start_s), 2)


def with_words(transcript: Transcript, rows: list[tuple[Word, ...]]) -> Transcript:
    """The transcript of these words, with one space between, as recognition writes it."""
    text = ""
    utterances = []
    for words in rows:
        placed = []
        for word in words:
            text += " " if text else ""
            end = len(text) + len(word.text)
            placed.append(word.model_copy(update={"start_char": len(text), "end_char": end}))
            text += word.text
        if placed:
            utterances.append(
                Utterance(
                    start_char=placed[0].start_char,
                    end_char=placed[-1].end_char,
                    start_s=placed[0].start_s,
                    end_s=placed[-1].end_s,
                    words=tuple(placed),
                )
            )
    # Built anew, since a copy would keep the words that the old one remembers.
    return Transcript(
        text=text,
        utterances=tuple(utterances),
        language=transcript.language,
        model=transcript.model,
        duration_s=transcript.duration_s,
        dropped=transcript.dropped,
    )
