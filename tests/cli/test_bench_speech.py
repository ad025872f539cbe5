"""`rostral bench speech`: what it measures, and what it asks of a folder."""

from __future__ import annotations

import wave
from pathlib import Path

import pytest
from commands import SAMPLES, Run, one_line

from pipeline.capture import SAMPLE_RATE_HZ, read_audio


@pytest.fixture
def spoken(tmp_path: Path) -> Path:
    """A folder with the first ten seconds of a sample."""
    samples = read_audio(SAMPLES / "cat_terse.flac").pcm[: 10 * SAMPLE_RATE_HZ]
    with wave.open(str(tmp_path / "spoken.wav"), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(SAMPLE_RATE_HZ)
        sound.writeframes(samples.tobytes())
    return tmp_path


def test_each_step_stands_beside_other_recognisers(run: Run, spoken: Path) -> None:
    """Word errors, trade words, time and memory of each, and the delays of live listening."""
    (spoken / "spoken.txt").write_text("Juniper, domestic shorthair, pre-anesthetic exam.", encoding="utf-8")
    result = run("bench", "speech", spoken, "--model", "tiny.en")
    assert result.exit_code == 0, result.stderr
    shown = " ".join(result.stdout.split())
    for figure in ("plain", "biased", "repaired", "library", "pocketsphinx", "pause to findings", "waiting"):
        assert figure in shown


@pytest.mark.parametrize("wanting", ["recordings", "text", "folder"])
def test_what_a_folder_must_hold_is_said(run: Run, spoken: Path, wanting: str) -> None:
    folder = {"recordings": spoken / "empty", "text": spoken, "folder": spoken / "spoken.wav"}[wanting]
    (spoken / "empty").mkdir()
    result = run("bench", "speech", folder)
    assert result.exit_code == 2
    reason = {
        "recordings": "holds no recordings",
        "text": "spoken.txt cannot be read",
        "folder": "is no folder",
    }
    assert reason[wanting] in one_line(result.stderr)
