"""Any rate to the recogniser's 16 kHz, piece by piece, without folding what is too high into the speech band."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.filter import Graph
from numpy.typing import NDArray

from pipeline.capture.model import SAMPLE_RATE_HZ

# FFmpeg's own defaults (32 taps, cut off at 0.97) leave 8.3 kHz only 19 dB down and take 3 dB from 7.5 kHz.
# With these, measured at 48 kHz: 7.5 kHz loses 0.5 dB, from 8.1 kHz up everything is 91 dB down.
_FILTER = f"{SAMPLE_RATE_HZ}:filter_size=128:phase_shift=10:cutoff=0.96"


class Resampler:
    """Turns mono samples of one rate into 16 kHz, in order; what comes out is one stream without seams.

    Sound that has 16 kHz already passes unchanged. The filter looks ahead a few milliseconds: what is still
    in it comes with `finish`.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._given = 0
        self._graph = None if rate_hz == SAMPLE_RATE_HZ else _graph(rate_hz)

    def push(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take samples between -1 and 1 and give those that are ready."""
        if self._graph is None or not len(samples):
            return samples
        frame = AudioFrame.from_ndarray(samples[np.newaxis, :], format="flt", layout="mono")
        frame.sample_rate = self._rate_hz
        frame.pts = self._given
        self._given += len(samples)
        self._graph.push(frame)
        return _joined(self._ready(self._graph))

    def finish(self) -> NDArray[np.float32]:
        """Give the rest; nothing can be pushed after it."""
        if self._graph is None or not self._given:
            return np.zeros(0, np.float32)
        self._graph.push(None)
        return _joined(self._ready(self._graph))

    @staticmethod
    def _ready(graph: Graph) -> Iterator[NDArray[np.float32]]:
        while True:
            try:
                frame = graph.pull()
            except (av.error.BlockingIOError, av.error.EOFError):
                return
            if isinstance(frame, AudioFrame):
                yield frame.to_ndarray()[0]


def _graph(rate_hz: int) -> Graph:
    graph = Graph()
    parts = (
        graph.add_abuffer(sample_rate=rate_hz, format="flt", layout="mono"),
        graph.add("aresample", _FILTER),
        graph.add("aformat", "sample_fmts=flt"),
        graph.add("abuffersink"),
    )
    for before, after in itertools.pairwise(parts):
        before.link_to(after)
    graph.configure()
    return graph


def _joined(pieces: Iterator[NDArray[np.float32]]) -> NDArray[np.float32]:
    return np.concatenate([np.zeros(0, np.float32), *pieces])
