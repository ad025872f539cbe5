"""A live examination: sound from its source to the disk and to the recogniser, and what there is to tell."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from pipeline.capture import (
    Block,
    Interruption,
    Recorder,
    RecordingStoppedError,
    Resampler,
    Source,
)
from pipeline.capture.levels import AutomaticGain, LevelMeter, Levels
from pipeline.capture.model import to_floats
from pipeline.listening.hearing import Decodes
from pipeline.listening.listener import Listener
from pipeline.listening.model import Load, Said, Speaking
from pipeline.listening.saved import SavedWords
from pipeline.speech import Mending, TermChoice, Transcript
from pipeline.speech.joining import join


class Session:
    """Listens to a source until it ends or `stop` is called, and keeps sound and words in a folder.

    Recording comes first: whatever fails behind it, the sound goes on to the disk. `terms` and `mending` are as in
    `Listener`; `tell` gets what is said, in the recogniser's thread. The other attributes may be read from any
    thread: `levels`, `load`, `notes` (what the user has to know, each once, in order) and `trouble` (what is
    wrong now, such as a full disk; empty when all is well), `ending`.

    Raises pipeline.capture.CaptureError when nothing can be recorded in the folder.
    """

    def __init__(
        self,
        source: Source,
        decoder: Decodes,
        folder: Path,
        *,
        terms: Sequence[str] | TermChoice,
        tell: Callable[[Speaking | Said], None],
        mending: Mending | None = None,
    ) -> None:
        self.levels = Levels()
        self.notes: list[str] = []
        self.trouble = ""
        self.ending = False
        self._source = source
        self._recorder = Recorder(folder, rate_hz=source.rate_hz, source=source.name)
        self._words = SavedWords(folder)
        self._words_lost = False
        self._said: list[Said] = []
        self._tell = tell
        self._resampler = Resampler(source.rate_hz)
        self._meter = LevelMeter()
        self._gain = AutomaticGain()
        self._listener = Listener(decoder, terms=terms, tell=self._keep, mending=mending)
        self._deaf = ""
        self._lock = threading.Lock()

    @property
    def source_name(self) -> str:
        """What is listened to, in words."""
        return self._source.name

    @property
    def heard_s(self) -> float:
        """Seconds of sound so far."""
        return self._recorder.heard_s

    @property
    def load(self) -> Load:
        """How far behind the recogniser is."""
        return self._listener.load

    def transcript(self) -> Transcript:
        """Give all that is settled so far."""
        with self._lock:
            said = list(self._said)
        return join(((0.0, one.transcript) for one in said), duration_s=self.heard_s)

    def run(self) -> None:
        """Listen until the sound ends, then wait for the last words.

        Raises what the recogniser failed with, once the sound has ended: until then it is recorded.
        """
        for item in self._source.blocks():
            if isinstance(item, Interruption):
                self._interrupted(item)
            else:
                self._heard(item)
        try:
            self._recorder.close()
        except RecordingStoppedError as error:
            self._note(str(error))
        try:
            if not self._deaf:
                self._listener.hear(self._resampler.finish())
            self._listener.close()
        finally:
            self._words.close()

    def stop(self) -> None:
        """End the examination; `run` returns when all that was heard is settled."""
        self.ending = True
        self._source.stop()

    def _heard(self, block: Block) -> None:
        try:
            self._recorder.write(block.samples)
            self.trouble = self._deaf
        except RecordingStoppedError as error:
            self.trouble = str(error)
            self._note(str(error))
        if self._deaf:
            return
        samples = self._resampler.push(to_floats(block.samples))
        self.levels = self._meter.push(samples)
        try:
            self._listener.hear(self._gain.apply(samples, self.levels), block.heard_at)
        except Exception as error:  # noqa: BLE001 - whatever it is, the recording goes on
            self._deaf = f"Nothing more is understood, but all is recorded: {error}"
            self._note(self._deaf)

    def _interrupted(self, what: Interruption) -> None:
        # What was said up to here is safe and settled now: nobody knows when there will be more.
        if not self._deaf:
            self._listener.interrupt()
        try:
            if what.lasts:
                self.trouble = f"{what.reason[:1].upper()}{what.reason[1:]} (for {what.lost_s:.0f} s)."
                self._recorder.sync()
                return
            self._recorder.gap(what.reason, what.lost_s)
        except RecordingStoppedError as error:
            self._note(str(error))
        lost = f" for {what.lost_s:.0f} s" if what.lost_s else ""
        self._note(f"At {self.heard_s:.0f} s {what.reason}{lost}: what was said then is missing.")

    def _keep(self, event: Speaking | Said) -> None:
        if isinstance(event, Said):
            with self._lock:
                self._said.append(event)
            if not self._words_lost:
                try:
                    self._words.add(event)
                except OSError as error:
                    # From here on a hole would stand in the file; the sound is heard again instead.
                    self._words_lost = True
                    self._note(
                        "The words can no longer be written beside the recording, only shown: "
                        f"{error.strerror or error}."
                    )
        self._tell(event)

    def _note(self, note: str) -> None:
        if note not in self.notes:
            self.notes.append(note)
