"""How loud it is: a meter, what is wrong with the sound, and the gain that the recogniser's copy needs.

The bounds here are common practice, no source, tried on the sample dictations.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.capture.model import LOWEST_DBFS, SAMPLE_RATE_HZ, decibels

SoundFault = Literal["silent", "clipping", "too quiet", "noisy"]

_FRAME = SAMPLE_RATE_HZ // 20
_SEEN_FRAMES = 200
_FULL = 0.999
# One sample at full scale may be chance; so many in a row are a wave with its top cut off.
_CLIPPED_IN_A_ROW = 3
_CLIPPED_FRAMES = 3
_SILENT_BELOW_DBFS = -70.0
_QUIET_BELOW_DBFS = -50.0
_NOISE_FROM_DBFS = -60.0
_LEAST_DISTANCE_DB = 10.0
# Speech stands out: below this distance there is nothing but the room.
_SPEECH_STANDS_OUT_DB = 6.0
_JUDGED_FROM_FRAMES = 60

_WANTED_DBFS = -26.0
_MOST_GAIN_DB = 30.0
_GAIN_STEP_DB = 0.1


@dataclass(frozen=True)
class Levels:
    """Levels of the last moment and the last ten seconds, in dBFS.

    `now_dbfs` and `peak_dbfs` are of the latest 50 ms. `speech_dbfs` is what the loudest twentieth of the
    last ten seconds reaches, `noise_dbfs` what the quietest tenth does not exceed. `fault` is what a person
    should do something about.
    """

    now_dbfs: float = LOWEST_DBFS
    peak_dbfs: float = LOWEST_DBFS
    speech_dbfs: float = LOWEST_DBFS
    noise_dbfs: float = LOWEST_DBFS
    fault: SoundFault | None = None


class LevelMeter:
    """Follows the level of 16 kHz sound."""

    def __init__(self) -> None:
        self._rest = np.zeros(0, np.float32)
        self._levels: deque[float] = deque(maxlen=_SEEN_FRAMES)
        self._clipped: deque[bool] = deque(maxlen=_SEEN_FRAMES)
        self._peak = 0.0

    def push(self, samples: NDArray[np.float32]) -> Levels:
        """Take samples between -1 and 1 and give the levels up to them."""
        sound = np.concatenate([self._rest, samples])
        count = len(sound) // _FRAME
        self._rest = sound[count * _FRAME :]
        for frame in sound[: count * _FRAME].reshape(count, _FRAME):
            self._levels.append(decibels(float(np.sqrt(np.mean(np.square(frame))))))
            self._clipped.append(_is_clipped(frame))
            self._peak = float(np.abs(frame).max())
        return self._now()

    def _now(self) -> Levels:
        if not self._levels:
            return Levels()
        noise, speech = np.percentile(self._levels, (10, 95))
        return Levels(
            now_dbfs=self._levels[-1],
            peak_dbfs=decibels(self._peak),
            speech_dbfs=float(speech),
            noise_dbfs=float(noise),
            fault=self._fault(float(speech), float(noise)),
        )

    def _fault(self, speech_dbfs: float, noise_dbfs: float) -> SoundFault | None:
        if sum(self._clipped) >= _CLIPPED_FRAMES:
            return "clipping"
        if len(self._levels) < _JUDGED_FROM_FRAMES:
            return None
        if max(self._levels) < _SILENT_BELOW_DBFS:
            return "silent"
        distance_db = speech_dbfs - noise_dbfs
        if _SPEECH_STANDS_OUT_DB < distance_db < _LEAST_DISTANCE_DB and noise_dbfs > _NOISE_FROM_DBFS:
            return "noisy"
        if distance_db > _SPEECH_STANDS_OUT_DB and speech_dbfs < _QUIET_BELOW_DBFS:
            return "too quiet"
        return None


class AutomaticGain:
    """Brings quiet speech to a usual level, slowly; loud sound stays as it is.

    It is for the recogniser's copy: what is recorded stays as it was heard.
    """

    def __init__(self) -> None:
        self.gain_db = 0.0

    def apply(self, samples: NDArray[np.float32], levels: Levels) -> NDArray[np.float32]:
        """Amplify samples by a gain that moves by at most a tenth of a decibel for each call."""
        before_db = self.gain_db
        if levels.speech_dbfs - levels.noise_dbfs > _SPEECH_STANDS_OUT_DB:
            wanted_db = min(max(_WANTED_DBFS - levels.speech_dbfs, 0.0), _MOST_GAIN_DB)
            self.gain_db += min(max(wanted_db - before_db, -_GAIN_STEP_DB), _GAIN_STEP_DB)
        if not before_db and not self.gain_db:
            return samples
        ramp_db = np.linspace(before_db, self.gain_db, len(samples), dtype=np.float32)
        return np.asarray(np.clip(samples * 10 ** (ramp_db / 20), -1, 1), np.float32)


def _is_clipped(frame: NDArray[np.float32]) -> bool:
    full = np.abs(frame) >= _FULL
    in_a_row = full[2:] & full[1:-1] & full[:-2]
    return bool(in_a_row.any())
