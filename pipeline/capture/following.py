"""Reading a recording while it is made: whoever is slower than the sound reads it from the disk, and keeps nothing in memory."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.capture.journal import read_journal
from pipeline.capture.recorder import BYTES_PER_SAMPLE, JOURNAL_NAME, SEGMENT_HEADER_BYTES, segment_name


class Follower:
    """Gives the sound of a recording's folder from the sample `position` on, as far as it was written.

    Silence stands for sound that could not be written. Raises OSError.
    """

    def __init__(self, folder: Path, position: int = 0) -> None:
        self.position = position
        self._folder = folder
        self._firsts: dict[int, int] = {}
        self._number = 0
        self._find()

    def read(self, most: int) -> NDArray[np.int16]:
        """The next samples, at most so many; none when there are no more yet."""
        while True:
            # First whether the segment is over, then its rest: the other way round a last piece could slip between.
            after = self._first_of(self._number + 1)
            sound = self._rest(most)
            if len(sound) or after is None:
                self.position += len(sound)
                return sound
            if self.position < after:
                silence = np.zeros(min(most, after - self.position), np.int16)
                self.position += len(silence)
                return silence
            self._number += 1

    def _find(self) -> None:
        while (first := self._first_of(self._number + 1)) is not None and first <= self.position:
            self._number += 1

    def _rest(self, most: int) -> NDArray[np.int16]:
        first = self._firsts.get(self._number)
        if first is None:
            return np.zeros(0, np.int16)
        with (self._folder / segment_name(self._number)).open("rb") as file:
            file.seek(SEGMENT_HEADER_BYTES + (self.position - first) * BYTES_PER_SAMPLE)
            data = file.read(most * BYTES_PER_SAMPLE)
        return np.frombuffer(data[: len(data) - len(data) % BYTES_PER_SAMPLE], "<i2").astype(np.int16)

    def _first_of(self, number: int) -> int | None:
        """Where a segment begins; None while there is none of that number."""
        if number not in self._firsts and (self._folder / segment_name(number)).exists():
            lines = read_journal(self._folder / JOURNAL_NAME).lines
            self._firsts |= {
                int(line["file"].partition(".")[0]): line["first"]
                for line in lines
                if line["kind"] == "segment"
            }
        return self._firsts.get(number)
