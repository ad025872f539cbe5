"""Sound files of every kind, whole and broken."""

from __future__ import annotations

import os
import subprocess
import sys
import wave
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray
from sounds import Kind, tone, write_sound

from pipeline.capture import SAMPLE_RATE_HZ, CaptureError, Recording, read_audio

ROOT = Path(__file__).parents[2]
CHANNELS = {"mono": 1, "stereo": 2, "5.1": 6}

KINDS = {
    "telephone wav": Kind(".wav", "pcm_s16le", 8_000),
    "u8 wav": Kind(".wav", "pcm_u8", 11_025, sample_format="u8"),
    "16 kHz wav": Kind(".wav", "pcm_s16le", 16_000),
    "CD wav": Kind(".wav", "pcm_s16le", 44_100, "stereo"),
    "24-bit wav": Kind(".wav", "pcm_s24le", 96_000, "stereo", "s32"),
    "float wav, six channels": Kind(".wav", "pcm_f32le", 48_000, "5.1", "flt"),
    "double wav": Kind(".wav", "pcm_f64le", 48_000, "mono", "dbl"),
    "flac": Kind(".flac", "flac", 96_000, "stereo", "s32"),
    "mp3": Kind(".mp3", "mp3", 44_100, "stereo", "fltp"),
    "m4a": Kind(".m4a", "aac", 48_000, "stereo", "fltp"),
    "bare aac": Kind(".aac", "aac", 32_000, "mono", "fltp"),
    "ogg opus": Kind(".ogg", "libopus", 48_000, "mono", "flt"),
    "webm": Kind(".webm", "libopus", 48_000, "stereo", "flt"),
}
# What a browser or a recorder leaves when it is cut off: the beginning is there, the end is not.
CUT_KINDS = ("CD wav", "flac", "mp3", "webm", "ogg opus")


def make(path: Path, kind: Kind, seconds: float = 3.0, frequency_hz: float = 440.0) -> Path:
    one = tone(frequency_hz, seconds, kind.rate_hz)
    return write_sound(path.with_suffix(kind.suffix), kind, np.tile(one, (CHANNELS[kind.layout], 1)))


def strongest_hz(samples: NDArray[np.float32]) -> float:
    spectrum = np.abs(np.fft.rfft(samples))
    return float(np.fft.rfftfreq(len(samples), 1 / SAMPLE_RATE_HZ)[spectrum.argmax()])


def level_db(samples: NDArray[np.float32]) -> float:
    middle = samples[SAMPLE_RATE_HZ // 2 : -SAMPLE_RATE_HZ // 2].astype(np.float64)
    return float(20 * np.log10(np.sqrt(np.mean(middle**2)) + 1e-9))


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_every_kind_gives_the_same_tone(tmp_path: Path, kind: Kind) -> None:
    """Pitch, length and level survive container, codec, rate and channels; nothing is called damaged."""
    recording = read_audio(make(tmp_path / "tone", kind))
    assert strongest_hz(recording.samples) == pytest.approx(440, abs=1)
    assert recording.duration_s == pytest.approx(3.0, abs=0.1)
    assert recording.rms_dbfs == pytest.approx(-9.0, abs=1.0)
    assert recording.source_rate_hz == kind.rate_hz
    assert recording.channels == CHANNELS[kind.layout]
    assert recording.warnings == ()
    assert recording.pcm.dtype == np.int16
    assert recording.samples.dtype == np.float32


def test_sixteen_bit_sound_at_the_right_rate_comes_through_unchanged(tmp_path: Path) -> None:
    """No resampling, no dither, not one sample different."""
    pcm = np.random.default_rng(1).integers(-32_768, 32_768, SAMPLE_RATE_HZ, dtype=np.int16)
    with wave.open(str(tmp_path / "exact.wav"), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(SAMPLE_RATE_HZ)
        file.writeframes(pcm.tobytes())
    assert np.array_equal(read_audio(tmp_path / "exact.wav").pcm, pcm)


@pytest.mark.parametrize("frequency_hz", [9_500, 12_000, 20_000])
def test_resampling_lets_nothing_fold_back(tmp_path: Path, frequency_hz: float) -> None:
    """What 16 kHz cannot hold (above 8 kHz, Nyquist) is gone, not turned into a lower tone."""
    kind = Kind(".wav", "pcm_f32le", 48_000, "mono", "flt")
    assert level_db(read_audio(make(tmp_path / "high", kind, frequency_hz=frequency_hz)).samples) < -60


def test_resampling_keeps_the_speech_band(tmp_path: Path) -> None:
    """A tone of 7 kHz has lost less than one decibel."""
    kind = Kind(".wav", "pcm_f32le", 48_000, "mono", "flt")
    recording = read_audio(make(tmp_path / "s", kind, frequency_hz=7_000))
    assert level_db(recording.samples) == pytest.approx(-9.03, abs=1.0)


@pytest.mark.parametrize("channels", [3, 16])
def test_channels_without_a_named_layout_are_averaged(tmp_path: Path, channels: int) -> None:
    """Odd microphone arrays are read like everything else."""
    frames = np.repeat((tone(440, 2, 44_100) * 32_767).astype("<i2")[:, None], channels, axis=1)
    with wave.open(str(tmp_path / "array.wav"), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(2)
        file.setframerate(44_100)
        file.writeframes(frames.tobytes())
    recording = read_audio(tmp_path / "array.wav")
    assert recording.channels == channels
    assert recording.rms_dbfs == pytest.approx(-9.0, abs=0.5)


@pytest.mark.parametrize("name", CUT_KINDS)
def test_file_cut_short_gives_what_there_is_and_says_so(tmp_path: Path, name: str) -> None:
    """Half of the bytes: about half of the sound, and a warning."""
    path = make(tmp_path / "whole", KINDS[name], seconds=20)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    recording = read_audio(path)
    assert recording.duration_s == pytest.approx(10, abs=1.5)
    assert strongest_hz(recording.samples) == pytest.approx(440, abs=1)
    assert any(warning.startswith("The file ends early: ") for warning in recording.warnings)


def test_file_damaged_in_the_middle_is_read_around_the_damage(tmp_path: Path) -> None:
    """A stretch of rubbish costs that stretch and earns a warning."""
    path = make(tmp_path / "whole", KINDS["m4a"], seconds=20)
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 3000] = np.random.default_rng(1).bytes(3000)
    path.write_bytes(data)
    recording = read_audio(path)
    assert recording.duration_s > 15
    assert any("damaged" in warning for warning in recording.warnings)


def test_wav_written_to_a_pipe_is_not_called_short(tmp_path: Path) -> None:
    """Its header holds the greatest number instead of a length."""
    path = make(tmp_path / "piped", KINDS["16 kHz wav"])
    data = bytearray(path.read_bytes())
    data[4:8] = b"\xff\xff\xff\xff"
    path.write_bytes(data)
    assert read_audio(path).warnings == ()


def test_samples_that_are_not_numbers_become_silence(tmp_path: Path) -> None:
    """NaN and infinity in a float file neither crash nor crackle."""
    one = tone(440, 2, 48_000)[None].copy()
    one[0, 1000:2000] = np.nan
    one[0, 5000] = np.inf
    recording = read_audio(
        write_sound(tmp_path / "nan.wav", KINDS["float wav, six channels"], one.repeat(6, 0))
    )
    assert recording.peak_dbfs < -5
    assert recording.warnings == ("The file is damaged: samples that are no numbers, read as silence: 6006.",)


def test_video_gives_its_sound(tmp_path: Path) -> None:
    """A film with a sound track is as good as a sound file."""
    path = tmp_path / "film.mp4"
    with av.open(str(path), "w") as container:
        picture = container.add_stream("mpeg4", rate=5)
        picture.width = picture.height = 64
        picture.pix_fmt = "yuv420p"
        sound = container.add_stream("aac", rate=48_000, layout="mono")
        for _ in range(5):
            frame = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), format="rgb24")
            container.mux(picture.encode(frame))
        block = av.AudioFrame.from_ndarray(
            tone(440, 1, 48_000)[None].astype(np.float32), format="fltp", layout="mono"
        )
        block.sample_rate = 48_000
        container.mux(sound.encode(block))
        container.mux(picture.encode(None))
        container.mux(sound.encode(None))
    assert strongest_hz(read_audio(path).samples) == pytest.approx(440, abs=2)


def test_video_without_sound_is_refused(tmp_path: Path) -> None:
    """There is nothing to hear in it."""
    path = tmp_path / "silent.mp4"
    with av.open(str(path), "w") as container:
        picture = container.add_stream("mpeg4", rate=5)
        picture.width = picture.height = 64
        picture.pix_fmt = "yuv420p"
        frame = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), format="rgb24")
        container.mux(picture.encode(frame))
        container.mux(picture.encode(None))
    with pytest.raises(CaptureError, match=r"silent\.mp4 has no sound track\. Give a file with sound\.$"):
        read_audio(path)


NOT_SOUND = {
    "text.wav": b"The patient is bright.\n" * 200,
    "text.mp3": b"The patient is bright.\n" * 200,
    "rubbish.wav": np.random.default_rng(2).bytes(50_000),
    "rubbish.aac": np.random.default_rng(2).bytes(50_000),
    # A playlist would make the decoder follow an address: over the network, or to another file.
    "list.m3u8": b"#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,\nhttp://192.0.2.1/x.ts\n#EXT-X-ENDLIST\n",
    "list.wav": b"ffconcat version 1.0\nfile 'other.wav'\n",
}


@pytest.mark.parametrize("name", NOT_SOUND)
def test_what_is_no_sound_is_refused_in_one_line(tmp_path: Path, name: str) -> None:
    """The line names the file and says what to give instead."""
    (tmp_path / name).write_bytes(NOT_SOUND[name])
    with pytest.raises(CaptureError) as caught:
        read_audio(tmp_path / name)
    assert name in str(caught.value)
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith(".")


def test_missing_file_folder_and_empty_file_are_told_apart(tmp_path: Path) -> None:
    """Each has its own repair."""
    (tmp_path / "empty.wav").touch()
    with pytest.raises(CaptureError, match=r"There is no file .*nothing\.wav"):
        read_audio(tmp_path / "nothing.wav")
    with pytest.raises(CaptureError, match="is a folder"):
        read_audio(tmp_path)
    with pytest.raises(CaptureError, match="is empty"):
        read_audio(tmp_path / "empty.wav")
    with pytest.raises(CaptureError, match="no ordinary file"):
        read_audio("/dev/null")


def test_unreadable_file_is_a_question_of_permission(tmp_path: Path) -> None:
    """Read as a user who may not."""
    path = make(tmp_path / "secret", KINDS["16 kHz wav"])
    path.chmod(0)
    if os.geteuid() != 0:
        with pytest.raises(CaptureError, match="may not be read by this user"):
            read_audio(path)
        return
    code = (
        "import os, sys; from pipeline.capture import *; os.setuid(65534)\n"
        "try: read_audio(sys.argv[1])\n"
        "except CaptureError as error: print(error)"
    )
    for folder in (tmp_path, *tmp_path.parents[:2]):
        folder.chmod(0o755)
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert "may not be read by this user" in done.stdout, done.stderr


def test_too_long_a_file_is_refused(tmp_path: Path) -> None:
    """Whether its length is stated in front or only found out on the way."""
    for name in ("flac", "bare aac"):
        with pytest.raises(CaptureError, match="is longer than"):
            read_audio(make(tmp_path / "long", KINDS[name], seconds=5), max_duration_s=4)


def test_silence_is_silent_and_a_whisper_is_not() -> None:
    """Silence is a level, not zeros: the hiss of a muted microphone counts as silent."""
    hiss = np.random.default_rng(3).standard_normal(SAMPLE_RATE_HZ) * 1e-4
    assert Recording.from_samples(np.zeros(SAMPLE_RATE_HZ)).is_silent
    assert Recording.from_samples(hiss).is_silent
    assert Recording.from_samples(np.zeros(0)).is_silent
    assert not Recording.from_samples(hiss * 100).is_silent


def test_levels_of_a_full_scale_sine() -> None:
    """Peak 0 dBFS and root mean square -3.01 dBFS, as 20·log10(1/√2) gives."""
    recording = Recording.from_samples(tone(440, 1, SAMPLE_RATE_HZ, amplitude=1.0))
    assert recording.peak_dbfs == pytest.approx(0, abs=0.01)
    assert recording.rms_dbfs == pytest.approx(-3.01, abs=0.01)


def test_samples_dictation_reads(samples: Path) -> None:
    """A spoken sample, as it is shipped."""
    recording = read_audio(samples / "dog_chatty.flac")
    assert (recording.source_rate_hz, recording.channels, recording.codec) == (SAMPLE_RATE_HZ, 1, "flac")
    assert recording.warnings == ()
    assert not recording.is_silent
