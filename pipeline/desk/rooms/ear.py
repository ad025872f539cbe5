"""Hears a stream from its recording on the disk: as it is made, or what a program that ended did not come to.

It reads no further ahead than the recogniser can follow. What waits, waits on the disk.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from pipeline.capture import Follower, Resampler
from pipeline.capture.levels import AutomaticGain, LevelMeter, Levels
from pipeline.capture.model import to_floats
from pipeline.desk.rooms.stream import Stream
from pipeline.listening import Listener, Load, Said, SavedWords, Speaking, read_words
from pipeline.listening.hearing import Decodes
from pipeline.speech import Mending, TermChoice, Transcript
from pipeline.speech.joining import join

_BLOCK_S = 0.1
_LOOK_EVERY_S = 0.25
# More sound than this is not taken from the disk while it waits for the recogniser.
_AHEAD_S = 40.0
# Of what was settled before, the last is shown again.
_TOLD_AGAIN = 3


class Ear:
    """Listens to one stream, from `begin` on, in a thread of its own; `tell` is called there and in the recogniser's.

    `levels`, `trouble` (empty when all is well) and `settled` (whether all sound up to its end was heard) may be read from
    any thread.
    """

    def __init__(
        self,
        stream: Stream,
        decoder: Decodes,
        *,
        terms: TermChoice,
        mending: Mending | None,
        tell: Callable[[Speaking | Said | Levels], None],
    ) -> None:
        self.levels = Levels()
        self.trouble = ""
        self.settled = False
        self._stream, self._decoder = stream, decoder
        self._terms, self._mending, self._tell = terms, mending, tell
        self._change = threading.Condition()
        self._closing = self._leaving = self._breaking = False
        self._said: list[Said] = []
        self._listener: Listener | None = None
        self._thread = threading.Thread(target=self._listen, name="ear", daemon=True)

    def begin(self) -> None:
        """Listen."""
        self._thread.start()

    @property
    def load(self) -> Load:
        """How far behind the recogniser is."""
        return self._listener.load if self._listener is not None else Load(0, 0.0)

    def transcript(self) -> Transcript:
        """All that is settled so far."""
        with self._change:
            said = list(self._said)
        return join(((0.0, one.transcript) for one in said), duration_s=self.duration_s)

    @property
    def duration_s(self) -> float:
        """Length of the stream in seconds."""
        return self._stream.heard / self._stream.rate_hz

    def wake(self) -> None:
        """There is new sound."""
        with self._change:
            self._change.notify()

    def interrupt(self) -> None:
        """The sound breaks off for now: settle what was said up to here."""
        with self._change:
            self._breaking = True
            self._change.notify()

    def close(self) -> None:
        """The sound is over: wait until all of it is settled, or cannot be (see `trouble`)."""
        with self._change:
            self._closing = True
            self._change.notify()
        self._thread.join()

    def leave(self) -> None:
        """Stop listening where it is; it can go on from the disk."""
        with self._change:
            self._leaving = True
            self._change.notify()
        self._thread.join()

    def _listen(self) -> None:
        try:
            self._go()
        except Exception as error:  # noqa: BLE001 - whatever it is, the sound is kept and can be heard again
            self.trouble = str(error)
            self._tell(self.levels)

    def _go(self) -> None:
        folder = self._stream.folder
        known = read_words(folder, model=Path(self._decoder.options.model).name)
        with self._change:
            self._said = list(known)
        for one in known[-_TOLD_AGAIN:]:
            self._tell(one)
        words = SavedWords(folder, known=len(known))
        start_s = known[-1].until_s if known else 0.0

        def keep(event: Speaking | Said) -> None:
            with self._change:
                if self._leaving:
                    # Whoever goes on from the disk hears it again.
                    return
                if isinstance(event, Said):
                    words.add(event)
                    self._said.append(event)
            self._tell(event)

        listener = Listener(
            self._decoder, terms=self._terms, tell=keep, start_s=start_s, mending=self._mending
        )
        self._listener = listener
        self._follow(listener, Follower(folder, round(start_s * self._stream.rate_hz)))
        if self._leaving:
            listener.leave()
        else:
            listener.close()
        with self._change:
            words.close()
            self.settled = not self._leaving

    def _follow(self, listener: Listener, follower: Follower) -> None:
        rate_hz = self._stream.rate_hz
        resampler, meter, gain = Resampler(rate_hz), LevelMeter(), AutomaticGain()
        while not self._leaving:
            closing, breaking = self._closing, self._breaking
            most = self._until_break(follower.position, round(_BLOCK_S * rate_hz), listener)
            # Samples that a torn end holds may still be taken back: only what counts as heard is read.
            most = min(most, self._stream.heard - follower.position)
            sound = follower.read(most) if most > 0 and self.load.sound_s < _AHEAD_S else None
            if sound is not None and len(sound):
                samples = resampler.push(to_floats(sound))
                self.levels = meter.push(samples)
                listener.hear(gain.apply(samples, self.levels))
                self._tell(self.levels)
                continue
            if most <= 0 and breaking:
                self._breaking = False
                listener.interrupt()
            if most <= 0 and closing:
                listener.hear(resampler.finish())
                return
            # The listener tells of its failure when it is fed, also with nothing.
            listener.hear(resampler.push(to_floats(follower.read(0))))
            with self._change:
                self._change.wait(_LOOK_EVERY_S)

    def _until_break(self, position: int, most: int, listener: Listener) -> int:
        """So many samples at most, up to the next place where the sound breaks off; there, the utterance is over."""
        for at in list(self._stream.breaks):
            if at == position:
                listener.interrupt()
            elif position < at < position + most:
                return at - position
        return most
