"""A recording as the later stages see it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

SAMPLE_RATE_HZ = 16_000
"""Rate of every recording's samples: what Whisper models and the voice detector are trained on."""

LOWEST_DBFS = -120.0
"""Levels are never given below this; digital silence has it instead of minus infinity."""

_SILENT_BELOW_DBFS = -60.0
_FULL_SCALE = 32_768
_BLOCK = 1 << 20


class CaptureError(Exception):
    """A recording cannot be read; the message says which, why, and what to do."""


@dataclass(frozen=True, eq=False)
class Recording:
    """Sound, 16 kHz mono.

    `pcm` holds 16-bit samples: half the memory of floats, so that hours fit (4 hours take 461 MB).
    `source_rate_hz`, `channels` and `codec` describe the sound as it came; `warnings` are sentences for the
    user about damage that was survived.
    """

    pcm: NDArray[np.int16]
    source: Path | None = None
    source_rate_hz: int = SAMPLE_RATE_HZ
    channels: int = 1
    codec: str = "pcm"
    warnings: tuple[str, ...] = ()

    @classmethod
    def from_samples(cls, samples: NDArray[np.floating]) -> Recording:
        """Wrap 16 kHz mono samples between -1 and 1; louder ones are clipped."""
        return cls(pcm=to_pcm(samples))

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.pcm) / SAMPLE_RATE_HZ

    @property
    def samples(self) -> NDArray[np.float32]:
        """All samples as a new array of floats between -1 and 1; `stretch` spares memory."""
        return self.stretch(0, len(self.pcm))

    def stretch(self, start: int, stop: int) -> NDArray[np.float32]:
        """Return samples from index `start` up to `stop` as floats between -1 and 1."""
        return to_floats(self.pcm[start:stop])

    @cached_property
    def peak_dbfs(self) -> float:
        """Loudest sample in decibels relative to full scale: 20·log10(peak / full scale)."""
        # Not abs(): the lowest 16-bit number has no positive twin.
        peak = max(int(self.pcm.max()), -int(self.pcm.min())) if len(self.pcm) else 0
        return decibels(peak / _FULL_SCALE)

    @cached_property
    def rms_dbfs(self) -> float:
        """Root mean square level in decibels relative to full scale; a full-scale sine has -3.01."""
        if not len(self.pcm):
            return LOWEST_DBFS
        energy = 0.0
        for start in range(0, len(self.pcm), _BLOCK):
            block = self.stretch(start, start + _BLOCK)
            energy += float(np.dot(block, block))
        return decibels(math.sqrt(energy / len(self.pcm)))

    @property
    def is_silent(self) -> bool:
        """Whether nothing in it is loud enough to be speech: no sample above -60 dBFS.

        Common practice, no source: speech recorded with a usable gain peaks above -40 dBFS.
        """
        return self.peak_dbfs < _SILENT_BELOW_DBFS


def to_floats(pcm: NDArray[np.int16]) -> NDArray[np.float32]:
    """16-bit samples as numbers between -1 and 1."""
    floats = pcm.astype(np.float32)
    floats /= _FULL_SCALE
    return floats


def to_pcm(samples: NDArray[np.floating]) -> NDArray[np.int16]:
    """Samples between -1 and 1 as 16-bit numbers; louder ones are clipped."""
    return np.asarray(np.clip(np.rint(samples * _FULL_SCALE), -32_768, 32_767), dtype=np.int16)


def decibels(ratio: float) -> float:
    """Level of an amplitude relative to full scale, in dBFS."""
    return max(LOWEST_DBFS, 20 * math.log10(ratio)) if ratio > 0 else LOWEST_DBFS
