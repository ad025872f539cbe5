"""An examination through a microphone that is pulled out, and under a clock that is set, from the sound to the words."""

from __future__ import annotations

import itertools
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from portaudio import PortAudio
from speakers import OneWord

from pipeline.capture import SAMPLE_RATE_HZ, Microphone, Recording, read_audio, read_folder, recorder
from pipeline.capture import microphone as module
from pipeline.listening import Said, Session, Speaking

DESK = "Desk"


@pytest.fixture(scope="module")
def chatty(samples: Path) -> Recording:
    return read_audio(samples / "dog_chatty.flac")


@pytest.fixture
def plug(monkeypatch: pytest.MonkeyPatch) -> PortAudio:
    audio = PortAudio(DESK)
    monkeypatch.setitem(sys.modules, "sounddevice", audio)
    monkeypatch.setattr(module, "_LOOK_AGAIN_S", 0.01)
    return audio


class Exam:
    """A session that runs beside the test."""

    def __init__(self, folder: Path) -> None:
        self.events: list[Speaking | Said] = []
        self.session = Session(Microphone("desk"), OneWord(), folder, terms=(), tell=self.events.append)
        self._thread = threading.Thread(target=self.session.run)
        self._thread.start()

    @property
    def said(self) -> list[Said]:
        return [event for event in self.events if isinstance(event, Said)]

    def end(self) -> None:
        self.session.stop()
        self._thread.join()


def test_an_examination_goes_on_with_its_microphone(
    plug: PortAudio, chatty: Recording, tmp_path: Path
) -> None:
    """Pulled out in mid-word: what was said is settled and safe at once, and nothing but the time between is wanting."""
    before, after = np.split(chatty.pcm[: 20 * SAMPLE_RATE_HZ], [8 * SAMPLE_RATE_HZ])
    exam = Exam(tmp_path / "r")
    plug.stream_of(DESK).speak(before)
    plug.unplug(DESK)
    while not exam.session.trouble:
        time.sleep(0.001)
    assert exam.session.trouble.startswith("The microphone Desk gives no sound; plug it in again (for ")
    while exam.session.load.utterances or not exam.said or exam.said[-1].until_s < 7.5:
        time.sleep(0.001)
    assert read_folder(tmp_path / "r").vouched == len(before)
    plug.plugged.append(DESK)
    plug.stream_of(DESK).speak(after)
    exam.end()
    assert exam.session.trouble == ""
    (note,) = exam.session.notes
    assert note.startswith("At 8 s the microphone was gone")
    content = read_folder(tmp_path / "r")
    assert np.array_equal(content.pcm, chatty.pcm[: 20 * SAMPLE_RATE_HZ])
    assert [(gap.at_s, gap.reason) for gap in content.gaps] == [(8.0, "the microphone was gone")]
    assert all(one.until_s <= 8.0 or one.start_s >= 8.0 for one in exam.said)
    assert all(a.until_s <= b.start_s for a, b in itertools.pairwise(exam.said))


def test_a_microphone_that_stays_away_is_told_at_the_end(
    plug: PortAudio, chatty: Recording, tmp_path: Path
) -> None:
    exam = Exam(tmp_path / "r")
    plug.stream_of(DESK).speak(chatty.pcm[: 3 * SAMPLE_RATE_HZ])
    plug.unplug(DESK)
    while not exam.session.trouble:
        time.sleep(0.001)
    exam.end()
    (gap,) = read_folder(tmp_path / "r").gaps
    assert (gap.at_s, gap.reason) == (3.0, "the microphone was gone")
    (note,) = exam.session.notes
    assert note.startswith("At 3 s the microphone was gone")


@pytest.mark.parametrize("hours", [-1, 1])
def test_times_stay_right_when_the_clock_is_set(
    plug: PortAudio, chatty: Recording, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hours: int
) -> None:
    """The clock of the day jumps in mid-recording: the times of words, and the delays told, are those of an even clock."""
    jump = timedelta(0)
    real = time.time

    class Clock(datetime):
        @classmethod
        def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
            return datetime.now(UTC) + jump

    monkeypatch.setattr(recorder, "datetime", Clock)
    monkeypatch.setattr(time, "time", lambda: real() + jump.total_seconds())
    exam = Exam(tmp_path / "r")
    plug.stream_of(DESK).speak(chatty.pcm[: 6 * SAMPLE_RATE_HZ])
    jump = timedelta(hours=hours)
    plug.stream_of(DESK).speak(chatty.pcm[6 * SAMPLE_RATE_HZ : 20 * SAMPLE_RATE_HZ])
    exam.end()
    assert exam.session.notes == []
    content = read_folder(tmp_path / "r")
    assert (content.gaps, content.faults) == ((), ())
    assert np.array_equal(content.pcm, chatty.pcm[: 20 * SAMPLE_RATE_HZ])
    assert all(a.until_s <= b.start_s for a, b in itertools.pairwise(exam.said))
    assert 19 < exam.said[-1].until_s <= 20
    # Sound comes faster than it is spoken here, so that words may be there before their pause by the sound's own clock.
    assert all(one.waited_s is not None and abs(one.waited_s) < 1800 for one in exam.said)
