"""Speak the sample dictations again: `NAME.txt` in, `NAME.flac` or `NAME.ogg` out (16 kHz, mono).

For development only; the program never imports this file or its libraries. It needs the packages
`kokoro-onnx`, `av` and `numpy`, and a folder holding `kokoro.onnx` (the speech model) and `voices.bin`
(the voices):

    python audio_samples/make_samples.py VOICES_FOLDER [NAME ...]

The README beside this file says where those two files come from.
"""

from __future__ import annotations

import argparse
import logging
import re
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import av
import numpy as np
from kokoro_onnx import Kokoro  # type: ignore[import-not-found]
from numpy.typing import NDArray

Sound = NDArray[np.float32]

SAMPLES = Path(__file__).parent
SPOKEN_RATE = 24_000  # Hz, what the speech model gives
FILE_RATE = 16_000  # Hz, what a speech recogniser takes
PEAK = 0.7  # of full scale: loud enough, and far from clipping
SENTENCE_PAUSE_S = (0.3, 0.7)
PARAGRAPH_PAUSE_S = (0.9, 1.2)
NOISE_BELOW_SPEECH_DB = 17.0

log = logging.getLogger("make_samples")


@dataclass(frozen=True)
class Style:
    """How one sample is spoken; `speed` is the mean, each sentence strays up to five per cent from it."""

    voice: str
    language: Literal["en-gb", "en-us"] = "en-us"
    speed: float = 1.0
    container: Literal["flac", "ogg"] = "flac"
    noisy: bool = False


STYLES = {
    "cat_senior": Style("af_sky"),
    "cat_terse": Style("am_adam"),
    "dog_chatty": Style("bf_emma", language="en-gb"),
    "dog_corrected": Style("am_liam"),
    "dog_incomplete": Style("am_puck", container="ogg"),
    "dog_noisy": Style("am_onyx", noisy=True),
    "dog_teaching": Style("af_heart"),
    "rabbit_vaccination": Style("af_jessica"),
}


def speak(model: Any, text: str, style: Style, rng: np.random.Generator) -> Sound:
    """Speak sentence by sentence, with pauses and small changes of speed drawn from `rng`."""
    parts: list[Sound] = []
    for paragraph in text.strip().splitlines():
        for sentence in re.split(r"(?<=[.?!])\s+", paragraph):
            speed = style.speed * rng.uniform(0.95, 1.05)
            sound, _ = model.create(sentence, voice=style.voice, speed=speed, lang=style.language)
            parts += [sound, _silence(rng.uniform(*SENTENCE_PAUSE_S))]
        parts[-1] = _silence(rng.uniform(*PARAGRAPH_PAUSE_S))
    spoken = np.concatenate([_silence(0.4), *parts])
    return _to_peak(spoken)


def clinic_noise(samples: int, rng: np.random.Generator) -> Sound:
    """Generate a busy back room: air conditioning, metal clinks, barks, a panting dog. Mean square 1."""
    time = np.arange(samples) / SPOKEN_RATE
    fan = _band(samples, 60, 500, rng) * (1 + 0.2 * np.sin(2 * np.pi * 0.1 * time))
    breaths = np.clip(np.sin(2 * np.pi * 3.4 * time), 0, None) ** 2
    panting = _band(samples, 900, 3500, rng) * breaths * (np.sin(2 * np.pi * 0.04 * time) > 0)
    noise = fan + 0.6 * panting
    for start in _moments(samples, 5.0, rng):
        _add(noise, start, 2.0 * _clink(rng))
    for start in _moments(samples, 7.0, rng):
        _add(noise, start, 4.0 * _bark(rng))
    return np.asarray(noise / np.sqrt(np.mean(noise**2)), dtype=np.float32)


def mix(speech: Sound, noise: Sound, below_db: float) -> Sound:
    """Add noise whose power lies `below_db` under that of the speech, pauses left out; peak at `PEAK`."""
    loud = speech[np.abs(speech) > 0.01]
    mixed = speech + noise * np.sqrt(np.mean(loud**2)) * 10 ** (-below_db / 20)
    return _to_peak(mixed)


def write(sound: Sound, path: Path) -> None:
    """Write 16 kHz mono: FLAC with 16 bit, or Opus at 32 kbit/s for a path that ends in `.ogg`."""
    opus = path.suffix == ".ogg"
    frame = av.AudioFrame.from_ndarray(sound[np.newaxis, :], format="fltp", layout="mono")
    frame.sample_rate = SPOKEN_RATE
    with av.open(str(path), "w") as file:
        stream = file.add_stream("libopus" if opus else "flac", rate=FILE_RATE)
        stream.layout = "mono"
        stream.format = "flt" if opus else "s16"
        if opus:
            stream.bit_rate = 32_000
        resampler = av.AudioResampler(stream.format, "mono", FILE_RATE, frame_size=stream.frame_size)
        for piece in [*resampler.resample(frame), *resampler.resample(None)]:
            file.mux(stream.encode(piece))
        file.mux(stream.encode(None))


def _to_peak(sound: NDArray[np.floating[Any]]) -> Sound:
    return np.asarray(sound * (PEAK / np.abs(sound).max()), dtype=np.float32)


def _silence(seconds: float) -> Sound:
    return np.zeros(int(seconds * SPOKEN_RATE), dtype=np.float32)


def _band(samples: int, low_hz: float, high_hz: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Draw white noise between two frequencies, standard deviation 1."""
    spectrum = np.fft.rfft(rng.standard_normal(samples))
    frequency = np.fft.rfftfreq(samples, 1 / SPOKEN_RATE)
    spectrum[(frequency < low_hz) | (frequency > high_hz)] = 0
    noise = np.fft.irfft(spectrum, samples)
    return np.asarray(noise / noise.std(), dtype=np.float64)


def _clink(rng: np.random.Generator) -> NDArray[np.float64]:
    """Strike a bowl with an instrument: a few partials without harmony, dying away."""
    time = np.arange(int(0.4 * SPOKEN_RATE)) / SPOKEN_RATE
    partials = rng.uniform(2200, 6500, 4)
    rings = [np.sin(2 * np.pi * f * time) * np.exp(-time * f / 250) for f in partials]
    return np.asarray(np.sum(rings, axis=0), dtype=np.float64)


def _bark(rng: np.random.Generator) -> NDArray[np.float64]:
    """Bark once: a rough harmonic burst of about 0.2 s whose pitch rises and falls."""
    length = int(rng.uniform(0.15, 0.25) * SPOKEN_RATE)
    arch = np.sin(np.pi * np.arange(length) / length)
    phase = 2 * np.pi * np.cumsum(rng.uniform(350, 500) * (1 + 0.5 * arch)) / SPOKEN_RATE
    harmonics = np.sum([np.sin(n * phase) / n for n in range(1, 9)], axis=0)
    return np.asarray(arch * (harmonics + 0.5 * _band(length, 400, 4000, rng)), dtype=np.float64)


def _moments(samples: int, every_s: float, rng: np.random.Generator) -> list[int]:
    """Sample numbers of random events, on average one every `every_s` seconds."""
    count = int(samples / SPOKEN_RATE / every_s)
    return sorted(int(start) for start in rng.uniform(0, samples, count))


def _add(noise: NDArray[np.float64], start: int, event: NDArray[np.float64]) -> None:
    end = min(start + len(event), len(noise))
    noise[start:end] += event[: end - start]


def main() -> None:
    """Remake the named samples, or all of them."""
    parser = argparse.ArgumentParser(description="Speak the sample dictations again.")
    parser.add_argument("voices", type=Path, help="folder with kokoro.onnx and voices.bin")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(STYLES)}; default: all")
    arguments = parser.parse_args()
    unknown = set(arguments.names) - set(STYLES)
    if unknown:
        parser.error(f"no such sample: {', '.join(sorted(unknown))}. There are: {', '.join(STYLES)}")
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    model = Kokoro(str(arguments.voices / "kokoro.onnx"), str(arguments.voices / "voices.bin"))
    for name in arguments.names or STYLES:
        style = STYLES[name]
        # The name is the seed: every run draws the same pauses, speeds and noises.
        rng = np.random.default_rng(zlib.crc32(name.encode()))
        sound = speak(model, (SAMPLES / f"{name}.txt").read_text(encoding="utf-8"), style, rng)
        if style.noisy:
            sound = mix(sound, clinic_noise(len(sound), rng), NOISE_BELOW_SPEECH_DB)
        write(sound, SAMPLES / f"{name}.{style.container}")
        log.info("%s.%s: %.1f s", name, style.container, len(sound) / SPOKEN_RATE)


if __name__ == "__main__":
    main()
