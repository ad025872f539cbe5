"""Consulting rooms as they sound: dictations with panting, barking, clippers, another talker, and echo.

All sounds are invented: made by numpy from a seed, the other talker from another sample dictation. Run as a
program it hears samples in all of these rooms and prints how well, or listens to minutes without speech:

    python tests/listening/rooms.py [--samples cat_terse,dog_noisy] [--model base]
    python tests/listening/rooms.py --nothing 10 [--model base]
"""

# ruff: noqa: T201 - it prints tables

from __future__ import annotations

import argparse
import re
import sys
import time
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.append(str(Path(__file__).parents[1] / "speech"))

import jiwer
import noises

from lexicon.bias import load_bias
from pipeline import exam as chain
from pipeline.capture import SAMPLE_RATE_HZ, read_audio
from pipeline.capture.levels import AutomaticGain, LevelMeter
from pipeline.extraction import extract
from pipeline.listening import Listener, Said
from pipeline.settings import load_settings
from pipeline.speech import Decoder, Transcript
from pipeline.speech.joining import join

Sound = NDArray[np.floating]
SAMPLES = Path(__file__).parents[2] / "audio_samples"
BLOCK = SAMPLE_RATE_HZ // 10
SIGNAL_TO_NOISE_DB = (20, 10, 5)
DECAY_S = (0.3, 0.6, 0.9)


def barking(seconds: float, seed: int) -> Sound:
    """Barks of a fifth of a second in bouts: harmonics of a falling tone with a rough edge."""
    chance = np.random.default_rng(seed)
    sound = np.zeros(round(seconds * SAMPLE_RATE_HZ))
    times = np.arange(round(0.2 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    at = 0.0
    while at < seconds - 0.3:
        pitch_hz = chance.uniform(300, 500) * np.exp(-2 * times)
        phase = 2 * np.pi * np.cumsum(pitch_hz) / SAMPLE_RATE_HZ
        bark = sum(np.sin(number * phase) / number for number in range(1, 9))
        bark = bark * np.exp(-12 * times) * (1 + 0.5 * chance.standard_normal(len(times)))
        start = round(at * SAMPLE_RATE_HZ)
        sound[start : start + len(bark)] += bark
        at += chance.choice([0.35, 0.5, 2.5], p=[0.5, 0.3, 0.2])
    return sound


def clippers(seconds: float, seed: int) -> Sound:
    """A motor of 120 strokes a second with its harmonics, and the hiss of the blades."""
    times = np.arange(round(seconds * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    hum = sum(np.sin(2 * np.pi * 120 * number * times) / number for number in range(1, 30))
    return np.asarray(hum + 2 * noises.white(seconds, seed))


def music(seconds: float, seed: int) -> Sound:
    """Chords of plucked tones, two a second."""
    chance = np.random.default_rng(seed)
    sound = np.zeros(round(seconds * SAMPLE_RATE_HZ))
    times = np.arange(round(1.0 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    for start in range(0, len(sound) - len(times), SAMPLE_RATE_HZ // 2):
        for step in chance.choice(24, 3, replace=False):
            tone_hz = 220 * 2 ** (step / 12)
            tone = sum(np.sin(2 * np.pi * tone_hz * n * times) / n**2 for n in (1, 2, 3))
            sound[start : start + len(times)] += 0.1 * tone * np.exp(-4 * times)
    return sound


def talker(seconds: float, seed: int) -> Sound:
    """Somebody else who dictates, again and again."""
    names = ("rabbit_vaccination", "dog_teaching")
    speech = read_audio(SAMPLES / f"{names[seed % len(names)]}.flac").samples
    return np.resize(speech, round(seconds * SAMPLE_RATE_HZ))


def echoing(sound: Sound, decay_s: float, seed: int) -> Sound:
    """Sound in a bare room: noise that falls by 60 dB in `decay_s` as impulse response, direct sound first."""
    count = round(decay_s * SAMPLE_RATE_HZ)
    times = np.arange(count) / SAMPLE_RATE_HZ
    response = 0.05 * np.random.default_rng(seed).standard_normal(count) * 10 ** (-3 * times / decay_s)
    response[0] = 1.0
    size = 1 << (len(sound) + count - 1).bit_length()
    wet = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(response, size), size)[: len(sound)]
    return np.asarray(wet * np.abs(sound).max() / np.abs(wet).max())


def mixed(speech: Sound, noise: Sound, signal_to_noise_db: float) -> Sound:
    """Both together; the level of the speech is that of its louder half, the rest being pauses."""
    powers = np.square(speech[: len(speech) // BLOCK * BLOCK]).reshape(-1, BLOCK).mean(axis=1)
    speech_power = powers[powers >= np.median(powers)].mean()
    gain = np.sqrt(speech_power / np.mean(np.square(noise)) / 10 ** (signal_to_noise_db / 10))
    both = speech + gain * noise[: len(speech)]
    return np.asarray(both / max(1.0, np.abs(both).max()))


NOISES: dict[str, Callable[[float, int], Sound]] = {
    "panting": noises.panting,
    "barking": barking,
    "clippers": clippers,
    "second talker": talker,
}

# Sounds in which nobody speaks.
NOTHING: dict[str, Callable[[float, int], Sound]] = {
    **noises.ALL,
    "barking": lambda seconds, seed: 0.2 * barking(seconds, seed),
    "clippers": lambda seconds, seed: 0.05 * clippers(seconds, seed),
    "music": music,
}


def rooms(speech: Sound) -> Iterable[tuple[str, Sound]]:
    """The same dictation in every room."""
    yield "as recorded", speech
    yield "30 dB quieter", np.rint(speech * 10 ** (-30 / 20) * 32_768) / 32_768
    yield "50 dB quieter", np.rint(speech * 10 ** (-50 / 20) * 32_768) / 32_768
    for name, make in NOISES.items():
        noise = make(len(speech) / SAMPLE_RATE_HZ + 0.1, 1)
        for level_db in SIGNAL_TO_NOISE_DB:
            yield f"{name}, {level_db} dB", mixed(speech, noise, level_db)
    for decay_s in DECAY_S:
        yield f"echo, {decay_s} s", echoing(speech, decay_s, 1)


def listen(decoder: Decoder, sound: Sound, *, gain: bool = True) -> Transcript:
    """Hear a sound as live listening does, without waiting for real time, one utterance at a time."""
    said: list[Said] = []
    listener = Listener(
        decoder,
        terms=partial(chain.terms_for, None, None),
        mending=chain.MENDING,
        tell=lambda event: said.append(event) if isinstance(event, Said) else None,
    )
    meter, automatic = LevelMeter(), AutomaticGain()
    for start in range(0, len(sound), BLOCK):
        samples = np.asarray(sound[start : start + BLOCK], np.float32)
        levels = meter.push(samples)
        listener.hear(automatic.apply(samples, levels) if gain else samples)
        while listener.load.utterances:
            time.sleep(0.005)
    listener.close()
    return join(((0.0, one.transcript) for one in said), duration_s=len(sound) / SAMPLE_RATE_HZ)


def plain(text: str) -> str:
    return " ".join(re.findall(r"[a-z0-9']+", text.lower()))


def trade_words(text: str) -> set[str]:
    words = f" {plain(text)} "
    return {row.term for row in load_bias() if f" {plain(row.term)} " in words}


def findings(text: str) -> set[tuple[str, str, str]]:
    """What the rules make of a text: system, concept, assertion."""
    statements = extract(Transcript.from_text(text))
    return {
        (one.system, one.concept, str(one.assertion)) for one in statements.findings if not one.superseded
    }


def compare(names: list[str], decoder: Decoder) -> None:
    print("| room | word errors | trade words | findings right | superfluous |")
    print("| --- | --- | --- | --- | --- |")
    told: dict[str, list[tuple[float, ...]]] = {}
    for name in names:
        sound = next(SAMPLES.glob(f"{name}.[fo][lg]*"))
        spoken = (SAMPLES / f"{name}.txt").read_text(encoding="utf-8")
        trade, facts = trade_words(spoken), findings(spoken)
        for room, there in rooms(read_audio(sound).samples):
            heard = listen(decoder, there).text
            got = findings(heard)
            figures = (jiwer.wer(plain(spoken), plain(heard)), len(trade & trade_words(heard)) / len(trade))
            told.setdefault(room, []).append(
                (*figures, len(facts & got) / len(facts), len(got - facts) / max(1, len(got)))
            )
            if len(told[room]) == len(names):
                mean = np.mean(told[room], axis=0)
                print(
                    f"| {room} | {mean[0]:.3f} | "
                    + " | ".join(f"{100 * one:.0f} %" for one in mean[1:])
                    + " |",
                    flush=True,
                )


def hear_nothing(minutes: float, decoder: Decoder) -> None:
    print("| sound | minutes | words | findings | values | left out, with a reason |")
    print("| --- | --- | --- | --- | --- | --- |")
    for name, make in NOTHING.items():
        heard = listen(decoder, make(60 * minutes, 5))
        statements = extract(heard)
        counts = (
            len(heard.words),
            len(statements.findings),
            len(statements.measurements),
            len(heard.dropped),
        )
        print(f"| {name} | {minutes:g} | " + " | ".join(map(str, counts)) + " |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description="How well Rostral hears in consulting rooms.")
    parser.add_argument("--samples", default="cat_terse", help="sample dictations, with commas")
    parser.add_argument("--model", default="base")
    parser.add_argument("--nothing", type=float, metavar="MINUTES", help="listen to sounds without speech")
    chosen = parser.parse_args()
    decoder = chain.make_recogniser(load_settings(model=chosen.model)).decoder
    if chosen.nothing:
        hear_nothing(chosen.nothing, decoder)
    else:
        compare(chosen.samples.split(","), decoder)


if __name__ == "__main__":
    main()
