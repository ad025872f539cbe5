"""All examinations of a desk that go on: each is opened once, and again after the program was."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from pipeline.capture import Microphone, Source
from pipeline.desk.rooms.file import read_room
from pipeline.desk.rooms.room import Room
from pipeline.listening.hearing import Decodes
from pipeline.record import Patient
from pipeline.store import Database, KeptVisit, patient_of

log = logging.getLogger("rostral.desk")


class Rooms:
    """The rooms below `folder`, that of recordings, with one decoder for all; `microphone` gives the server's own."""

    def __init__(
        self, folder: Path, decoder: Decodes, microphone: Callable[[], Source] | None = None
    ) -> None:
        self.microphone: Callable[[], Source] = microphone or Microphone
        self._folder, self._decoder = folder, decoder
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
                self._forget_ended()
                found = Room(self._folder / visit.id, visit, animal, self._decoder)
                self._open[visit.id] = found
            return found

    def finish(self, database: Database, at: Callable[[], datetime]) -> None:
        """Go on with every end that a program did not come to. What cannot be done is told in the log; its room tells it, too."""
        for path in sorted(self._folder.glob("*/examination.json")):
            try:
                file = read_room(path.parent)
                if file is not None and file.state == "ending" and file.ended_by is not None:
                    animal = patient_of(database, file.ended_by, file.visit.patient_id).patient
                    self.room(file.visit, animal).go_on_ending(database, at)
            except Exception:
                log.exception("the examination in %s could not be ended", path.parent)

    def leave(self) -> None:
        """Let go of all of them, as the program ends."""
        with self._lock:
            while self._open:
                self._open.popitem()[1].leave()

    def _forget_ended(self) -> None:
        for visit_id, room in list(self._open.items()):
            if room.state == "ended" and not room.watched:
                del self._open[visit_id]
