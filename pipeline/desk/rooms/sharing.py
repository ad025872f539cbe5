"""One recogniser for all rooms: they take turns in the order they came, and passing words wait for nobody.

A model takes hundreds of megabytes and all cores, so there is one. Words of an utterance that goes on are a courtesy: they are
looked for only while nobody waits for settled ones.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from pipeline.listening.hearing import Decodes, Samples
from pipeline.speech import Heard, SpeechOptions


class SharedDecoder:
    """Lets several listeners use one decoder, which `make` makes when it is first needed. Raises what `make` and it raise."""

    def __init__(self, make: Callable[[], Decodes]) -> None:
        self._make = make
        self._decoder: Decodes | None = None
        self._change = threading.Condition()
        self._line: deque[object] = deque()

    @property
    def options(self) -> SpeechOptions:
        """How it decodes."""
        return self._made().options

    @property
    def waiting(self) -> int:
        """How many want it, with the one that has it."""
        return len(self._line)

    def decode(
        self,
        sounds: Sequence[Samples],
        *,
        terms: Sequence[str] = (),
        beam_size: int | None = None,
        look_again: bool = True,
    ) -> list[Heard | None]:
        """Recognise each sound by itself, in turn; nothing is heard of passing words while others wait."""
        if self._line and not look_again and beam_size == 1:
            return [None] * len(sounds)
        with self.turn() as decoder:
            return decoder.decode(sounds, terms=terms, beam_size=beam_size, look_again=look_again)

    def weigh(self, sound: Samples, texts: Sequence[str], terms: Sequence[str]) -> list[float]:
        """Tell how likely each text is over a stretch, in turn."""
        with self.turn() as decoder:
            return decoder.weigh(sound, texts, terms)

    def fit_terms(self, terms: Sequence[str]) -> tuple[str, ...]:
        """Give the terms that fit the prompt."""
        return self._made().fit_terms(terms)

    def _made(self) -> Decodes:
        if self._decoder is None:
            with self.turn() as decoder:
                return decoder
        return self._decoder

    @contextmanager
    def turn(self) -> Iterator[Decodes]:
        """The decoder for oneself, when those who came before had it."""
        ticket = object()
        with self._change:
            self._line.append(ticket)
            self._change.wait_for(lambda: self._line[0] is ticket)
        try:
            if self._decoder is None:
                self._decoder = self._make()
            yield self._decoder
        finally:
            with self._change:
                self._line.remove(ticket)
                self._change.notify_all()
