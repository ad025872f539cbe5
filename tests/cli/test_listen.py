"""Live listening as a command: rehearsed from files, killed, continued, ended by voice."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import time
import wave
from pathlib import Path

import numpy as np
import pytest
from commands import ROOT, SAMPLES, Process, Run
from numpy.typing import NDArray
from rich.console import Console

from lexicon import load_lexicon
from lexicon.closing import closes, load_closing
from pipeline import exam as chain
from pipeline.capture import SAMPLE_RATE_HZ, read_audio, read_folder
from pipeline.capture.levels import Levels
from pipeline.cli import listening
from pipeline.cli.live_view import Live, State, screen
from pipeline.cli.page import ASCII
from pipeline.listening import Load, Said, Speaking
from pipeline.record import Visit
from pipeline.speech import Dropped, Transcript

PATIENT = SAMPLES / "cat_terse.patient.json"


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fifteen seconds of a dictation."""
    pcm = read_audio(SAMPLES / "cat_terse.flac").pcm[: 15 * SAMPLE_RATE_HZ]
    return write(tmp_path_factory.mktemp("spoken") / "exam.wav", pcm)


def write(path: Path, pcm: NDArray[np.int16]) -> Path:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(SAMPLE_RATE_HZ)
        file.writeframes(pcm.tobytes())
    return path


def facts(text: bytes | str) -> tuple[object, ...]:
    record = json.loads(text)
    return record["findings"], record["measurements"], record["systems"], record["visit"], record["patient"]


def test_a_rehearsal_gives_a_record_and_keeps_the_sound(
    process: Process, spoken: Path, tmp_path: Path
) -> None:
    """The record on standard output, the sound as FLAC; the folder gives the same record again."""
    folder = tmp_path / "r"
    live = process(
        *("listen", "--from", spoken, "--speed", 8, "--to", folder, "--model", "tiny.en", "--json"),
        *("--patient", PATIENT, "--visit", "pre_anaesthetic", "--date", "2026-03-02"),
    )
    assert live.returncode == 0, live.stderr
    assert np.array_equal(read_folder(folder).pcm, read_audio(spoken).pcm)
    assert (folder / "recording.flac").exists()
    assert b"SHA-256" in live.stderr
    again = process("exam", folder, "--model", "tiny.en", "--json")
    assert again.returncode == 0, again.stderr
    assert facts(live.stdout) == facts(again.stdout)
    assert json.loads(again.stdout)["measurements"]
    assert json.loads(again.stdout)["visit"] == {"kind": "pre_anaesthetic", "on": "2026-03-02"}


def test_a_killed_examination_goes_on_from_its_folder(process: Process, tmp_path: Path) -> None:
    """Killed in the middle: exam finishes what was heard, says that it was not ended, and packs the sound as listen does."""
    folder = tmp_path / "r"
    command = [sys.executable, "-m", "pipeline.cli", "listen", "--from", str(SAMPLES / "cat_terse.flac")]
    options = ["--speed", "3", "--to", str(folder), "--model", "tiny.en", "--patient", str(PATIENT)]
    with subprocess.Popen([*command, *options], cwd=ROOT, env=os.environ, stderr=subprocess.PIPE) as live:
        words = folder / "words.jsonl"
        while not words.exists() or words.read_bytes().count(b"\n") < 2:
            assert live.poll() is None, live.communicate()
            time.sleep(0.02)
        live.kill()
    heard = read_folder(folder)
    heard_s = heard.duration_s
    done = process("exam", folder, "--model", "tiny.en", "--json")
    assert done.returncode == 0, done.stderr
    assert b"was not ended" in done.stderr
    packed = read_folder(folder)
    assert packed.packed
    assert np.array_equal(packed.pcm, heard.pcm)
    assert b"SHA-256" in done.stderr
    record = json.loads(done.stdout)
    assert record["patient"]["name"] == "Juniper"
    assert record["transcript"]["duration_s"] == pytest.approx(heard_s, abs=0.01)
    times = [word["start_s"] for one in record["transcript"]["utterances"] for word in one["words"]]
    assert times == sorted(times)


def test_without_a_microphone_one_line_says_what_to_do(process: Process) -> None:
    """Either PortAudio is missing, then its package is named, or there is no microphone of that name."""
    done = process("listen", "--microphone", "no microphone has this name", "--model", "tiny.en")
    assert done.returncode == 1
    assert done.stdout == b""
    (line,) = done.stderr.decode().splitlines()
    assert "libportaudio2" in line or "microphone" in line
    assert "Traceback" not in line


UNPLUGGED = """
import signal, sys, threading, time
from pathlib import Path
sys.path[:0] = sys.argv[1:2]
from portaudio import PortAudio
audio = sys.modules["sounddevice"] = PortAudio("Desk")
from pipeline.capture import read_audio
from pipeline.cli import app
pcm = read_audio(Path(sys.argv[2])).pcm
folder = Path(sys.argv[3])

def examine():
    audio.stream_of("Desk").speak(pcm[: 8 * 16_000])
    audio.unplug("Desk")
    while audio.looks < 2:
        time.sleep(0.01)
    audio.plugged.append("Desk")
    audio.stream_of("Desk").speak(pcm[8 * 16_000 : 15 * 16_000])
    signal.raise_signal(signal.SIGINT)

threading.Thread(target=examine, daemon=True).start()
app(["listen", "--to", str(folder), "--model", "tiny.en", "--json"])
"""


def test_a_microphone_pulled_out_in_mid_exam_is_told_in_a_line_and_goes_on(tmp_path: Path) -> None:
    """One line when it is gone and one for what is wanting; the sound before and after is kept, the record is of all of it."""
    sound, folder = SAMPLES / "cat_terse.flac", tmp_path / "r"
    command = [sys.executable, "-c", UNPLUGGED, str(ROOT / "tests" / "capture"), str(sound), str(folder)]
    done = subprocess.run(command, capture_output=True, check=False, cwd=ROOT, env=os.environ)
    lines = done.stderr.decode().splitlines()
    assert done.returncode == 0, lines
    (gone,) = [line for line in lines if "gives no sound" in line]
    assert gone.startswith("note: The microphone Desk gives no sound; plug it in again")
    (wanting,) = [line for line in lines if "was gone" in line]
    assert wanting.startswith("note: At 8 s the microphone was gone for ")
    assert "Traceback" not in done.stderr.decode()
    assert np.array_equal(read_folder(folder).pcm, read_audio(sound).pcm[: 15 * SAMPLE_RATE_HZ])
    spoken = [one["start_s"] for one in json.loads(done.stdout)["transcript"]["utterances"]]
    assert min(spoken) < 8 < max(spoken)


def test_a_folder_of_the_same_second_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As when the clock is set back: the next recording gets a name of its own."""
    monkeypatch.setattr(listening, "user_data_path", lambda *_, **__: tmp_path)
    made = set()
    for _ in range(3):
        folder = listening._new_folder()
        assert not folder.exists()
        folder.mkdir(parents=True)
        made.add(folder)
    assert len(made) == 3


def test_options_that_exclude_each_other(run: Run, spoken: Path) -> None:
    result = run("listen", "--from", spoken, "--microphone", "1")
    assert result.exit_code == 2
    assert "not both" in result.stderr


def test_a_folder_that_is_not_empty_is_refused(process: Process, spoken: Path) -> None:
    done = process("listen", "--from", spoken, "--to", SAMPLES, "--model", "tiny.en")
    assert done.returncode == 2
    assert b"is not empty" in done.stderr


@pytest.mark.parametrize(
    "said",
    [
        "End of examination.",
        "Heart and lungs are clear. End of exam.",
        "Okay, that's the end of the examination.",
        "end of examination",
        "No lameness. And that concludes the exam!",
    ],
)
def test_the_examination_can_be_ended_by_voice(said: str) -> None:
    assert closes(said)


@pytest.mark.parametrize(
    "said",
    [
        "At the end of the examination I will weigh him.",
        "End of examination room two is the scale.",
        "Scratch that.",
        "The examination is not complete.",
        "",
    ],
)
def test_talk_of_the_end_does_not_end_it(said: str) -> None:
    assert not closes(said)


def test_every_closing_phrase_closes() -> None:
    for row in load_closing():
        assert closes(row.example)
        assert all(closes(f"{term}.") for term in row.terms)


def shown(live: Live, state: State, width: int = 80, height: int = 40) -> str:
    console = Console(width=width, record=True, file=io.StringIO())
    console.print(screen(live, state, load_lexicon(), width, height, ASCII))
    return console.export_text()


def test_the_screen_shows_what_matters_now() -> None:
    """Words so far, what is missing still, what was dropped and why, the queue, and what is wrong."""
    transcript = Transcript.from_text("Left ear red.").model_copy(
        update={"dropped": (Dropped(text="thank you", start_s=62, end_s=63, reason="hardly recognisable"),)}
    )
    live = Live(chain.understand(transcript, None, Visit(kind="health_check")))
    live.take(Said(1.0, 3.0, transcript, 0.8))
    live.take(Speaking("the right one is", 4.0))
    trouble = "There is no space left for the recording."
    text = shown(live, State(75.0, Levels(-20, -9, -18, -55, "clipping"), Load(2, 7.5), trouble, False))
    for part in (
        "LISTENING 1:15",
        "2 waiting, 8 s of sound",
        trouble,
        "TOO LOUD",
        "Left ear red.",
        "the right one is",
        'not believed: 1:02 "thank you" (hardly recognisable)',
        "STILL MISSING",
        "abdomen",
        "ABNORMAL",
    ):
        assert part in text, part
    assert "Patient not given" in [line.strip() for line in text.splitlines()]


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 50), (72, 10)])
def test_the_screen_fits_the_window(width: int, height: int) -> None:
    transcript = Transcript.from_text((SAMPLES / "cat_senior.txt").read_text(encoding="utf-8"))
    live = Live(chain.understand(transcript, None, Visit(kind="senior")))
    for number in range(6):
        live.take(Said(number, number + 1, transcript, 0.5))
    text = shown(live, State(75.0, Levels(), Load(0, 0), "", False), width, height)
    assert len(text.splitlines()) <= max(height, 12)
