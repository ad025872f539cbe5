"""The stream: sound goes in as it is heard, words come out while it is spoken and shortly after each pause.

Feeding never waits for the recogniser, which works in a thread of its own. Settled words come first, in
order, and none is ever left out: when they wait, neighbours are heard together, which takes less time. Words
of an utterance that goes on are looked for only when nothing else waits.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.capture import SAMPLE_RATE_HZ
from pipeline.listening.endpoints import Endpoints, Stretch
from pipeline.listening.hearing import Decodes, Hearing, seconds
from pipeline.listening.model import Load, Said, Speaking
from pipeline.speech import Mending, TermChoice
from pipeline.speech.voice import VoiceDetector

Samples = NDArray[np.float32]
Tell = Callable[[Speaking | Said], None]
"""Called from the recogniser's thread."""

# Neighbours that wait are heard together up to this length.
_TOGETHER_S = 20.0
# So much new sound makes it worth to look for the words so far again, and no more of the time than one part in
# so many is spent on them.
_SPEAKING_EVERY_S = 1.0
_SPEAKING_SHARE = 3


class Listener:
    """Listens to one recording as it grows.

    `terms` are words to listen for, or a function of the text so far that gives them; `mending` is asked about every
    utterance; both are called in the recogniser's thread, as `tell` is, which gets what is said. `start_s` is where in
    the recording the sound begins that will be fed. Feeding is for one thread.
    """

    def __init__(
        self,
        decoder: Decodes,
        *,
        terms: Sequence[str] | TermChoice,
        tell: Tell,
        start_s: float = 0.0,
        mending: Mending | None = None,
    ) -> None:
        begin = round(start_s * SAMPLE_RATE_HZ)
        self._hearing = Hearing(decoder, terms, mending)
        self._tell = tell
        self._voice = VoiceDetector()
        self._endpoints = Endpoints(begin)
        self._tape = _Tape(begin)
        self._tasks = _Tasks()
        self._error: Exception | None = None
        self._worker = threading.Thread(target=self._work, name="recogniser", daemon=True)
        self._worker.start()

    @property
    def load(self) -> Load:
        """How far behind the recogniser is."""
        return self._tasks.load()

    def hear(self, samples: Samples, heard_at: float | None = None) -> None:
        """Take 16 kHz samples between -1 and 1; `heard_at` is when the last was heard (time.monotonic).

        Raises what the recogniser failed with, such as SpeechError: it hears nothing any more.
        """
        if self._error is not None:
            raise self._error
        self._tape.add(samples, time.monotonic() if heard_at is None else heard_at)
        for stretch in self._endpoints.push(self._voice.push(samples)):
            self._take(stretch)
        since = self._endpoints.speaking_since
        if since is not None:
            self._tasks.speaking(since, self._tape)
        self._tape.forget(self._endpoints.settled)

    def interrupt(self) -> None:
        """Let the sound break off here, as when the microphone was gone: what follows is another utterance."""
        stretch = self._endpoints.finish()
        if stretch is not None:
            self._take(stretch)

    def close(self) -> None:
        """End the sound and wait until all of it is settled. Raises what the recogniser failed with."""
        self.interrupt()
        self._tasks.close()
        self._worker.join()
        if self._error is not None:
            raise self._error

    def leave(self) -> None:
        """Stop at once: what waits is not settled, and what is being settled is told yet."""
        self._tasks.leave()

    def _take(self, stretch: Stretch) -> None:
        sound, ended_at = (
            self._tape.cut(stretch.start, stretch.stop),
            self._tape.heard_at(stretch.spoken_until),
        )
        self._tasks.put(_Task(stretch, sound, ended_at))

    def _work(self) -> None:
        guess: tuple[_Task, Said] | None = None
        while True:
            tasks = self._tasks.next()
            if not tasks:
                return
            try:
                if isinstance(tasks, _Ongoing):
                    self._say_so_far(tasks)
                elif not tasks[0].stretch.ended:
                    guess = tasks[0], self._settle(tasks)
                    self._say_guess(guess[1])
                elif guess is not None and len(tasks) == 1 and tasks[0].same_sound(guess[0]):
                    self._say(guess[1], tasks[0])
                else:
                    self._say(self._settle(tasks), tasks[0])
            except Exception as error:  # noqa: BLE001 - raised again in the thread that feeds
                self._error = error
                return
            self._tasks.done()

    def _settle(self, tasks: Sequence[_Task]) -> Said:
        spans = [(task.stretch.start, task.stretch.stop) for task in tasks]
        transcript = self._hearing.settle(
            [task.sound for task in tasks], spans, hurried=self._tasks.load().utterances > 1
        )
        return Said(seconds(spans[0][0]), seconds(spans[-1][1]), transcript)

    def _say(self, said: Said, task: _Task) -> None:
        waited_s = time.monotonic() - task.ended_at
        self._hearing.said(said.transcript.text)
        self._tell(Said(said.start_s, said.until_s, said.transcript, waited_s))

    def _say_guess(self, said: Said) -> None:
        if said.transcript.text:
            self._tell(Speaking(said.transcript.text, said.start_s))

    def _say_so_far(self, ongoing: _Ongoing) -> None:
        text = self._hearing.words_so_far(ongoing.sound)
        if text:
            self._tell(Speaking(text, seconds(ongoing.start)))


@dataclass(frozen=True, eq=False)
class _Task:
    stretch: Stretch
    sound: Samples
    ended_at: float

    def same_sound(self, other: _Task) -> bool:
        return (self.stretch.start, self.stretch.stop) == (other.stretch.start, other.stretch.stop)


@dataclass(frozen=True, eq=False)
class _Ongoing:
    start: int
    sound: Samples


class _Tasks:
    """What the recogniser has to do, the most urgent first."""

    def __init__(self) -> None:
        self._change = threading.Condition()
        self._ended: deque[_Task] = deque()
        self._in_hand: Sequence[_Task] = ()
        self._working = False
        self._paused: _Task | None = None
        self._ongoing: _Ongoing | None = None
        self._looked_at = 0
        self._look_from = 0.0
        self._begun = 0.0
        self._closed = False

    def put(self, task: _Task) -> None:
        with self._change:
            # An utterance that ended or paused takes the place of what was known of it before.
            self._ongoing = None
            if task.stretch.ended:
                self._ended.append(task)
                self._paused = None
            else:
                self._paused = task
            self._change.notify()

    def speaking(self, start: int, tape: _Tape) -> None:
        with self._change:
            new = tape.end - max(start, self._looked_at)
            busy = self._working or self._ended or self._paused or self._ongoing
            if busy or new < _SPEAKING_EVERY_S * SAMPLE_RATE_HZ or time.monotonic() < self._look_from:
                return
            self._looked_at = tape.end
            self._ongoing = _Ongoing(start, tape.cut(start, tape.end))
            self._change.notify()

    def next(self) -> list[_Task] | _Ongoing | None:
        """Wait for work and give the most urgent; None when there is none and there will be none."""
        with self._change:
            while not (self._ended or self._paused or self._ongoing or self._closed):
                self._change.wait()
            self._begun = time.monotonic()
            self._working = True
            if self._ended:
                self._in_hand = self._together()
                return list(self._in_hand)
            paused, self._paused = self._paused, None
            if paused is not None:
                return [paused]
            ongoing, self._ongoing = self._ongoing, None
            return ongoing

    def done(self) -> None:
        with self._change:
            self._in_hand = ()
            self._working = False
            now = time.monotonic()
            self._look_from = now + (_SPEAKING_SHARE - 1) * (now - self._begun)

    def close(self) -> None:
        with self._change:
            self._closed = True
            self._change.notify()

    def leave(self) -> None:
        with self._change:
            self._ended.clear()
            self._paused = self._ongoing = None
            self._closed = True
            self._change.notify()

    def load(self) -> Load:
        with self._change:
            waiting = [*self._in_hand, *self._ended]
            return Load(len(waiting), sum(task.stretch.length_s for task in waiting))

    def _together(self) -> list[_Task]:
        tasks = [self._ended.popleft()]
        length_s = tasks[0].stretch.length_s
        while self._ended and length_s + self._ended[0].stretch.length_s <= _TOGETHER_S:
            tasks.append(self._ended.popleft())
            length_s += tasks[-1].stretch.length_s
        return tasks


class _Tape:
    """The latest sound, addressed by samples of the recording."""

    def __init__(self, start: int) -> None:
        self._pieces: deque[Samples] = deque()
        self._start = start
        self.end = start
        self._end_heard_at = 0.0

    def add(self, samples: Samples, heard_at: float) -> None:
        self._pieces.append(samples)
        self.end += len(samples)
        self._end_heard_at = heard_at

    def cut(self, start: int, stop: int) -> Samples:
        sound = np.concatenate([np.zeros(0, np.float32), *self._pieces])
        return sound[max(0, start - self._start) : stop - self._start]

    def heard_at(self, sample: int) -> float:
        """When a sample was heard, if sound comes at the speed it was made at."""
        return self._end_heard_at - (self.end - sample) / SAMPLE_RATE_HZ

    def forget(self, before: int) -> None:
        """Let go of sound that no utterance will need."""
        while self._pieces and self._start + len(self._pieces[0]) <= before:
            self._start += len(self._pieces.popleft())
