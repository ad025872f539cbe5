"""Where there is speech, and which stretches of it the recogniser gets to hear at once.

Left to cut a long recording itself, Whisper cuts through words and sentences, and loses or doubles what stands
there. So windows are cut here, in pauses; long pauses are left out altogether.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.capture import SAMPLE_RATE_HZ, Recording
from pipeline.speech.heard import Heard, HeardWord

WINDOW_S = 12.0
# The voice detector works through the recording in pieces of about this length, to bound memory.
_PIECE_S = 300.0
# A piece ends in the quietest moment of its last seconds.
_PIECE_END_SEARCH_S = 20.0
_QUIET_S = 0.1


@dataclass(frozen=True)
class Span:
    """A stretch of speech with a little room around it: indices of samples, `stop` exclusive."""

    start: int
    stop: int

    @property
    def length(self) -> int:
        """Number of samples."""
        return self.stop - self.start


@dataclass(frozen=True)
class Window:
    """Spans that are recognised together, in order."""

    spans: tuple[Span, ...]

    @property
    def end_s(self) -> float:
        """End of the last span, seconds from the start of the recording."""
        return self.spans[-1].stop / SAMPLE_RATE_HZ

    @property
    def spans_s(self) -> list[tuple[float, float]]:
        """Starts and ends of the spans, seconds from the start of the recording."""
        return [(span.start / SAMPLE_RATE_HZ, span.stop / SAMPLE_RATE_HZ) for span in self.spans]

    @property
    def length_s(self) -> float:
        """Seconds of sound in it."""
        return sum(span.length for span in self.spans) / SAMPLE_RATE_HZ

    def halves(self) -> tuple[Window, ...]:
        """Split it between spans, as near to the middle as may be; one span stays whole."""
        if len(self.spans) == 1:
            return (self,)
        half_s = self.length_s / 2
        sizes = [Window(self.spans[:count]).length_s for count in range(1, len(self.spans))]
        cut = 1 + min(range(len(sizes)), key=lambda index: abs(sizes[index] - half_s))
        return Window(self.spans[:cut]), Window(self.spans[cut:])

    def sound(self, recording: Recording) -> NDArray[np.float32]:
        """Join the spans' samples."""
        return np.concatenate([recording.stretch(span.start, span.stop) for span in self.spans])

    def in_recording(self, heard: Heard) -> Heard:
        """Move times counted in the joined samples to where those samples lie in the recording."""
        return replace(heard, words=tuple(self._word_in_recording(word) for word in heard.words))

    def _word_in_recording(self, word: HeardWord) -> HeardWord:
        span, shift_s = self._span_at((word.start_s + word.end_s) / 2)
        first_s, last_s = span.start / SAMPLE_RATE_HZ, span.stop / SAMPLE_RATE_HZ
        return replace(
            word,
            start_s=min(max(word.start_s + shift_s, first_s), last_s),
            end_s=min(max(word.end_s + shift_s, first_s), last_s),
        )

    def _span_at(self, moment_s: float) -> tuple[Span, float]:
        """Which span a moment of the joined samples is in, and how far it moves."""
        passed = 0
        for span in self.spans:
            if moment_s * SAMPLE_RATE_HZ < passed + span.length or span is self.spans[-1]:
                break
            passed += span.length
        return span, (span.start - passed) / SAMPLE_RATE_HZ


def speech_spans(recording: Recording) -> Iterator[Span]:
    """Yield the stretches with speech, in order, none longer than a window (Silero voice detector)."""
    # Late, because this import takes about a second.
    from faster_whisper.vad import VadOptions, get_speech_timestamps  # noqa: PLC0415

    options = VadOptions(
        min_speech_duration_ms=96,
        max_speech_duration_s=WINDOW_S,
        min_silence_duration_ms=300,
        speech_pad_ms=250,
    )
    for start, stop in _pieces(recording):
        for stamp in get_speech_timestamps(recording.stretch(start, stop), options):
            yield Span(start + stamp["start"], start + stamp["end"])


def windows(spans: Iterator[Span]) -> Iterator[Window]:
    """Gather spans into windows; a full window ends at the longest pause in its second half."""
    limit = int(WINDOW_S * SAMPLE_RATE_HZ)
    waiting: list[Span] = []
    for span in spans:
        while waiting and sum(one.length for one in waiting) + span.length > limit:
            cut = _cut(waiting, span)
            yield Window(tuple(waiting[:cut]))
            waiting = waiting[cut:]
        waiting.append(span)
    if waiting:
        yield Window(tuple(waiting))


def _cut(waiting: list[Span], following: Span) -> int:
    """How many spans the window gets."""
    half = sum(span.length for span in waiting) / 2
    best, best_pause, filled = len(waiting), -1, 0
    for count, span in enumerate(waiting, start=1):
        filled += span.length
        after = waiting[count] if count < len(waiting) else following
        pause = after.start - span.stop
        if filled >= half and pause >= best_pause:
            best, best_pause = count, pause
    return best


def _pieces(recording: Recording) -> Iterator[tuple[int, int]]:
    total = len(recording.pcm)
    start = 0
    while start < total:
        stop = start + int(_PIECE_S * SAMPLE_RATE_HZ)
        stop = total if stop >= total else _quietest(recording, stop)
        yield start, stop
        start = stop


def _quietest(recording: Recording, stop: int) -> int:
    """Middle of the quietest moment in the seconds before `stop`."""
    moment = int(_QUIET_S * SAMPLE_RATE_HZ)
    count = int(_PIECE_END_SEARCH_S / _QUIET_S)
    first = stop - count * moment
    energy = np.square(recording.stretch(first, stop)).reshape(count, moment).sum(axis=1)
    return first + int(energy.argmin()) * moment + moment // 2
