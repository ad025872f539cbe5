"""The level meter, what it warns of, and the gain of the recogniser's copy."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from sounds import tone

from pipeline.capture import SAMPLE_RATE_HZ, read_audio
from pipeline.capture.levels import AutomaticGain, LevelMeter, Levels

BLOCK = SAMPLE_RATE_HZ // 10


@pytest.fixture(scope="module")
def speech(samples: Path) -> NDArray[np.float32]:
    return read_audio(samples / "dog_chatty.flac").samples[: 12 * SAMPLE_RATE_HZ]


def metered(sound: NDArray[np.floating]) -> list[Levels]:
    meter = LevelMeter()
    return [
        meter.push(np.asarray(sound[start : start + BLOCK], np.float32))
        for start in range(0, len(sound), BLOCK)
    ]


def faults(sound: NDArray[np.floating]) -> set[str | None]:
    return {levels.fault for levels in metered(sound)}


def test_a_full_scale_sine_has_minus_three_decibels() -> None:
    """Root mean square 1/√2 of the peak, by definition."""
    last = metered(tone(1_000, 1, SAMPLE_RATE_HZ, 0.999))[-1]
    assert last.now_dbfs == pytest.approx(-3.02, abs=0.05)
    assert last.peak_dbfs == pytest.approx(0, abs=0.05)


def test_speech_in_a_quiet_room_has_no_fault(speech: NDArray[np.float32]) -> None:
    assert faults(speech) == {None}


def test_speech_that_is_cut_off_is_told(speech: NDArray[np.float32]) -> None:
    assert "clipping" in faults(np.clip(speech * 20, -1, 1))


def test_a_muted_microphone_is_told() -> None:
    steps = np.random.default_rng(1).integers(-2, 3, 8 * SAMPLE_RATE_HZ)
    assert "silent" in faults(steps / 32_768)


def test_speech_far_off_is_told(speech: NDArray[np.float32]) -> None:
    assert "too quiet" in faults(speech * 10 ** (-40 / 20))


def test_speech_in_noise_is_told(speech: NDArray[np.float32]) -> None:
    noise = np.random.default_rng(1).standard_normal(len(speech)) * speech.std()
    assert "noisy" in faults(np.clip(speech + noise, -1, 1))


def test_an_empty_room_is_no_fault() -> None:
    """Steady noise of a room in which nobody speaks is neither noisy speech nor quiet speech."""
    noise = np.random.default_rng(1).standard_normal(12 * SAMPLE_RATE_HZ) * 10 ** (-50 / 20)
    assert faults(noise) == {None}


def gained(sound: NDArray[np.floating]) -> tuple[NDArray[np.float32], list[float]]:
    gain, meter = AutomaticGain(), LevelMeter()
    pieces, gains = [], []
    for start in range(0, len(sound), BLOCK):
        samples = np.asarray(sound[start : start + BLOCK], np.float32)
        pieces.append(gain.apply(samples, meter.push(samples)))
        gains.append(gain.gain_db)
    return np.concatenate(pieces), gains


def test_quiet_speech_is_brought_up_slowly(speech: NDArray[np.float32]) -> None:
    """By one decibel a second, and never past the wanted level; loud speech and bare noise stay as they are."""
    _, gains = gained(speech * 10 ** (-30 / 20))
    assert 8 < gains[-1] <= 12
    assert max(np.diff(gains)) <= 0.1 + 1e-9
    loud = np.asarray(np.clip(speech * 4, -1, 1), np.float32)
    assert np.array_equal(gained(loud)[0], loud)
    noise = np.asarray(np.random.default_rng(1).standard_normal(12 * SAMPLE_RATE_HZ) * 0.003, np.float32)
    assert np.array_equal(gained(noise)[0], noise)
