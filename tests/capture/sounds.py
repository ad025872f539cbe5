"""Sound files of every kind, made on the spot by the encoders that PyAV brings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from numpy.typing import NDArray


@dataclass(frozen=True)
class Kind:
    """A kind of sound file: what the encoder is called and what it takes."""

    suffix: str
    codec: str
    rate_hz: int
    layout: str = "mono"
    sample_format: str = "s16"


def tone(frequency_hz: float, seconds: float, rate_hz: int, amplitude: float = 0.5) -> NDArray[np.float64]:
    times = np.arange(round(seconds * rate_hz)) / rate_hz
    return amplitude * np.sin(2 * np.pi * frequency_hz * times)


def write_sound(path: Path, kind: Kind, channels: NDArray[np.floating]) -> Path:
    """Encode `channels` (one row each, between -1 and 1) as `kind` says."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream(kind.codec, rate=kind.rate_hz)
        assert isinstance(stream, AudioStream)
        stream.layout = kind.layout
        stream.format = kind.sample_format
        for start in range(0, channels.shape[1], 1024):
            block = np.ascontiguousarray(channels[:, start : start + 1024], dtype=np.float32)
            frame = AudioFrame.from_ndarray(block, format="fltp", layout=kind.layout)
            frame.sample_rate = kind.rate_hz
            frame.pts = start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path
