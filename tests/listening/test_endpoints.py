"""Where utterances begin and end."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from faster_whisper.vad import get_vad_model
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.capture import SAMPLE_RATE_HZ, read_audio
from pipeline.capture.levels import AutomaticGain, LevelMeter
from pipeline.listening.endpoints import Endpoints, Stretch
from pipeline.speech.voice import FRAME, VoiceDetector


def follow(*parts: tuple[float, float], finish: bool = True) -> list[Stretch]:
    """Feed seconds of one probability after the other, frame by frame."""
    endpoints = Endpoints()
    found = []
    for seconds, probability in parts:
        for _ in range(round(seconds * SAMPLE_RATE_HZ / FRAME)):
            found += endpoints.push(np.array([probability], np.float32))
    last = endpoints.finish() if finish else None
    return [*found, last] if last is not None else found


def ended(*parts: tuple[float, float]) -> list[tuple[float, float]]:
    return [
        (round(one.start / SAMPLE_RATE_HZ, 1), round(one.stop / SAMPLE_RATE_HZ, 1))
        for one in follow(*parts)
        if one.ended
    ]


def test_an_utterance_ends_with_half_a_second_of_silence() -> None:
    assert ended((1, 0.01), (2, 0.9), (0.6, 0.01), (2, 0.9), (2, 0.01)) == [(0.7, 3.2), (3.3, 5.8)]


def test_a_short_pause_is_guessed_at_and_ends_nothing() -> None:
    """The guess covers the sound up to the pause, and the utterance goes on."""
    stretches = follow((1, 0.01), (2, 0.9), (0.3, 0.01), (2, 0.9), (2, 0.01))
    assert [one.ended for one in stretches] == [False, False, True]
    assert stretches[1].stop == stretches[2].stop
    assert stretches[0].start == stretches[2].start


def test_a_long_utterance_ends_in_a_shorter_pause() -> None:
    assert ended((9, 0.9), (0.3, 0.01), (2, 0.9), (1, 0.01)) == [(0.0, 9.2), (9.2, 11.5)]


def test_talk_without_a_pause_is_cut_where_speech_is_least_likely() -> None:
    (first, second) = ended((12, 0.9), (0.1, 0.4), (6, 0.9), (1, 0.01))
    assert first == (0.0, 12.0)
    assert second[0] == 12.0


def test_a_click_is_no_utterance() -> None:
    """Two frames (64 ms) that sound like speech."""
    assert follow((1, 0.01), (0.07, 0.9), (2, 0.01)) == []


def test_what_goes_on_at_the_end_is_taken() -> None:
    assert ended((1, 0.01), (2, 0.9)) == [(0.7, 3.0)]


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 400), st.sampled_from([0.01, 0.3, 0.4, 0.6, 0.95])), max_size=12))
def test_stretches_never_overlap_and_hold_all_speech(runs: list[tuple[int, float]]) -> None:
    """In order, none longer than what the decoder takes at once, every run of speech inside one."""
    endpoints = Endpoints()
    probabilities = np.array([p for count, p in runs for _ in range(count)], np.float32)
    found = endpoints.push(probabilities)
    last = endpoints.finish()
    stretches = [one for one in [*found, last] if one is not None and one.ended]
    assert all(one.start < one.stop <= len(probabilities) * FRAME and one.length_s < 17 for one in stretches)
    assert all(a.stop <= b.start for a, b in itertools.pairwise(stretches))
    held = np.zeros(len(probabilities), bool)
    for one in stretches:
        held[(one.start + FRAME - 1) // FRAME : one.stop // FRAME] = True
    spoken = probabilities > 0.5
    # At a cut in the middle of speech one frame lies half in each.
    missing = np.flatnonzero(spoken & ~held)
    runs_of_three = spoken[:-2] & spoken[1:-1] & spoken[2:] if len(spoken) > 2 else np.zeros(0, bool)
    assert len(missing) <= 2 * len(stretches) + 2 * (len(runs) + 1)
    assert stretches or not runs_of_three.any()


@pytest.mark.parametrize("piece", [160, 512, 1_000, 1_600])
def test_the_detector_gives_a_stream_what_it_gives_a_file(samples: Path, piece: int) -> None:
    """The reference is faster-whisper's own call for whole recordings."""
    sound = read_audio(samples / "dog_noisy.flac").samples[: 20 * SAMPLE_RATE_HZ]
    whole = get_vad_model()(sound[: len(sound) // FRAME * FRAME]).reshape(-1)
    detector = VoiceDetector()
    pieces = [detector.push(sound[start : start + piece]) for start in range(0, len(sound), piece)]
    assert np.allclose(np.concatenate(pieces), whole, atol=1e-4)


def speech_found(sound: np.ndarray, *, gain: bool) -> int:
    """Samples that lie in utterances, as live listening finds them."""
    voice, endpoints, meter, automatic = VoiceDetector(), Endpoints(), LevelMeter(), AutomaticGain()
    found: list[Stretch] = []
    for start in range(0, len(sound), 1_600):
        samples = sound[start : start + 1_600]
        levels = meter.push(samples)
        found += endpoints.push(voice.push(automatic.apply(samples, levels) if gain else samples))
    last = endpoints.finish()
    return sum(one.stop - one.start for one in [*found, *([last] if last else [])] if one.ended)


def test_far_speech_is_found_by_the_gain_alone(samples: Path) -> None:
    """60 dB below the dictation: without the gain not one word of it is taken for speech."""
    sound = read_audio(samples / "cat_terse.flac").samples[: 30 * SAMPLE_RATE_HZ]
    quiet = np.asarray(np.rint(sound * 10 ** (-60 / 20) * 32_768) / 32_768, np.float32)
    assert speech_found(quiet, gain=False) == 0
    assert speech_found(quiet, gain=True) > 0.7 * speech_found(sound, gain=False)
