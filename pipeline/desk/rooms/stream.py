"""The sound of one microphone, from the first sample to the last: pieces become a recording, each sample once and in order.

How far it is stands on the disk alone. What was acknowledged is there and vouched for; what was not is sent again, and a piece
that comes twice, late or overlapping adds only what is new. A piece that leaves a hole is not taken: its sender is told how far
the sound is and goes on from there.
"""

from __future__ import annotations

import contextlib
import threading
from pathlib import Path

from pipeline.capture import Recorder, RecordingStoppedError, is_recording
from pipeline.desk.rooms.pieces import Piece

RATES_HZ = range(8_000, 192_001)


class Stream:
    """A recording in `folder` that pieces are added to; one that was begun before goes on. For any thread.

    Raises CaptureError when nothing can be recorded there.
    """

    def __init__(self, folder: Path, *, rate_hz: int, source: str) -> None:
        self.folder, self.rate_hz, self.source = folder, rate_hz, source
        self._lock = threading.Lock()
        self._recorder: Recorder | None = self._open()
        self.heard = self._recorder.heard
        """Samples that are written."""
        self.breaks: list[int] = sorted(self._recorder.gaps_at)
        """Samples before which the sound breaks off."""

    def take(self, piece: Piece) -> int:
        """Add what is new in a piece and give how many samples of the stream are safe. Raises CaptureError when the disk fails."""
        with self._lock:
            recorder = self._ready()
            new = piece.samples[max(0, recorder.heard - piece.first) :]
            if piece.first > recorder.heard or not len(new):
                return recorder.safe
            try:
                if piece.lost_ms and piece.first == recorder.heard:
                    self._break(recorder, piece.lost_ms / 1000)
                recorder.write(new)
            except RecordingStoppedError:
                # What could not be written is still with its sender: cut back to what is safe, and begin again from there.
                self._give_up(recorder)
                raise
            self.heard = recorder.heard
            return recorder.safe

    def sync(self) -> int:
        """Force all that came to the disk and give how many samples are safe. Raises CaptureError."""
        with self._lock:
            recorder = self._ready()
            try:
                recorder.sync()
            except RecordingStoppedError:
                self._give_up(recorder)
                raise
            return recorder.safe

    def close(self) -> None:
        """End the recording. Raises CaptureError."""
        with self._lock:
            recorder, self._recorder = self._ready(), None
            recorder.close()

    def let_go(self) -> None:
        """Leave it so that it can go on later."""
        with self._lock:
            recorder, self._recorder = self._recorder, None
            if recorder is not None:
                with contextlib.suppress(RecordingStoppedError):
                    recorder.sync()
                recorder.let_go()

    def _open(self) -> Recorder:
        resume = is_recording(self.folder)
        if not resume and self.folder.is_dir():
            # A program that ended before the first line left an empty file or none.
            for left in self.folder.iterdir():
                left.unlink()
        return Recorder(self.folder, rate_hz=self.rate_hz, source=self.source, resume=resume)

    def _ready(self) -> Recorder:
        if self._recorder is None:
            self._recorder = self._open()
            self.heard = self._recorder.heard
        return self._recorder

    def _break(self, recorder: Recorder, lost_s: float) -> None:
        # It may have been noted before a program ended, and its sound sent again.
        if recorder.heard in recorder.gaps_at:
            return
        recorder.gap("nothing was recorded", lost_s)
        self.breaks.append(recorder.heard)

    def _give_up(self, recorder: Recorder) -> None:
        self._recorder = None
        with contextlib.suppress(OSError):
            recorder.let_go()
