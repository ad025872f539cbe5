"""Sounds without speech, as they come in a consulting room; all from a seed, 16 kHz mono."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.capture import SAMPLE_RATE_HZ, Recording

Sound = NDArray[np.floating]


def silence(seconds: float, seed: int) -> Sound:
    """A quiet input: a sound card flickers by a few of its steps of 16 bits, as many as the seed; 0 is none."""
    steps = np.random.default_rng(seed).integers(-seed, seed + 1, round(seconds * SAMPLE_RATE_HZ))
    return steps / 32_768


def white(seconds: float, seed: int) -> Sound:
    return 0.1 * np.random.default_rng(seed).standard_normal(round(seconds * SAMPLE_RATE_HZ))


def pink(seconds: float, seed: int) -> Sound:
    """Equal power in each octave: fans, traffic, clippers far off."""
    flat = white(seconds, seed)
    shape = 1 / np.sqrt(np.maximum(np.fft.rfftfreq(len(flat), 1 / SAMPLE_RATE_HZ), 20))
    sound = np.fft.irfft(np.fft.rfft(flat) * shape, len(flat))
    return np.asarray(0.1 * sound / sound.std())


def tone(seconds: float, seed: int) -> Sound:
    """Make a 440 Hz beep as of some machine, the phase from the seed."""
    return 0.3 * np.sin(2 * np.pi * 440 * np.arange(round(seconds * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ + seed)


def panting(seconds: float, seed: int) -> Sound:
    """Breath noise that swells and falls three to five times a second."""
    breath = pink(seconds, seed) + 0.5 * white(seconds, seed + 1)
    swell = np.sin(2 * np.pi * (3 + seed % 3) * np.arange(len(breath)) / SAMPLE_RATE_HZ)
    return np.asarray(1.5 * breath * np.clip(swell, 0, 1) ** 2)


ALL = {"silence": silence, "white": white, "pink": pink, "tone": tone, "panting": panting}


def recording_of(*sounds: Sound) -> Recording:
    """Join sounds, one after the other."""
    return Recording.from_samples(np.concatenate(sounds))
