"""The microphone: pulled out and plugged in again, while clocks are set and the computer sleeps."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from portaudio import BLOCK, RATE_HZ, PortAudio
from recorded import known

from pipeline.capture import Block, CaptureError, Interruption, Microphone
from pipeline.capture import microphone as module

Heard = list[Block | Interruption]


@pytest.fixture
def plug(monkeypatch: pytest.MonkeyPatch) -> PortAudio:
    audio = PortAudio("Desk: Audio (hw:0,0)", "Headset: Audio (hw:1,0)")
    monkeypatch.setitem(sys.modules, "sounddevice", audio)
    monkeypatch.setattr(module, "_LOOK_AGAIN_S", 0.01)
    return audio


@contextmanager
def listening(microphone: Microphone) -> Iterator[Heard]:
    """What comes from a microphone, while the test goes on; all of it at the end."""
    heard: Heard = []

    def listen() -> None:
        for item in microphone.blocks():
            heard.append(item)

    thread = threading.Thread(target=listen)
    thread.start()
    yield heard
    microphone.stop()
    thread.join()


def sound(heard: Heard) -> np.ndarray:
    return np.concatenate([item.samples for item in heard if isinstance(item, Block)])


def told(heard: Heard) -> list[str]:
    """What the user is told once: what lasts is told again and again."""
    return [item.reason for item in heard if isinstance(item, Interruption) and not item.lasts]


def waited(heard: Heard) -> set[str]:
    return {item.reason for item in heard if isinstance(item, Interruption) and item.lasts}


def test_a_microphone_that_is_plugged_in_again_goes_on(plug: PortAudio) -> None:
    """Every sample before and after it is there, though it comes back under another number and place."""
    with listening(Microphone("headset")) as heard:
        plug.stream_of("Headset: Audio (hw:1,0)").speak(known(0, 10 * BLOCK))
        plug.unplug("Headset: Audio (hw:1,0)")
        plug.plugged = ["Headset: Audio (hw:2,0)", *plug.plugged]
        plug.stream_of("Headset: Audio (hw:2,0)").speak(known(10 * BLOCK, 5 * BLOCK))
    assert np.array_equal(sound(heard), known(0, 15 * BLOCK))
    assert told(heard) == ["the microphone was gone"]
    assert waited(heard) == {
        "the microphone Headset: Audio (hw:1,0) gives no sound; plug it in again, or end and listen through "
        "another (Desk: Audio (hw:0,0))"
    }
    places = [isinstance(item, Interruption) for item in heard]
    assert places[:10] == [False] * 10
    assert all(places[10:-5])
    assert places[-5:] == [False] * 5


def test_a_named_microphone_is_not_replaced_by_another(plug: PortAudio) -> None:
    """The number that was given is another microphone's by then: nothing is heard through that one."""
    with listening(Microphone("0")) as heard:
        plug.stream_of("Desk: Audio (hw:0,0)").speak(known(0, BLOCK))
        plug.unplug("Desk: Audio (hw:0,0)")
        while plug.looks < 2:
            time.sleep(0.001)
    assert plug.opened == ["Desk: Audio (hw:0,0)"]
    assert told(heard) == ["the microphone was gone"]


def test_where_none_was_named_another_will_do_and_is_told(plug: PortAudio) -> None:
    with listening(Microphone()) as heard:
        plug.stream_of("Desk: Audio (hw:0,0)").speak(known(0, BLOCK))
        plug.unplug("Desk: Audio (hw:0,0)")
        plug.stream_of("Headset: Audio (hw:1,0)").speak(known(BLOCK, BLOCK))
    assert np.array_equal(sound(heard), known(0, 2 * BLOCK))
    assert told(heard) == ["the microphone was gone (Headset: Audio (hw:1,0) is heard from then on)"]


def test_a_microphone_that_falls_silent_without_a_word_is_missed(
    plug: PortAudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some drivers say nothing: without sound for a while it is opened again."""
    monkeypatch.setattr(module, "_GONE_AFTER_S", 600.0)
    with listening(Microphone("desk")) as heard:
        stream = plug.stream_of("Desk: Audio (hw:0,0)")
        stream.speak(known(0, BLOCK))
        while not heard:
            time.sleep(0.001)
        # Only now, lest a slow machine misses the first sound; the next one begins the wait.
        monkeypatch.setattr(module, "_GONE_AFTER_S", 0.05)
        stream.speak(known(BLOCK, BLOCK))
        while len(plug.opened) < 2:
            time.sleep(0.001)
    assert np.array_equal(sound(heard), known(0, 2 * BLOCK))
    assert waited(heard)
    assert told(heard)[-1] == "the microphone was gone"


def test_what_was_spoken_before_the_stop_is_there(plug: PortAudio) -> None:
    """However far behind the reader is, as when the disk is slow."""
    microphone = Microphone("desk")
    items = microphone.blocks()
    began = threading.Event()

    def speak() -> None:
        plug.stream_of("Desk: Audio (hw:0,0)").speak(known(0, 50 * BLOCK))
        began.set()

    threading.Thread(target=speak).start()
    first = next(items)
    began.wait()
    microphone.stop()
    assert np.array_equal(sound([first, *items]), known(0, 50 * BLOCK))


@pytest.mark.parametrize("hours", [-1, 1])
def test_a_clock_that_is_set_is_no_sleep(
    plug: PortAudio, monkeypatch: pytest.MonkeyPatch, hours: int
) -> None:
    """The clock of the day jumps an hour in mid-exam: nothing is told, nothing is missing, times run on."""
    real = time.time
    with listening(Microphone("desk")) as heard:
        stream = plug.stream_of("Desk: Audio (hw:0,0)")
        stream.speak(known(0, 3 * BLOCK))
        monkeypatch.setattr(time, "time", lambda: real() + hours * 3600)
        stream.speak(known(3 * BLOCK, 3 * BLOCK))
    assert told(heard) == []
    assert np.array_equal(sound(heard), known(0, 6 * BLOCK))
    times = [item.heard_at for item in heard if isinstance(item, Block)]
    assert times == sorted(times)
    assert times[-1] <= time.monotonic()


def test_sleep_is_told_where_it_was(plug: PortAudio, monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock that runs on through sleep goes an hour between two blocks."""
    awake = [100.0]
    monkeypatch.setattr(module, "_awake_s", lambda: awake[0])
    with listening(Microphone("desk")) as heard:
        stream = plug.stream_of("Desk: Audio (hw:0,0)")
        stream.speak(known(0, BLOCK))
        awake[0] += 3600 + BLOCK / RATE_HZ
        stream.speak(known(BLOCK, BLOCK))
    (slept,) = [item for item in heard if isinstance(item, Interruption)]
    assert (slept.reason, slept.lost_s, slept.lasts) == ("the computer slept", 3600.0, False)
    assert isinstance(heard[1], Interruption)


def test_overflow_is_told(plug: PortAudio) -> None:
    with listening(Microphone("desk")) as heard:
        plug.stream_of("Desk: Audio (hw:0,0)").speak(known(0, BLOCK), overflow=True)
    assert told(heard) == ["the computer was too busy to take all sound"]


@pytest.mark.parametrize(
    ("device", "message"),
    [
        (
            "tape",
            "There is no microphone 'tape'. Give one of: 0 Desk: Audio (hw:0,0), 1 Headset: Audio (hw:1,0).",
        ),
        ("7", "There is no microphone 7. Give one of: 0 Desk: Audio (hw:0,0), 1 Headset: Audio (hw:1,0)."),
    ],
)
def test_a_microphone_that_is_not_there_is_told(plug: PortAudio, device: str, message: str) -> None:
    with pytest.raises(CaptureError) as error:
        Microphone(device)
    assert str(error.value) == message


def test_no_microphone_at_all_is_told(plug: PortAudio) -> None:
    plug._seen = []
    with pytest.raises(CaptureError, match="Plug one in"):
        Microphone()
