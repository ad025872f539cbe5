"""The desk's speech model: loaded when it is first needed, once for all; whoever needs it takes turns."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from pipeline.desk.rooms.sharing import SharedDecoder
from pipeline.exam import make_recogniser
from pipeline.listening.hearing import Decodes
from pipeline.settings import Settings
from pipeline.speech import Recogniser


class Ears:
    """A recogniser for whoever needs one for a moment, and its decoder for examinations that go on."""

    def __init__(self, settings: Settings) -> None:
        self.decoder = SharedDecoder(self._make)
        """What listens to rooms."""
        self._settings = settings
        self._recogniser: Recogniser | None = None

    @contextmanager
    def lent(self) -> Iterator[Recogniser]:
        """The recogniser; others wait meanwhile. Raises what making one raises."""
        with self.decoder.turn():
            assert self._recogniser is not None  # noqa: S101 - made with its decoder
            yield self._recogniser

    def _make(self) -> Decodes:
        self._recogniser = make_recogniser(self._settings)
        return self._recogniser.decoder
