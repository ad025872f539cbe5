"""The recogniser: a recording in, a transcript out."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from models import Progress, locate_model
from pipeline.capture import SAMPLE_RATE_HZ, Recording
from pipeline.speech.assemble import assemble
from pipeline.speech.guards import judge
from pipeline.speech.heard import Heard, HeardWord, split_at_pauses
from pipeline.speech.model import Dropped, Transcript
from pipeline.speech.options import SpeechError, SpeechOptions
from pipeline.speech.windows import Window, speech_spans, windows

SpeechProgress = Callable[[float, float], None]
"""Called with seconds of the recording done and seconds in all."""

TERM_TOKENS = 220
"""Most tokens that the list of terms may take: Whisper's prompt holds 223."""

# Speech has about 4 tokens a second, with time marks 5; a looping model goes on to the end of its memory.
_TOKENS_PER_SECOND = 8
_TOKENS_AT_LEAST = 24
_TOKENS_AT_MOST = 220

_MOST_CPU_THREADS = 4


@dataclass(frozen=True)
class _Device:
    name: str
    compute_type: str


class Recogniser:
    """A loaded speech model.

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
        self._model = _load(folder, self.options)
        if not self._model.model.is_multilingual and self.options.language != "en":
            raise SpeechError(
                f"The speech model {self.options.model} knows English only, not {self.options.language}. "
                "Choose a multilingual model, or the language en."
            )

    def transcribe(
        self, recording: Recording, *, terms: Sequence[str] = (), progress: SpeechProgress | None = None
    ) -> Transcript:
        """Write down what is said in a recording.

        `terms` are words to listen for, most important first; what does not fit the model's prompt is left
        out (`fit_terms` tells which). Silence and noise give an empty text. The same recording, terms and
        options give the same transcript on the same machine.

        Raises SpeechError when the model fails, as when a GPU runs out of memory.
        """
        prompt = ", ".join(self.fit_terms(terms))
        kept: list[Heard] = []
        dropped: list[Dropped] = []
        try:
            for window in windows(speech_spans(recording)):
                kept_here, dropped_here = self._hear_window(recording, window, prompt)
                kept += kept_here
                dropped += dropped_here
                if progress is not None:
                    progress(window.end_s, recording.duration_s)
        except (RuntimeError, MemoryError) as error:
            raise SpeechError(
                f"The speech model {self.options.model} failed: {error}. "
                "Try the device cpu, or a smaller model."
            ) from None
        if progress is not None:
            progress(recording.duration_s, recording.duration_s)
        return assemble(
            kept,
            dropped,
            language=self.options.language,
            model=Path(self.options.model).name,
            duration_s=recording.duration_s,
        )

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

    def _hear_window(
        self, recording: Recording, window: Window, prompt: str
    ) -> tuple[list[Heard], list[Dropped]]:
        """Recognise a window; where the guards object, listen again in another way before giving up words.

        The second hearing takes the window in halves, without the list of terms, and forbids repeating four
        tokens in a row: so words swallowed at the end of a window come back, and loops lose their usual
        causes. It stands only when the guards have nothing at all against it.
        """
        kept, dropped = judge(self._hear(recording, window, prompt), window.spans_s, prompt)
        if dropped:
            again = [
                judge(self._hear(recording, half, "", no_repeat_ngram_size=4), half.spans_s)
                for half in window.halves()
            ]
            if not any(objections for _, objections in again):
                return [one for kept_in_half, _ in again for one in kept_in_half], []
        return kept, dropped

    def _hear(
        self, recording: Recording, window: Window, prompt: str, *, no_repeat_ngram_size: int = 0
    ) -> list[Heard]:
        from faster_whisper import BatchedInferencePipeline  # noqa: PLC0415
        from faster_whisper.transcribe import restore_speech_timestamps  # noqa: PLC0415

        limit = _TOKENS_AT_LEAST + int(window.length_s * _TOKENS_PER_SECOND)
        # The batched way, although one window at a time: it decodes a window in one go. The plain way goes
        # back to where it believes the last word ended and decodes the rest again, which doubles and swallows
        # words. A new pipeline each time, since it carries the last word's time from one window to the next.
        segments, _ = BatchedInferencePipeline(self._model).transcribe(
            window.sound(recording),
            clip_timestamps=[{"start": 0.0, "end": window.length_s}],
            batch_size=1,
            language=self.options.language,
            beam_size=self.options.beam_size,
            temperature=0.0,
            condition_on_previous_text=False,
            word_timestamps=True,
            # With time marks, the text behind the last mark would be thrown away.
            without_timestamps=True,
            max_new_tokens=min(limit, _TOKENS_AT_MOST),
            hotwords=prompt or None,
            no_repeat_ngram_size=no_repeat_ngram_size,
        )
        chunks = [{"start": span.start, "end": span.stop} for span in window.spans]
        found = _to_heard(restore_speech_timestamps(segments, chunks, SAMPLE_RATE_HZ))
        return [part for one in found for part in split_at_pauses(one)]


def _to_heard(segments: Iterable[Any]) -> list[Heard]:
    return [
        Heard(
            words=tuple(
                HeardWord(
                    text=str(word.word),
                    start_s=float(word.start),
                    end_s=float(word.end),
                    probability=float(word.probability),
                )
                for word in segment.words
            ),
            avg_logprob=float(segment.avg_logprob),
            no_speech_prob=float(segment.no_speech_prob),
        )
        for segment in segments
        if segment.words
    ]


def _load(folder: Path, options: SpeechOptions) -> Any:
    # Late, because these imports take about a second that only recognition should pay for.
    import ctranslate2  # noqa: PLC0415
    from faster_whisper import WhisperModel  # noqa: PLC0415

    ctranslate2.set_log_level(logging.ERROR)
    logging.getLogger("faster_whisper").setLevel(logging.ERROR)
    device = _device(options, ctranslate2.get_cuda_device_count())
    try:
        return WhisperModel(
            str(folder),
            device=device.name,
            compute_type=device.compute_type,
            cpu_threads=options.cpu_threads or min(_MOST_CPU_THREADS, os.cpu_count() or 1),
            local_files_only=True,
        )
    except (RuntimeError, ValueError, OSError) as error:
        raise SpeechError(
            f"The speech model in {folder} cannot be loaded on {device.name} as {device.compute_type}: "
            f"{error}. Try the device cpu with compute type auto, or another model."
        ) from None


def _device(options: SpeechOptions, gpus: int) -> _Device:
    if options.device == "cuda" and not gpus:
        raise SpeechError("No GPU can be used on this machine. Choose the device cpu or auto.")
    name = "cuda" if gpus and options.device != "cpu" else "cpu"
    usual = "float16" if name == "cuda" else "int8"
    return _Device(name, usual if options.compute_type == "auto" else options.compute_type)
