"""A decoder of one word, and sources that lose what they hear: for what does not depend on the words."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.capture import SAMPLE_RATE_HZ, Block, Interruption
from pipeline.speech import Heard, HeardWord, SpeechError, SpeechOptions

Samples = NDArray[np.float32]


class OneWord:
    """Says "word" for each second of sound, after `takes_s`; fails from the call number `fails_from` on."""

    def __init__(self, *, takes_s: float = 0.0, fails_from: int | None = None) -> None:
        self.options = SpeechOptions()
        self.lengths_s: list[float] = []
        self._takes_s = takes_s
        self._fails_from = fails_from

    def decode(
        self,
        sounds: Sequence[Samples],
        *,
        terms: Sequence[str] = (),
        beam_size: int | None = None,
        look_again: bool = True,
    ) -> list[Heard | None]:
        if self._fails_from is not None and len(self.lengths_s) >= self._fails_from:
            raise SpeechError("The speech model failed: out of memory.")
        time.sleep(self._takes_s)
        self.lengths_s += [len(sound) / SAMPLE_RATE_HZ for sound in sounds]
        return [self._word(len(sound) / SAMPLE_RATE_HZ) for sound in sounds]

    def weigh(self, sound: Samples, texts: Sequence[str], terms: Sequence[str]) -> list[float]:
        return [float(len(text)) for text in texts]

    def fit_terms(self, terms: Sequence[str]) -> tuple[str, ...]:
        return tuple(terms)

    @staticmethod
    def _word(length_s: float) -> Heard:
        """One word for each second, without pauses between."""
        starts = np.arange(0.0, length_s, 1.0)
        words = (HeardWord(" word.", start, min(start + 1, length_s), 0.9) for start in starts)
        return Heard(tuple(words), -0.2, 0.1)


class Sound:
    """A source that gives samples at once, with interruptions at some of them."""

    def __init__(self, pcm: NDArray[np.int16], interruptions: dict[int, Interruption] | None = None) -> None:
        self.rate_hz = SAMPLE_RATE_HZ
        self.name = "sound of a test"
        self._pcm = pcm
        self._interruptions = interruptions or {}
        self._stopped = threading.Event()

    def blocks(self) -> Iterator[Block | Interruption]:
        size = SAMPLE_RATE_HZ // 10
        for start in range(0, len(self._pcm), size):
            if self._stopped.is_set():
                return
            if start in self._interruptions:
                yield self._interruptions[start]
            yield Block(self._pcm[start : start + size], time.monotonic())

    def stop(self) -> None:
        self._stopped.set()
