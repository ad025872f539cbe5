"""Where live sound comes from: the microphone, or a sound file played as if it were one."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from pipeline.capture.files import read_audio
from pipeline.capture.model import SAMPLE_RATE_HZ, CaptureError

BLOCK_S = 0.1
"""Length of the blocks in which sound is handed on."""

_GONE_AFTER_S = 2.0
_LOOK_AGAIN_S = 1.0
# The clock of the day runs on while the computer sleeps, its sound does not.
_SLEPT_FROM_S = 5.0


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


class Microphone:
    """A microphone of this computer, by its name, a part of the name, or its number; None is the usual one.

    It is opened at its own rate; resampling is not left to drivers. When it is unplugged, `blocks` says so and
    goes on when it is back.

    Raises CaptureError when PortAudio or the microphone is missing.
    """

    def __init__(self, device: str | None = None) -> None:
        self._sound = _portaudio()
        self._device: int | str | None = int(device) if device is not None and device.isdigit() else device
        self._stopped = threading.Event()
        found = self._find()
        self.rate_hz = round(float(found["default_samplerate"]))
        self.name = f"microphone {found['name']}"

    def blocks(self) -> Iterator[Block | Interruption]:
        """Give the sound as it comes, and say when it does not."""
        gone_since: float | None = None
        while not self._stopped.is_set():
            try:
                for item in self._stream():
                    if gone_since is not None and isinstance(item, Block):
                        yield Interruption(
                            "the microphone was gone", time.monotonic() - gone_since, lasts=False
                        )
                        gone_since = None
                    yield item
            except self._sound.PortAudioError:
                pass
            if self._stopped.is_set():
                return
            gone_since = gone_since if gone_since is not None else time.monotonic()
            lost_s = time.monotonic() - gone_since
            yield Interruption(f"the {self.name} gives no sound; plug it in again", lost_s, lasts=True)
            self._stopped.wait(_LOOK_AGAIN_S)
            # PortAudio lists devices once; a new look needs a new start.
            self._sound._terminate()
            self._sound._initialize()

    def stop(self) -> None:
        """End `blocks`."""
        self._stopped.set()

    def _find(self) -> Any:
        try:
            return self._sound.query_devices(self._device, "input")
        except (ValueError, self._sound.PortAudioError):
            names = [
                f"{one['index']} {one['name']}"
                for one in self._sound.query_devices()
                if one["max_input_channels"]
            ]
        if not names:
            raise CaptureError("There is no microphone. Plug one in, and let this program use it.")
        wanted = (
            "There is no usual microphone"
            if self._device is None
            else f"There is no microphone {self._device!r}"
        )
        raise CaptureError(f"{wanted}. Give one of: {', '.join(names)}.")

    def _stream(self) -> Iterator[Block | Interruption]:
        """Give the sound until the microphone falls silent. Raises PortAudioError."""
        heard: queue.SimpleQueue[tuple[bytes, bool, float]] = queue.SimpleQueue()

        def keep(data: Any, _frames: int, _times: Any, status: Any) -> None:
            heard.put((bytes(data), bool(status.input_overflow), time.monotonic()))

        with self._sound.RawInputStream(
            samplerate=self.rate_hz,
            blocksize=round(BLOCK_S * self.rate_hz),
            device=self._device,
            channels=1,
            dtype="int16",
            callback=keep,
        ):
            day = time.time()
            while not self._stopped.is_set():
                try:
                    data, overflowed, heard_at = heard.get(timeout=_GONE_AFTER_S)
                except queue.Empty:
                    return
                day, before = time.time(), day
                if day - before > _SLEPT_FROM_S:
                    yield Interruption("the computer slept", day - before, lasts=False)
                if overflowed:
                    yield Interruption("the computer was too busy to take all sound", 0.0, lasts=False)
                yield Block(np.frombuffer(data, np.int16), heard_at)


def _portaudio() -> Any:
    try:
        # Late: only live listening needs it, and it fails where the system's library is missing.
        import sounddevice  # noqa: PLC0415
    except ModuleNotFoundError:
        raise CaptureError("The library sounddevice is missing. Run: pip install sounddevice") from None
    except OSError:
        raise CaptureError(
            "PortAudio, through which microphones are heard, is missing. Install it; on Debian and Ubuntu: "
            "apt-get install libportaudio2"
        ) from None
    return sounddevice
