"""The decoder: stretches of sound, each in a window of its own length, become words with times and doubts.

Whisper was made for windows of 30 s, and the usual way pads every utterance to that length. Its encoder takes
shorter windows too, and costs less the shorter they are. What that puts at risk is met here: a little silence
behind each stretch tells the model where it ends, the number of tokens is bounded by the seconds of sound, and
what still looks wrong (`needs_second_look`) is heard again in a full window.
"""

from __future__ import annotations

import logging
import math
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models import Progress, locate_model
from pipeline.capture import SAMPLE_RATE_HZ
from pipeline.speech.guards import needs_second_look
from pipeline.speech.heard import Heard, HeardWord
from pipeline.speech.options import SpeechError, SpeechOptions

Samples = NDArray[np.float32]
"""Mono sound at 16 kHz, full scale from -1 to 1."""

LONGEST_S = 29.0
"""Most seconds of sound that one window takes."""

TERM_TOKENS = 220
"""Most tokens that the list of terms may take: Whisper's prompt holds 223."""

# Silence behind the sound, for the model to see that speech has ended.
_TAIL_S = 1.0
# In windows below 8 s the words of single utterances fell apart: word error rates 0.55 without a least length,
# 0.25 from 5 s on, 0.13 from 8 s on and no better from 10 s (base, cat_senior cut at every pause of 0.4 s).
_SHORTEST_S = 8.0
_FULL_S = 30.0
# Quick speech full of trade words has 6 tokens a second; a looping model goes on to the end of its memory.
_TOKENS_PER_SECOND = 8
_TOKENS_AT_LEAST = 12
_TOKENS_AT_MOST = 220

_WEIGHED_AT_ONCE = 16
_LEAST_PROBABILITY = 1e-10

_FRAMES_PER_SECOND = 100
# The encoder halves the frames.
_FRAME_STEP = 2
# Common practice, no source: a spoken word lasts about a third of a second.
_USUAL_WORD_S = 0.3

_BATCH = {"cpu": 4, "cuda": 16}
_MOST_CPU_THREADS = 4

_OPENING = "\"'“¿([{-"
_CLOSING = "\"'.,!?:”)]}"


@dataclass(frozen=True)
class _Manner:
    """How a batch is listened to."""

    prompt: str
    beam_size: int
    full_window: bool = False
    no_repeat_ngram_size: int = 0


class Decoder:
    """A loaded speech model that turns short stretches of sound into words.

    Loading takes a second or so and holds the weights until the object goes; make one and keep it. Not for
    several threads at once. `allow_download` and `model_progress` are handed to `models.locate_model`.

    Raises models.ModelError when the model cannot be had, SpeechError when it cannot be loaded.
    """

    def __init__(
        self,
        options: SpeechOptions | None = None,
        *,
        allow_download: bool = False,
        model_progress: Progress | None = None,
    ) -> None:
        self.options = options or SpeechOptions()
        folder = locate_model(self.options.model, allow_download=allow_download, progress=model_progress)
        self._model, self.device = _load(folder, self.options)
        if not self._model.model.is_multilingual and self.options.language != "en":
            raise SpeechError(
                f"The speech model {self.options.model} knows English only, not {self.options.language}. "
                "Choose a multilingual model, or the language en."
            )
        self._tokenizer, self._suppressed = _tokenizer(self._model, self.options.language)
        self._batch = _BATCH[self.device]

    def decode(
        self,
        sounds: Sequence[Samples],
        *,
        terms: Sequence[str] = (),
        beam_size: int | None = None,
        look_again: bool = True,
    ) -> list[Heard | None]:
        """Recognise each sound by itself; times count from its start, None where no words were heard.

        `terms` are words to listen for, most important first, as far as they fit (`fit_terms`). `beam_size`
        is the options' own unless given. Without `look_again` nothing is heard twice: quicker, for words
        that will be heard again anyway. A sound may last up to `LONGEST_S`.

        Raises SpeechError when the model fails, as when a GPU runs out of memory.
        """
        found: list[Heard | None] = [None] * len(sounds)
        for index, heard in self.decode_in_batches(
            sounds, terms=terms, beam_size=beam_size, look_again=look_again
        ):
            found[index] = heard
        return found

    def decode_in_batches(
        self,
        sounds: Sequence[Samples],
        *,
        terms: Sequence[str] = (),
        beam_size: int | None = None,
        look_again: bool = True,
    ) -> Iterator[tuple[int, Heard | None]]:
        """As `decode`, giving the index of each sound with what was heard as soon as its batch is done.

        Sounds of like length share a batch, so the order is not that of `sounds`.
        """
        manner = _Manner(", ".join(self.fit_terms(terms)), beam_size or self.options.beam_size)
        order = sorted(range(len(sounds)), key=lambda index: len(sounds[index]))
        with self._failing_plainly():
            for first in range(0, len(order), self._batch):
                indices = order[first : first + self._batch]
                batch = [sounds[index] for index in indices]
                for index, sound, (heard, cut_off) in zip(
                    indices, batch, self._hear(batch, manner), strict=True
                ):
                    if look_again and needs_second_look(heard, cut_off=cut_off):
                        yield index, self._hear_again(sound, heard, manner)
                    else:
                        yield index, heard

    def weigh(self, sound: Samples, texts: Sequence[str], terms: Sequence[str] = ()) -> list[float]:
        """Tell how likely each text is over one sound, with a few words in mind: the natural logarithm of its probability.

        All are weighed in one pass of the model, far quicker than they could be recognised. Raises SpeechError as `decode` does.
        """
        if not texts:
            return []
        prompt = ", ".join(self.fit_terms(terms))
        start = self._model.get_prompt(
            self._tokenizer, previous_tokens=[], without_timestamps=True, hotwords=prompt or None
        )
        tokens = [self._tokenizer.encode(f" {text}") for text in texts]
        frames = math.ceil(len(sound) / SAMPLE_RATE_HZ * _FRAMES_PER_SECOND)
        weights: list[float] = []
        with self._failing_plainly():
            encoded = self._model.encode(self._features([sound], full=False))
            for first in range(0, len(tokens), _WEIGHED_AT_ONCE):
                batch = tokens[first : first + _WEIGHED_AT_ONCE]
                aligned = self._model.model.align(
                    _times(encoded, len(batch)), start, batch, [frames] * len(batch)
                )
                weights += [
                    float(np.log(np.maximum(one.text_token_probs, _LEAST_PROBABILITY)).sum())
                    for one in aligned
                ]
        return weights

    def plain(self, sound: Samples) -> str:
        """Recognise with the library's own way and its defaults, for comparison: any length, no guards."""
        segments, _ = self._model.transcribe(sound)
        return " ".join(segment.text.strip() for segment in segments)

    def fit_terms(self, terms: Sequence[str]) -> tuple[str, ...]:
        """Return the terms that fit the model's prompt, in their order, each once."""
        fitting: dict[str, str] = {}
        used = 0
        for term in terms:
            clean = " ".join(term.split())
            if not clean or clean.casefold() in fitting:
                continue
            # The comma counts too; a term that is too long gives its place to shorter ones behind it.
            cost = len(self._model.hf_tokenizer.encode(f" {clean},", add_special_tokens=False).ids)
            if used + cost <= TERM_TOKENS:
                fitting[clean.casefold()] = clean
                used += cost
        return tuple(fitting.values())

    def _hear_again(self, sound: Samples, first: Heard | None, manner: _Manner) -> Heard | None:
        """Listen in the full window the model was made for, and keep the surer of the two readings."""
        second, cut_off = self._hear(
            [sound], _Manner(manner.prompt, manner.beam_size, full_window=True, no_repeat_ngram_size=4)
        )[0]
        if second is None or first is None:
            return second or first
        return first if cut_off and first.avg_logprob >= second.avg_logprob else second

    def _hear(self, sounds: Sequence[Samples], manner: _Manner) -> list[tuple[Heard | None, bool]]:
        """Decode a batch once; the second value of each pair tells that the tokens ran to their bound."""
        encoded, results, limit = self._generate(sounds, manner)
        frames = [math.ceil(len(sound) / SAMPLE_RATE_HZ * _FRAMES_PER_SECOND) for sound in sounds]
        texts = [result.sequences_ids[0] for result in results]
        words = self._words(encoded, texts, frames)
        return [
            (_to_heard(words_here, result), len(tokens) >= limit)
            for words_here, result, tokens in zip(words, results, texts, strict=True)
        ]

    def _generate(self, sounds: Sequence[Samples], manner: _Manner) -> tuple[Any, Any, int]:
        """Give the encoded sounds, the readings of each, and the bound that was set to their tokens."""
        start = self._model.get_prompt(
            self._tokenizer, previous_tokens=[], without_timestamps=True, hotwords=manner.prompt or None
        )
        longest_s = max(len(sound) for sound in sounds) / SAMPLE_RATE_HZ
        limit = min(_TOKENS_AT_LEAST + int(longest_s * _TOKENS_PER_SECOND), _TOKENS_AT_MOST)
        encoded = self._model.encode(self._features(sounds, full=manner.full_window))
        results = self._model.model.generate(
            encoded,
            [start] * len(sounds),
            beam_size=manner.beam_size,
            # CTranslate2 generates at most half of `max_length`, and no more than it leaves behind the prompt.
            max_length=max(2 * limit, len(start) + limit),
            return_scores=True,
            return_no_speech_prob=True,
            suppress_tokens=self._suppressed,
            no_repeat_ngram_size=manner.no_repeat_ngram_size,
        )
        return encoded, results, limit

    def _features(self, sounds: Sequence[Samples], *, full: bool) -> NDArray[np.float32]:
        """Spectrograms padded to one length."""
        longest_s = max(len(sound) for sound in sounds) / SAMPLE_RATE_HZ
        window_s = _FULL_S if full else min(max(longest_s, _SHORTEST_S - _TAIL_S) + _TAIL_S, _FULL_S)
        samples = math.ceil(window_s * _FRAMES_PER_SECOND / _FRAME_STEP) * _FRAME_STEP * 160
        made = [
            self._model.feature_extractor(np.pad(sound, (0, samples - len(sound))), padding=0)
            for sound in sounds
        ]
        return np.stack([one[:, : samples // 160] for one in made]).astype(np.float32)

    @contextmanager
    def _failing_plainly(self) -> Iterator[None]:
        try:
            yield
        except (RuntimeError, MemoryError) as error:
            raise SpeechError(
                f"The speech model {self.options.model} failed: {error}. "
                "Try the device cpu, or a smaller model."
            ) from None

    def _words(self, encoded: Any, texts: list[list[int]], frames: list[int]) -> list[list[HeardWord]]:
        """Place the words of each text in time, from where the model's attention lay."""
        found: list[list[HeardWord]] = [[] for _ in texts]
        spoken = [index for index, tokens in enumerate(texts) if tokens]
        if not spoken:
            return found
        aligned = self._model.find_alignment(self._tokenizer, texts, encoded, frames)
        for index in spoken:
            found[index] = _merge_marks(aligned[index])
        return found


def _merge_marks(pieces: Sequence[dict[str, Any]]) -> list[HeardWord]:
    """Join punctuation to the words it belongs to; neither its time nor its probability counts.

    The model spends pauses on the marks, so without them a pause stands between the words. What is still
    drawn out at the start of a sentence is shortened to twice the median word.
    """
    words: list[HeardWord] = []
    opening = ""
    usual_s = float(np.median([piece["end"] - piece["start"] for piece in pieces])) if pieces else 0.0
    for piece in pieces:
        text = str(piece["word"])
        bare = text.strip()
        if text.startswith(" ") and bare and bare in _OPENING:
            opening += text
            continue
        if words and bare and bare in _CLOSING and not text.startswith(" "):
            words[-1] = replace(words[-1], text=words[-1].text + text)
            continue
        start_s, end_s = float(piece["start"]), float(piece["end"])
        if not words or words[-1].text.endswith((".", "?", "!")):
            start_s = max(start_s, end_s - 2 * max(usual_s, _USUAL_WORD_S))
        text = opening + text.lstrip() if opening else text
        words.append(HeardWord(text, start_s, end_s, float(piece["probability"])))
        opening = ""
    return words


def _to_heard(words: list[HeardWord], result: Any) -> Heard | None:
    if not words:
        return None
    count = len(result.sequences_ids[0])
    # The score is the mean over the tokens without the end mark, which has its share in the sum.
    return Heard(tuple(words), float(result.scores[0]) * count / (count + 1), float(result.no_speech_prob))


def _times(encoded: Any, count: int) -> Any:
    """One encoded sound, so many times; the model takes it to its own device."""
    from ctranslate2 import Device, StorageView  # noqa: PLC0415

    one = np.asarray(encoded.to_device(Device.cpu))
    return StorageView.from_array(np.ascontiguousarray(np.repeat(one, count, axis=0)))


def _load(folder: Path, options: SpeechOptions) -> tuple[Any, str]:
    """Give the loaded model and the device it is on."""
    # Late, because these imports take about a second that only recognition should pay for.
    import ctranslate2  # noqa: PLC0415
    from faster_whisper import WhisperModel  # noqa: PLC0415

    ctranslate2.set_log_level(logging.ERROR)
    logging.getLogger("faster_whisper").setLevel(logging.ERROR)
    device, compute_type = _device(options, ctranslate2.get_cuda_device_count())
    try:
        model = WhisperModel(
            str(folder),
            device=device,
            compute_type=compute_type,
            cpu_threads=options.cpu_threads or min(_MOST_CPU_THREADS, os.cpu_count() or 1),
            local_files_only=True,
        )
    except (RuntimeError, ValueError, OSError) as error:
        raise SpeechError(
            f"The speech model in {folder} cannot be loaded on {device} as {compute_type}: "
            f"{error}. Try the device cpu with compute type auto, or another model."
        ) from None
    return model, device


def _device(options: SpeechOptions, gpus: int) -> tuple[str, str]:
    """Choose device and number format."""
    if options.device == "cuda" and not gpus:
        raise SpeechError("No GPU can be used on this machine. Choose the device cpu or auto.")
    device = "cuda" if gpus and options.device != "cpu" else "cpu"
    usual = "float16" if device == "cuda" else "int8"
    return device, usual if options.compute_type == "auto" else options.compute_type


def _tokenizer(model: Any, language: str) -> tuple[Any, list[int]]:
    """Give the model's tokenizer and the tokens that are no speech."""
    from faster_whisper.tokenizer import Tokenizer  # noqa: PLC0415
    from faster_whisper.transcribe import get_suppressed_tokens  # noqa: PLC0415

    tokenizer = Tokenizer(
        model.hf_tokenizer, model.model.is_multilingual, task="transcribe", language=language
    )
    return tokenizer, list(get_suppressed_tokens(tokenizer, [-1]))
