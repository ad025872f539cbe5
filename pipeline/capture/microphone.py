"""The microphone of this computer: opened at its own rate, missed when it is gone, found again when it is back."""

from __future__ import annotations

import math
import queue
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.capture.model import CaptureError
from pipeline.capture.sources import BLOCK_S, Block, Interruption

_GONE_AFTER_S = 2.0
_LOOK_AGAIN_S = 1.0
_SLEPT_FROM_S = 5.0
# Where ALSA lists a device: it may get another place when it is plugged in again.
_PLACE = re.compile(r"\s*\(hw:\d+,\d+\)$")


@dataclass(frozen=True)
class _Piece:
    """What one call of PortAudio brought, and when: `awake_at` by the clock that runs on while the computer sleeps."""

    data: bytes
    overflowed: bool
    heard_at: float
    awake_at: float


class Microphone:
    """A microphone of this computer, by its name, a part of the name, or its number; None is the usual one.

    It is opened at its own rate; resampling is not left to drivers. When it is unplugged, `blocks` says so and goes on
    when it is back, wherever it is plugged in. Where none was named, the one that is the usual one by then will do.

    Raises CaptureError when PortAudio or the microphone is missing.
    """

    def __init__(self, device: str | None = None) -> None:
        self._sound = _portaudio()
        self._any_will_do = device is None
        self._stopped = threading.Event()
        found = self._find(int(device) if device is not None and device.isdigit() else device)
        self.rate_hz = round(float(found["default_samplerate"]))
        self.name = f"microphone {found['name']}"
        self._label = str(found["name"])
        self._index: int | None = int(found["index"])
        self._through = self._label

    def blocks(self) -> Iterator[Block | Interruption]:
        """Give the sound as it comes, and say when it does not."""
        last = time.monotonic()
        gone = False
        while not self._stopped.is_set():
            for item in self._stream():
                if isinstance(item, Block):
                    if gone:
                        lost_s = max(0.0, item.heard_at - len(item.samples) / self.rate_hz - last)
                        yield Interruption(self._gone(), lost_s, lasts=False)
                        gone = False
                    last = item.heard_at
                yield item
            if self._stopped.is_set():
                break
            gone = True
            yield Interruption(self._missed(), time.monotonic() - last, lasts=True)
            self._stopped.wait(_LOOK_AGAIN_S)
            self._look_again()
        if gone:
            yield Interruption("the microphone was gone", time.monotonic() - last, lasts=False)

    def stop(self) -> None:
        """End `blocks`."""
        self._stopped.set()

    def _find(self, device: int | str | None) -> Any:
        try:
            return self._sound.query_devices(device, "input")
        except (ValueError, self._sound.PortAudioError):
            names = [f"{one['index']} {one['name']}" for one in self._inputs()]
        if not names:
            raise CaptureError("There is no microphone. Plug one in, and let this program use it.")
        wanted = "There is no usual microphone" if device is None else f"There is no microphone {device!r}"
        raise CaptureError(f"{wanted}. Give one of: {', '.join(names)}.")

    def _inputs(self) -> list[Any]:
        return [one for one in self._sound.query_devices() if one["max_input_channels"]]

    def _gone(self) -> str:
        """What happened, now that there is sound again."""
        gone = "the microphone was gone"
        same = _without_place(self._through) == _without_place(self._label)
        return gone if same else f"{gone} ({self._through} is heard from then on)"

    def _missed(self) -> str:
        """What is wrong and what to do, when there is no sound."""
        others: list[str] = []
        with suppress(self._sound.PortAudioError):
            others = [str(one["name"]) for one in self._inputs() if not self._is_it(one)]
        wait = f"the {self.name} gives no sound; plug it in again"
        return f"{wait}, or end and listen through another ({', '.join(others)})" if others else wait

    def _look_again(self) -> None:
        """Look where the microphone is now; its number may have changed, and another may be behind the old one."""
        # PortAudio lists devices once; a new look needs a new start.
        with suppress(self._sound.PortAudioError):
            self._sound._terminate()
        self._index = None
        try:
            self._sound._initialize()
            same = [one for one in self._inputs() if self._is_it(one)]
            if not same and self._any_will_do:
                same = [self._sound.query_devices(None, "input")]
        except (ValueError, self._sound.PortAudioError):
            return
        if same:
            self._index, self._through = int(same[0]["index"]), str(same[0]["name"])

    def _is_it(self, device: Any) -> bool:
        return _without_place(str(device["name"])) == _without_place(self._label)

    def _stream(self) -> Iterator[Block | Interruption]:
        """Give the sound until the microphone falls silent or `stop` is called, and all that came until then."""
        heard: queue.SimpleQueue[_Piece | None] = queue.SimpleQueue()
        # Opening a microphone may take seconds, which are no sleep.
        before = math.inf
        with suppress(self._sound.PortAudioError), self._opened(heard):
            while not self._stopped.is_set():
                try:
                    piece = heard.get(timeout=_GONE_AFTER_S)
                except queue.Empty:
                    break
                if piece is None:
                    break
                yield from self._items(piece, before)
                before = piece.awake_at
        # What came while the last of it was dealt with: with a slow disk that may be seconds.
        while not heard.empty():
            piece = heard.get()
            if piece is not None:
                yield from self._items(piece, before)
                before = piece.awake_at

    def _items(self, piece: _Piece, before: float) -> Iterator[Block | Interruption]:
        """A piece of sound, and what is wanting before it."""
        samples = np.frombuffer(piece.data, np.int16)
        lost_s = piece.awake_at - before - len(samples) / self.rate_hz
        if lost_s > _SLEPT_FROM_S:
            yield Interruption("the computer slept", lost_s, lasts=False)
        elif piece.overflowed:
            yield Interruption("the computer was too busy to take all sound", 0.0, lasts=False)
        yield Block(samples, piece.heard_at)

    @contextmanager
    def _opened(self, heard: queue.SimpleQueue[_Piece | None]) -> Iterator[None]:
        """Let PortAudio fill the queue; None in it says that no more will come. Raises PortAudioError."""
        if self._index is None:
            heard.put(None)
            yield
            return

        def keep(data: Any, _frames: int, _times: Any, status: Any) -> None:
            heard.put(_Piece(bytes(data), bool(status.input_overflow), time.monotonic(), _awake_s()))

        with self._sound.RawInputStream(
            samplerate=self.rate_hz,
            blocksize=round(BLOCK_S * self.rate_hz),
            device=self._index,
            channels=1,
            dtype="int16",
            callback=keep,
            finished_callback=lambda: heard.put(None),
        ):
            yield


def _without_place(name: str) -> str:
    return _PLACE.sub("", name)


def _awake_s() -> float:
    """Seconds by a clock that nobody sets and that runs on while the computer sleeps, when no sound comes.

    The clock of the day would do for sleep, and take a correction of the time for one. Sources: clock_gettime(2) of Linux
    (CLOCK_BOOTTIME) and of macOS (CLOCK_MONOTONIC); on Windows `time.monotonic` counts sleep, by Python's documentation of
    GetTickCount64. All from memory.
    """
    for name in ("CLOCK_BOOTTIME", "CLOCK_MONOTONIC"):
        if hasattr(time, name):
            return time.clock_gettime(getattr(time, name))
    return time.monotonic()


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
