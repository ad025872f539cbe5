"""Speech or not, while the sound comes: the voice detector, fed piece by piece."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FRAME = 512
"""Samples (at 16 kHz, 32 ms) that get one probability."""

_CONTEXT = 64
_STATE = 128


class VoiceDetector:
    """Silero's voice detector, as it comes with faster-whisper, with its memory kept between pieces.

    So it gives for a stream what it gives for the whole recording, wherever the stream is cut. Loading takes
    a part of a second.
    """

    def __init__(self) -> None:
        # Late, because this import takes about a second.
        from faster_whisper.vad import get_vad_model  # noqa: PLC0415

        self._session = get_vad_model().session
        self._rest = np.zeros(0, np.float32)
        self._context = np.zeros(_CONTEXT, np.float32)
        self._h = np.zeros((1, 1, _STATE), np.float32)
        self._c = np.zeros((1, 1, _STATE), np.float32)

    def push(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take samples between -1 and 1 and give the probability of speech in each frame that is now whole."""
        sound = np.concatenate([self._rest, samples])
        count = len(sound) // FRAME
        self._rest = sound[count * FRAME :]
        if not count:
            return np.zeros(0, np.float32)
        frames = sound[: count * FRAME].reshape(count, FRAME)
        before = np.vstack([self._context, frames[:-1, -_CONTEXT:]])
        self._context = frames[-1, -_CONTEXT:]
        given = {"input": np.hstack([before, frames]), "h": self._h, "c": self._c}
        probabilities, self._h, self._c = self._session.run(None, given)
        return np.asarray(probabilities, np.float32).reshape(-1)
