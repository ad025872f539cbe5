"""The desk's speech model: loaded when it is first needed, used by one at a time."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from pipeline.exam import make_recogniser
from pipeline.settings import Settings
from pipeline.speech import Recogniser


class Ears:
    """A recogniser for whoever needs one for a moment."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._lock = threading.Lock()
        self._recogniser: Recogniser | None = None

    @contextmanager
    def lent(self) -> Iterator[Recogniser]:
        """The recogniser; others wait meanwhile. Raises what making one raises."""
        with self._lock:
            if self._recogniser is None:
                self._recogniser = make_recogniser(self._settings)
            yield self._recogniser
