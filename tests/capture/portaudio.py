"""A stand-in for the module `sounddevice`: microphones that a test plugs in, speaks into and pulls out.

Real microphones that vanish are nothing a test machine has. The names and errors are those of sounddevice 0.5, as its source
has them: a device that is not there raises ValueError or PortAudioError, devices are listed anew only after a new start.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

BLOCK = 1_600
RATE_HZ = 16_000


class PortAudioError(Exception):
    """As PortAudio's errors come."""


@dataclass
class Status:
    input_overflow: bool = False


class PortAudio:
    """Takes the place of the module. `plugged` are the microphones that are there; PortAudio sees them at its next start."""

    PortAudioError = PortAudioError

    def __init__(self, *plugged: str) -> None:
        self.plugged = list(plugged)
        self.opened: list[str] = []
        self.looks = 0
        self._seen = list(plugged)
        self._stream: Stream | None = None
        self._change = threading.Condition()

    # What the program calls

    def query_devices(self, device: int | str | None = None, kind: str | None = None) -> Any:
        listed = [
            {"index": index, "name": name, "max_input_channels": 1, "default_samplerate": float(RATE_HZ)}
            for index, name in enumerate(self._seen)
        ]
        if device is None and kind is None:
            return listed
        if device is None:
            if not listed:
                raise PortAudioError("Error querying device -1")
            return listed[0]
        if isinstance(device, int):
            if device >= len(listed):
                raise PortAudioError(f"Error querying device {device}")
            return listed[device]
        found = [one for one in listed if device.lower() in str(one["name"]).lower()]
        if len(found) != 1:
            raise ValueError(f"No input device matching {device!r}")
        return found[0]

    def RawInputStream(self, *, device: int, **wanted: Any) -> Stream:  # noqa: N802 - the library's own name
        name = self.query_devices(device)["name"]
        if name not in self.plugged:
            raise PortAudioError("Error opening RawInputStream: Device unavailable")
        return Stream(self, name, wanted["callback"], wanted["finished_callback"])

    def _terminate(self) -> None:
        self._seen = []

    def _initialize(self) -> None:
        self._seen = list(self.plugged)
        self.looks += 1

    # What the test does

    def stream_of(self, name: str) -> Stream:
        """Wait until the program listens through this microphone."""
        with self._change:
            self._change.wait_for(lambda: self._stream is not None and self._stream.name == name)
            assert self._stream is not None
            return self._stream

    def unplug(self, name: str) -> None:
        """Pull a microphone out: its stream ends, as PortAudio tells by `finished_callback`."""
        stream = self.stream_of(name)
        self.plugged.remove(name)
        self.changed(None)
        stream.finished()

    def changed(self, stream: Stream | None) -> None:
        with self._change:
            self._stream = stream
            if stream is not None:
                self.opened.append(stream.name)
            self._change.notify_all()


class Stream:
    """A microphone that is listened to."""

    def __init__(
        self, audio: PortAudio, name: str, callback: Callable[..., None], finished: Callable[[], None]
    ) -> None:
        self.name = name
        self.finished = finished
        self._audio = audio
        self._callback = callback

    def speak(self, pcm: NDArray[np.int16], *, overflow: bool = False) -> None:
        """Let the program hear samples, in blocks as PortAudio gives them."""
        for block in blocks_of(pcm):
            self._callback(block.tobytes(), len(block), None, Status(overflow))

    def __enter__(self) -> Stream:
        self._audio.changed(self)
        return self

    def __exit__(self, *_: object) -> None:
        self._audio.changed(None)
        self.finished()


def blocks_of(pcm: NDArray[np.int16]) -> Iterable[NDArray[np.int16]]:
    """Cut samples into blocks."""
    return (pcm[start : start + BLOCK] for start in range(0, len(pcm), BLOCK))
