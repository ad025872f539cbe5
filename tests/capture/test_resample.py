"""Any rate to 16 kHz: nothing folds back, nothing is lost from the speech band, pieces leave no seam."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from sounds import tone

from pipeline.capture import SAMPLE_RATE_HZ, Resampler


def resampled(samples: NDArray[np.floating], rate_hz: int, piece: int) -> NDArray[np.float32]:
    resampler = Resampler(rate_hz)
    pieces = [
        resampler.push(samples[start : start + piece].astype(np.float32))
        for start in range(0, len(samples), piece)
    ]
    return np.concatenate([*pieces, resampler.finish()])


def loss_db(frequency_hz: float, rate_hz: int) -> float:
    """How many decibels a tone of -6 dBFS loses."""
    middle = resampled(tone(frequency_hz, 2, rate_hz), rate_hz, 4_800)[4_000:-4_000]
    return float(-20 * np.log10(np.sqrt(np.mean(middle**2)) * np.sqrt(2) / 0.5 + 1e-9))


@pytest.mark.parametrize("rate_hz", [22_050, 32_000, 44_100, 48_000, 96_000])
def test_what_is_too_high_is_gone(rate_hz: int) -> None:
    """From 8.2 kHz up (Nyquist's bound for 16 kHz is 8 kHz) at least 80 dB: no hiss folds into the speech."""
    for frequency_hz in (8_200, 9_000, 10_500, 15_000, 20_000):
        if frequency_hz < rate_hz / 2:
            assert loss_db(frequency_hz, rate_hz) > 80, frequency_hz


@pytest.mark.parametrize("rate_hz", [22_050, 32_000, 44_100, 48_000, 96_000])
def test_the_speech_band_is_kept(rate_hz: int) -> None:
    """Up to 7.2 kHz within half a decibel."""
    for frequency_hz in (100, 1_000, 4_000, 7_200):
        assert abs(loss_db(frequency_hz, rate_hz)) < 0.5, frequency_hz


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 48_000])
@pytest.mark.parametrize("piece", [1, 441, 4_803])
def test_pieces_leave_no_seam(rate_hz: int, piece: int) -> None:
    """Sound that comes in pieces of any size gives the same as sound that comes at once."""
    sound = np.random.default_rng(1).uniform(-0.5, 0.5, rate_hz // 10)
    whole = resampled(sound, rate_hz, len(sound))
    assert len(whole) == SAMPLE_RATE_HZ // 10
    assert np.allclose(resampled(sound, rate_hz, piece), whole, atol=1e-6)


def test_a_stream_loses_no_samples() -> None:
    """Ten minutes at 44.1 kHz, second by second: the clock does not drift."""
    resampler = Resampler(44_100)
    second = np.zeros(44_100, np.float32)
    count = sum(len(resampler.push(second)) for _ in range(600)) + len(resampler.finish())
    assert count == 600 * SAMPLE_RATE_HZ
