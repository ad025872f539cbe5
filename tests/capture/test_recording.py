"""Sound on the disk while it is heard: killed programs, full disks, damaged files, packing."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
import time
import wave
from datetime import UTC, datetime
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recorded import BLOCK, RATE_HZ, Server, heard, known

from pipeline.capture import CaptureError, FolderContent, Recorder, hold, pack, read_audio, read_folder
from pipeline.capture.journal import Journal, JournalLines, read_journal

KILLS = 50
JOURNAL = "recording.jsonl"


def made(folder: Path, seconds: float = 3.0, rate_hz: int = RATE_HZ, *, end: bool = True) -> Path:
    """Make a recording of known samples in blocks of a tenth of a second."""
    recorder = Recorder(folder, rate_hz=rate_hz, source="numbers")
    total = round(seconds * rate_hz)
    for start in range(0, total, rate_hz // 10):
        recorder.write(known(start, min(rate_hz // 10, total - start)))
    if end:
        recorder.close()
    return folder


def test_what_was_heard_is_read_back_to_the_last_sample(tmp_path: Path) -> None:
    """At the microphone's own rate, over several segments, all of it vouched for."""
    content = read_folder(made(tmp_path / "r", 130.05, 8_000))
    assert np.array_equal(content.pcm, known(0, 1_040_400))
    assert (content.vouched, content.ended, content.faults, content.gaps) == (1_040_400, True, (), ())
    assert len(list((tmp_path / "r").glob("*.wav"))) == 3


def test_segments_are_played_by_others(tmp_path: Path) -> None:
    """Ended segments by Python's own wave module, growing ones by FFmpeg (through PyAV)."""
    folder = made(tmp_path / "r", 61, end=False)
    with wave.open(str(folder / "0001.wav")) as first:
        assert (first.getnframes(), first.getframerate()) == (60 * RATE_HZ, RATE_HZ)
    with av.open(str(folder / "0002.wav")) as growing:
        samples = np.concatenate([frame.to_ndarray()[0] for frame in growing.decode(audio=0)])
    assert np.array_equal(samples, known(60 * RATE_HZ, RATE_HZ))


@pytest.mark.parametrize("rate_hz", [16_000, 44_100, 48_000])
def test_a_folder_is_read_like_a_file(tmp_path: Path, rate_hz: int) -> None:
    recording = read_audio(made(tmp_path / "r", 3.0, rate_hz))
    assert recording.duration_s == pytest.approx(3.0, abs=0.001)
    assert recording.source_rate_hz == rate_hz
    assert recording.warnings == ()


def test_fifty_kills_lose_no_second(tmp_path: Path) -> None:
    """Killed with SIGKILL at any moment: all but the block in hand is there, and as it was heard."""
    moments = np.random.default_rng(50).uniform(0, 0.12, KILLS)
    lost = []
    with Server() as server:
        for number, moment in enumerate(moments):
            folder = tmp_path / str(number)
            server.record(folder)
            time.sleep(moment)
            server.kill()
            content = settled(folder)
            assert np.array_equal(content.pcm, known(0, len(content.pcm)))
            assert not content.ended
            lost.append(heard(folder) - len(content.pcm))
    assert min(lost) >= 0
    assert max(lost) <= BLOCK


def settled(folder: Path) -> FolderContent:
    """Read a recording once its process is gone for good: that lets go of the folder."""
    while True:
        try:
            hold(folder).release()
        except CaptureError:
            time.sleep(0.001)
        else:
            return read_folder(folder)


def test_sound_reaches_the_disk_within_a_second(tmp_path: Path) -> None:
    """What is written is with the system at once, and forced out with its checksum twice a second."""
    recorder = Recorder(tmp_path / "r", rate_hz=RATE_HZ, source="numbers")
    for number in range(25):
        recorder.write(known(number * BLOCK, BLOCK))
        content = read_folder(tmp_path / "r")
        assert len(content.pcm) == (number + 1) * BLOCK
        assert len(content.pcm) - content.vouched < RATE_HZ / 2
    recorder.close()


LIMITED = """
import resource, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from recorded import known
from pipeline.capture import Recorder, RecordingStoppedError
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, resource.RLIM_INFINITY))
recorder = Recorder(Path(sys.argv[1]), rate_hz=16000, source="numbers")
for second in range(8):
    if second == 6:
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    for tenth in range(10):
        try:
            recorder.write(known((second * 10 + tenth) * 1600, 1600))
        except RecordingStoppedError as error:
            print(error)
recorder.close()
"""


def test_a_full_disk_loses_nothing_before_it_and_is_told(tmp_path: Path) -> None:
    """Space for three seconds, then none, then some again: the sound goes on, the hole is in its place.

    The limit is the system's own for the size of a file (setrlimit(2)), which fails a write in its middle.
    """
    folder = tmp_path / "r"
    command = [sys.executable, "-c", LIMITED, str(folder), str(Path(__file__).parent)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    messages = done.stdout.splitlines()
    assert messages[0] == (
        f"There is no space left for the recording in {folder}. What was heard up to 0:03 is kept. "
        "Free space on that disk."
    )
    assert set(messages) == {messages[0]}
    content = read_folder(folder)
    assert len(content.pcm) == 8 * RATE_HZ
    kept = int(3.1 * RATE_HZ)
    assert np.array_equal(content.pcm[:kept], known(0, kept))
    (gap,) = content.gaps
    assert gap.at_s == pytest.approx(3.1, abs=0.1)
    again = round((gap.at_s + gap.lost_s) * RATE_HZ)
    assert np.array_equal(content.pcm[again:], known(again, len(content.pcm) - again))
    assert not content.pcm[kept + BLOCK : again].any()
    assert content.faults == ()
    assert any("wanting" in warning for warning in read_audio(folder).warnings)


def test_a_folder_is_never_written_over(tmp_path: Path) -> None:
    made(tmp_path / "r", 1)
    with pytest.raises(CaptureError, match="not empty"):
        Recorder(tmp_path / "r", rate_hz=RATE_HZ, source="numbers")


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(CaptureError, match="No recording can be made in"):
        Recorder(tmp_path / "file" / "r", rate_hz=RATE_HZ, source="numbers")


def test_a_recording_that_goes_on_is_left_alone(tmp_path: Path) -> None:
    """It can be read at any time; whoever would pack it is refused."""
    recorder = Recorder(tmp_path / "r", rate_hz=RATE_HZ, source="numbers")
    recorder.write(known(0, BLOCK))
    assert len(read_folder(tmp_path / "r").pcm) == BLOCK
    with pytest.raises(CaptureError, match="still going on"):
        hold(tmp_path / "r")
    recorder.close()
    hold(tmp_path / "r").release()


def test_packing_keeps_every_sample_and_takes_less_space(tmp_path: Path, samples: Path) -> None:
    """Real speech: FLAC, read back by PyAV's decoder, has the same samples; the digest is the file's."""
    sound = read_audio(samples / "dog_chatty.flac").pcm[: 20 * RATE_HZ]
    recorder = Recorder(tmp_path / "r", rate_hz=RATE_HZ, source="a sample")
    recorder.write(sound)
    recorder.close()
    size = (tmp_path / "r" / "0001.wav").stat().st_size
    digest = pack(tmp_path / "r")
    flac = tmp_path / "r" / "recording.flac"
    assert digest == hashlib.sha256(flac.read_bytes()).hexdigest()
    assert flac.stat().st_size < 0.7 * size
    assert not list((tmp_path / "r").glob("*.wav"))
    content = read_folder(tmp_path / "r")
    assert np.array_equal(content.pcm, sound)
    assert (content.vouched, content.faults, content.packed) == (len(sound), (), True)
    assert np.array_equal(read_audio(flac).pcm, sound)
    assert pack(tmp_path / "r") == digest


def test_packing_keeps_what_was_wrong_before(tmp_path: Path) -> None:
    """Damage that came before stays visible after."""
    folder = made(tmp_path / "r", 3)
    damage(folder / "0001.wav", 44 + 2 * RATE_HZ + 100)
    before = read_folder(folder)
    pack(folder)
    after = read_folder(folder)
    assert before.faults == after.faults != ()
    assert np.array_equal(before.pcm, after.pcm)


def damage(path: Path, at: int) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 0x10
    path.write_bytes(bytes(data))


def test_a_changed_sample_is_found(tmp_path: Path) -> None:
    """One bit, and the second in which it lies; the rest is still vouched for."""
    folder = made(tmp_path / "r", 5)
    damage(folder / "0001.wav", 44 + 2 * (2 * RATE_HZ + 100))
    content = read_folder(folder)
    assert content.faults == ("The sound from 2.0 s to 2.5 s is not as it was heard: its checksum is wrong.",)
    assert content.vouched == 5 * RATE_HZ - RATE_HZ // 2


def test_a_changed_flac_is_found(tmp_path: Path) -> None:
    folder = made(tmp_path / "r", 5)
    pack(folder)
    damage(folder / "recording.flac", 30)
    assert any("SHA-256 is wrong" in fault for fault in read_folder(folder).faults)


def test_a_lost_segment_is_told(tmp_path: Path) -> None:
    folder = made(tmp_path / "r", 130, 8_000)
    (folder / "0002.wav").unlink()
    content = read_folder(folder)
    assert content.faults[0] == "The segment 0002.wav of the recording is missing."
    assert len(content.pcm) == 130 * 8_000
    assert np.array_equal(content.pcm[120 * 8_000 :], known(120 * 8_000, 80_000))


def test_a_journal_without_its_head_still_leads_to_the_sound(tmp_path: Path) -> None:
    folder = made(tmp_path / "r", 1)
    lines = (folder / JOURNAL).read_text().splitlines()
    (folder / JOURNAL).write_text("\n".join(["garbage", *lines[1:]]))
    with pytest.raises(CaptureError, match=r"Its sound is in the WAV files"):
        read_folder(folder)
    assert read_audio(folder / "0001.wav").duration_s == 1.0


def test_a_gap_of_the_microphone_takes_no_place(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "r", rate_hz=RATE_HZ, source="numbers")
    recorder.write(known(0, RATE_HZ))
    recorder.gap("the microphone was gone", 12.34)
    recorder.write(known(RATE_HZ, RATE_HZ))
    recorder.close()
    content = read_folder(tmp_path / "r")
    assert np.array_equal(content.pcm, known(0, 2 * RATE_HZ))
    assert [(gap.at_s, gap.lost_s, gap.reason) for gap in content.gaps] == [
        (1.0, 12.34, "the microphone was gone")
    ]
    assert read_audio(tmp_path / "r").warnings == ("At 1.0 s 12.3 s are wanting: the microphone was gone.",)


def test_the_start_is_noted_with_its_time(tmp_path: Path) -> None:
    moment = datetime(2026, 3, 2, 9, 15, 0, 120_000, tzinfo=UTC)
    Recorder(tmp_path / "r", rate_hz=RATE_HZ, source="microphone 1", now=lambda: moment).close()
    content = read_folder(tmp_path / "r")
    assert (content.started, content.source) == ("2026-03-02T09:15:00.120+00:00", "microphone 1")
    assert content.duration_s == 0
    with pytest.raises(CaptureError, match="holds no sound"):
        pack(tmp_path / "r")


@settings(max_examples=40, deadline=None)
@given(cut=st.integers(0, 400), noise=st.binary(max_size=12))
def test_a_torn_journal_loses_torn_lines_only(
    tmp_path_factory: pytest.TempPathFactory, cut: int, noise: bytes
) -> None:
    """Cut anywhere and with rubbish behind it: whole lines are read, and new ones stand behind the rubbish."""
    path = tmp_path_factory.mktemp("journal") / "j.jsonl"
    journal = Journal(path)
    lines = [{"number": number, "text": "é\n" * number} for number in range(5)]
    for line in lines:
        journal.add(line)
    journal.close()
    whole = path.read_bytes()[: len(path.read_bytes()) - cut]
    path.write_bytes(whole + noise)
    left = read_journal(path).lines
    assert list(left) == lines[: len(left)]
    assert len(left) >= whole.count(b"\n") - 1
    again = Journal(path)
    again.add({"number": 99})
    again.close()
    assert read_journal(path).lines == (*left, {"number": 99})


def test_a_changed_journal_line_counts_as_damaged(tmp_path: Path) -> None:
    """Valid JSON is not enough."""
    path = tmp_path / "j.jsonl"
    journal = Journal(path)
    journal.add({"first": 1})
    journal.add({"first": 2})
    journal.close()
    path.write_text(path.read_text().replace('"first":1', '"first":7'))
    assert read_journal(path) == JournalLines(({"first": 2},), 1)
    assert json.loads(path.read_text().splitlines()[1])["first"] == 2
