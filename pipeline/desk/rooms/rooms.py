"""All examinations of a desk that go on: each is opened once, and again after the program was."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from pipeline.desk.rooms.room import Room
from pipeline.desk.rooms.sharing import SharedDecoder
from pipeline.exam import make_recogniser
from pipeline.listening.hearing import Decodes
from pipeline.record import Patient
from pipeline.settings import Settings
from pipeline.store import KeptVisit


class Rooms:
    """The rooms below `folder`, with one recogniser for all; `make` makes its decoder when the first words are heard."""

    def __init__(self, folder: Path, settings: Settings, make: Callable[[], Decodes] | None = None) -> None:
        self._folder = folder
        self._decoder = SharedDecoder(make or (lambda: make_recogniser(settings).decoder))
        self._lock = threading.Lock()
        self._open: dict[str, Room] = {}

    def is_begun(self, visit_id: str) -> bool:
        """Whether a visit has a room."""
        return visit_id in self._open or (self._folder / visit_id).is_dir()

    def room(self, visit: KeptVisit, animal: Patient) -> Room:
        """The room of a visit. Raises what opening it raises."""
        with self._lock:
            found = self._open.get(visit.id)
            if found is None:
                found = Room(self._folder / visit.id, visit, animal, self._decoder)
                self._open[visit.id] = found
            return found

    def leave(self) -> None:
        """Let go of all of them, as the program ends."""
        with self._lock:
            while self._open:
                self._open.popitem()[1].leave()
