"""What the recogniser heard in one stretch, before anything is judged or joined."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

_SENTENCE_ENDS = (".", "?", "!")
# Common practice, no source: shorter breaks stand inside sentences.
_SENTENCE_PAUSE_S = 0.3
_PAUSE_S = 1.0


@dataclass(frozen=True)
class HeardWord:
    """A piece of text between spaces or before punctuation, as the model split it.

    A leading space in `text` starts a new word; without it the piece belongs to the word before ("38", ".",
    "6"). Times in seconds from the start of the recording.
    """

    text: str
    start_s: float
    end_s: float
    probability: float


@dataclass(frozen=True)
class Heard:
    """A segment with the model's own measures of doubt.

    `avg_logprob` is the mean natural logarithm of the probability of its tokens; `no_speech_prob` the model's
    probability that there was no speech at all. Both are of the whole window that the segment came from.
    """

    words: tuple[HeardWord, ...]
    avg_logprob: float
    no_speech_prob: float

    @property
    def start_s(self) -> float:
        """Start of the first word."""
        return self.words[0].start_s

    @property
    def end_s(self) -> float:
        """End of the last word."""
        return self.words[-1].end_s

    @cached_property
    def text(self) -> str:
        """All pieces together."""
        return "".join(word.text for word in self.words).strip()

    @property
    def mean_probability(self) -> float:
        """Mean probability of the pieces."""
        return sum(word.probability for word in self.words) / len(self.words)

    @cached_property
    def compression_ratio(self) -> float:
        """How much shorter the text gets when compressed: repetition compresses well."""
        raw = self.text.encode("utf-8")
        return len(raw) / len(zlib.compress(raw))


def split_at_pauses(heard: Heard) -> Iterator[Heard]:
    """Split a segment where a sentence ends with a short pause, or where there is a long one."""
    part: list[HeardWord] = []
    for word in heard.words:
        if part and word.text[:1].isspace():
            pause_s = word.start_s - part[-1].end_s
            ended = part[-1].text.endswith(_SENTENCE_ENDS)
            if pause_s >= (_SENTENCE_PAUSE_S if ended else _PAUSE_S):
                yield replace(heard, words=tuple(part))
                part = []
        part.append(word)
    if part:
        yield replace(heard, words=tuple(part))
