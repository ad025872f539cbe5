"""Single stretches of sound to words: the recogniser's decoder, its guards, and the recording's clock."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pipeline.capture import SAMPLE_RATE_HZ
from pipeline.speech import Heard, Mending, SpeechOptions, TermChoice, Transcript
from pipeline.speech.assemble import assemble
from pipeline.speech.guards import judge, reason_to_drop
from pipeline.speech.heard import split_at_pauses
from pipeline.speech.windows import Span, Window

Samples = NDArray[np.float32]


MOST_BEAMS = 2
"""Readings that live listening follows at once, at most.

Measured with base on dog_noisy, heard live, with 5, 2 and 1: word errors 0.094, 0.102, 0.124; findings right 27, 27, 26
of 28; processor time 0.30, 0.23, 0.24 of real time.
"""


_WORDS_REMEMBERED = 100


class Decodes(Protocol):
    """What is needed of the recogniser: `pipeline.speech.Decoder` has it."""

    @property
    def options(self) -> SpeechOptions:
        """How it decodes."""

    def decode(
        self,
        sounds: Sequence[Samples],
        *,
        terms: Sequence[str] = (),
        beam_size: int | None = None,
        look_again: bool = True,
    ) -> list[Heard | None]:
        """Recognise each sound by itself, times from its start."""

    def weigh(self, sound: Samples, texts: Sequence[str], terms: Sequence[str]) -> list[float]:
        """Tell how likely each text is over a sound, with a few words in mind."""

    def fit_terms(self, terms: Sequence[str]) -> tuple[str, ...]:
        """Give the terms that fit the prompt."""


class Hearing:
    """Turns stretches of sound into settled words, or into passing ones.

    `terms` are words to listen for, or a function of the text so far that gives them; they are chosen again with every
    stretch that is `said`. `mending` is asked about each stretch.

    Raises pipeline.speech.SpeechError when the model fails.
    """

    def __init__(
        self, decoder: Decodes, terms: Sequence[str] | TermChoice, mending: Mending | None = None
    ) -> None:
        self._decoder = decoder
        self._choose = terms if callable(terms) else None
        self._mending = mending
        self._before = ""
        self._terms: Sequence[str] = () if callable(terms) else terms
        self._prompt = ""
        self._choose_terms()

    def settle(
        self, sounds: Sequence[Samples], spans: Sequence[tuple[int, int]], *, hurried: bool = False
    ) -> Transcript:
        """Write down what is said in pieces of sound that are heard as one; `spans` are their places.

        `hurried`, doubtful words are not weighed.
        """
        sound = np.concatenate(list(sounds))
        window = Window(tuple(Span(start, stop) for start, stop in spans))
        kept, dropped = judge(self._parts(sound, window, self._terms), window.spans_s, self._prompt)
        if dropped:
            # The list of terms is the usual cause of loops and echoes. Not a third time: the vet waits.
            again, objections = judge(self._parts(sound, window, (), look_again=False), window.spans_s)
            if not objections:
                kept, dropped = again, []
        heard = assemble(
            kept,
            dropped,
            language=self._decoder.options.language,
            model=Path(self._decoder.options.model).name,
            duration_s=window.end_s,
        )
        return heard if self._mending is None else self._mended(heard, sound, self._mending, hurried=hurried)

    def said(self, text: str) -> None:
        """Take what was settled for good, and choose the words to listen for from it."""
        self._before = " ".join(f"{self._before} {text}".split()[-_WORDS_REMEMBERED:])
        self._choose_terms()

    def _choose_terms(self) -> None:
        if self._choose is not None:
            self._terms = self._choose(self._before)
        self._prompt = ", ".join(self._decoder.fit_terms(self._terms))

    def _mended(self, heard: Transcript, sound: Samples, mending: Mending, *, hurried: bool) -> Transcript:
        doubts = mending(heard, self._before)
        return doubts.mended(() if hurried else self._decoder.weigh(sound, doubts.texts, doubts.terms))

    def words_so_far(self, sound: Samples) -> str:
        """Give the words of an utterance that goes on, quickly; empty when they would not be believed."""
        heard = self._decoder.decode([sound], terms=self._terms, beam_size=1, look_again=False)[0]
        return "" if heard is None or reason_to_drop(heard, self._prompt) else heard.text

    def _parts(
        self, sound: Samples, window: Window, terms: Sequence[str], *, look_again: bool = True
    ) -> list[Heard]:
        beam_size = min(self._decoder.options.beam_size, MOST_BEAMS)
        heard = self._decoder.decode([sound], terms=terms, beam_size=beam_size, look_again=look_again)[0]
        return [] if heard is None else list(split_at_pauses(window.in_recording(heard)))


def seconds(samples: int) -> float:
    """The time of a sample in the recording."""
    return samples / SAMPLE_RATE_HZ
