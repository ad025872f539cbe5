"""Where live sound comes from: what a source is, and a sound file played as if it were one."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pipeline.capture.files import read_audio
from pipeline.capture.model import SAMPLE_RATE_HZ

BLOCK_S = 0.1
"""Length of the blocks in which sound is handed on."""


@dataclass(frozen=True, eq=False)
class Block:
    """Mono 16-bit samples, in order; `heard_at` is when the last of them was heard (time.monotonic)."""

    samples: NDArray[np.int16]
    heard_at: float


@dataclass(frozen=True)
class Interruption:
    """The source gives nothing (`lasts`), or has given nothing for `lost_s` seconds and goes on."""

    reason: str
    lost_s: float
    lasts: bool


class Source(Protocol):
    """Something that is listened to."""

    @property
    def rate_hz(self) -> int:
        """Samples a second."""

    @property
    def name(self) -> str:
        """What it is, in words for the user."""

    def blocks(self) -> Iterator[Block | Interruption]:
        """Give the sound as it comes, until it ends or `stop` is called."""

    def stop(self) -> None:
        """End `blocks`; may be called from anywhere."""


class SoundFile:
    """A sound file played as the microphone, `speed` times as fast as it was spoken.

    Raises CaptureError when it cannot be read.
    """

    def __init__(self, path: Path, *, speed: float = 1.0) -> None:
        self._recording = read_audio(path)
        self._speed = speed
        self._stopped = threading.Event()
        self.rate_hz = SAMPLE_RATE_HZ
        self.name = f"file {path.name}"

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self._recording.duration_s

    def blocks(self) -> Iterator[Block]:
        """Give the sound block by block, each when its last sample would have been heard."""
        size = round(BLOCK_S * self.rate_hz)
        begun = time.monotonic()
        for start in range(0, len(self._recording.pcm), size):
            samples = self._recording.pcm[start : start + size]
            heard_at = begun + (start + len(samples)) / self.rate_hz / self._speed
            if self._stopped.wait(max(0.0, heard_at - time.monotonic())):
                return
            yield Block(samples, heard_at)

    def stop(self) -> None:
        """End `blocks`."""
        self._stopped.set()
