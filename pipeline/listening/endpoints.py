"""Where utterances begin and end, told while they are spoken."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.capture import SAMPLE_RATE_HZ
from pipeline.speech.voice import FRAME

# Silero's own usual bounds: speech begins above the first, and goes on until it falls below the second.
_SPEECH_FROM = 0.5
_SPEECH_DOWN_TO = 0.35

# An utterance ends with a pause of this length. Measured with base on two dictations (one noisy): word errors
# 0.133 and 0.113 when cut at every 0.4 s, 0.123 and 0.102 uncut.
_END_S = 0.5
# After this much silence the words are looked for already; mostly the pause goes on and they are there early.
_GUESS_S = 0.25
# So much silence may become a pause: the recogniser is then kept free for the words up to it.
_BREATH_S = 0.1
# Longer ones end in a shorter pause, since the longer they get the longer their words take.
_LONG_S = 8.0
_LONG_END_S = 0.25
# And these without one, where speech is least likely.
_LONGEST_S = 16.0
_CUT_IN_LAST_S = 6.0

_ROOM_S = 0.25
_SHORTEST_FRAMES = 3


@dataclass(frozen=True)
class Stretch:
    """A piece of the recording with speech in it: indices of samples, `stop` exclusive.

    `ended` tells an utterance that is over from one that may go on after its pause. `spoken_until` is where
    speech was last heard; after it there is only the room that the recogniser needs.
    """

    start: int
    stop: int
    spoken_until: int
    ended: bool

    @property
    def length_s(self) -> float:
        """Length in seconds."""
        return (self.stop - self.start) / SAMPLE_RATE_HZ


class Endpoints:
    """Follows the probabilities of speech, frame by frame.

    `position` is the index of the first sample of the stream.
    """

    def __init__(self, position: int = 0) -> None:
        self._position = position
        self._settled = position
        self._start: int | None = None
        self._spoken_until = position
        self._spoken_frames = 0
        self._guessed = False
        self._latest: deque[float] = deque(maxlen=_frames(_CUT_IN_LAST_S))

    @property
    def speaking_since(self) -> int | None:
        """Where the utterance that goes on begins; None in silence, and in what may become a pause."""
        in_pause = self._position - self._spoken_until >= _samples(_BREATH_S)
        return None if in_pause else self._start

    @property
    def settled(self) -> int:
        """Sound before this sample is not needed any more."""
        if self._start is not None:
            return self._start
        return max(self._settled, self._position - _samples(_ROOM_S) - FRAME)

    def push(self, probabilities: NDArray[np.float32]) -> list[Stretch]:
        """Take the probabilities of the next frames; give the stretches that ended or came to a pause."""
        found = [self._frame(float(probability)) for probability in probabilities]
        return [stretch for stretch in found if stretch is not None]

    def finish(self) -> Stretch | None:
        """End the utterance that goes on, because the sound does."""
        stretch = self._end(min(self._spoken_until + _samples(_ROOM_S), self._position))
        self._settled = self._position
        return stretch

    def _frame(self, probability: float) -> Stretch | None:
        self._position += FRAME
        self._latest.append(probability)
        if probability >= (_SPEECH_FROM if self._start is None else _SPEECH_DOWN_TO):
            return self._speech()
        if self._start is None:
            return None
        pause_s = (self._position - self._spoken_until) / SAMPLE_RATE_HZ
        long = self._spoken_until - self._start >= _samples(_LONG_S)
        if pause_s >= (_LONG_END_S if long else _END_S):
            return self._end(self._spoken_until + _samples(_ROOM_S))
        if pause_s >= _GUESS_S and not self._guessed and self._spoken_frames >= _SHORTEST_FRAMES:
            self._guessed = True
            return self._stretch(self._spoken_until + _samples(_ROOM_S), ended=False)
        return None

    def _speech(self) -> Stretch | None:
        if self._start is None:
            self._start = max(self._position - FRAME - _samples(_ROOM_S), self._settled)
            self._spoken_frames = 0
            self._latest.clear()
        self._spoken_until = self._position
        self._spoken_frames += 1
        self._guessed = False
        return self._cut() if self._position - self._start >= _samples(_LONGEST_S) else None

    def _cut(self) -> Stretch | None:
        """End an utterance without a pause; the rest of it is the next one."""
        latest = list(self._latest)
        least = min(range(len(latest)), key=latest.__getitem__)
        after = len(latest) - 1 - least
        cut = self._position - after * FRAME - FRAME // 2
        stretch = self._end(cut)
        self._start, self._spoken_frames, self._spoken_until = cut, after, self._position
        return stretch

    def _end(self, stop: int) -> Stretch | None:
        if self._start is None:
            return None
        stretch = self._stretch(stop, ended=True) if self._spoken_frames >= _SHORTEST_FRAMES else None
        self._settled = stop if stretch is not None else self._settled
        self._start = None
        return stretch

    def _stretch(self, stop: int, *, ended: bool) -> Stretch:
        start = self._settled if self._start is None else self._start
        return Stretch(start, stop, min(self._spoken_until, stop), ended)


def _samples(seconds: float) -> int:
    return round(seconds * SAMPLE_RATE_HZ)


def _frames(seconds: float) -> int:
    return round(seconds * SAMPLE_RATE_HZ / FRAME)
