"""The sound of an examination, on the disk while it is heard.

A recording is a folder. Sound goes into segments, ordinary WAV files that any player plays; `recording.jsonl`
(a `Journal`) says what they are, and vouches for each piece with its SHA-256. Sound is handed to the system
as it comes, so that the end of this program loses nothing that was written; and is forced to the disk twice
a second with its line after it, so that a power cut loses no more than that. A line never vouches for sound
that is not there. What is wanting is noted as a gap: sound that was heard and could not be written keeps its
place (silence stands there), sound that never came takes none.
"""

from __future__ import annotations

import errno
import hashlib
import os
import struct
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from filelock import FileLock, Timeout
from numpy.typing import NDArray

from pipeline.capture.journal import Journal, read_journal, write_all
from pipeline.capture.model import CaptureError

JOURNAL_NAME = "recording.jsonl"
LOCK_NAME = "recording.lock"
FORMAT_VERSION = 1
SEGMENT_HEADER_BYTES = 44
BYTES_PER_SAMPLE = 2

_SYNC_EVERY_S = 0.5
_SEGMENT_S = 60.0
_TRY_AGAIN_S = 1.0
# What a header says while its segment still grows: writers to a pipe leave the same, and players read on.
_LENGTH_UNKNOWN = 0xFFFF_FFFF


class RecordingStoppedError(CaptureError):
    """The sound can no longer be kept, as when the disk is full; what was written stays."""


class Recorder:
    """Writes the sound of one microphone, mono 16-bit samples of one rate, into a new folder.

    `source` says in words where the sound comes from; `now` is the clock. Samples are numbered through the
    recording. Not for several threads at once. While it is open no other process can take the folder.

    With `resume`, a folder whose recording was not ended goes on behind what its journal vouches for; what a
    torn end holds beyond that is cut off, so whoever sends the sound sends it again from `safe`. `gaps_at` are the
    samples before which gaps were noted then.

    Raises CaptureError when the folder is not empty (or, with `resume`, holds no such recording) or nothing can be
    written there.
    """

    def __init__(
        self,
        folder: Path,
        *,
        rate_hz: int,
        source: str,
        now: Callable[[], datetime] | None = None,
        resume: bool = False,
    ) -> None:
        self.folder = folder
        self.rate_hz = rate_hz
        self.gaps_at: frozenset[int] = frozenset()
        self._now = now or (lambda: datetime.now(UTC))
        self._heard = 0
        self._synced = 0
        self._waiting: list[bytes] = []
        self._segment: _Segment | None = None
        self._segments = 0
        self._failure: _Failure | None = None
        self._lock, self._journal = self._go_on() if resume else self._begin(source)

    @property
    def heard_s(self) -> float:
        """Seconds of sound that came, written or not."""
        return self._heard / self.rate_hz

    @property
    def heard(self) -> int:
        """Samples that came, written or not."""
        return self._heard

    @property
    def safe(self) -> int:
        """Samples, from the first, that are on the disk and vouched for: neither kill nor power cut takes them."""
        return self._synced

    def write(self, samples: NDArray[np.int16]) -> None:
        """Add samples.

        Raises RecordingStoppedError when they cannot be kept, and again with every call until they can: then
        a new segment begins and the gap is noted.
        """
        start = self._heard
        self._heard += len(samples)
        if self._failure is not None and start < self._failure.next_try:
            raise self._failure.error
        try:
            self._write(start, samples.astype("<i2").tobytes())
        except OSError as error:
            self._give_up_segment()
            first = start if self._failure is None else self._failure.first
            self._failure = _Failure(
                first, self._heard + round(_TRY_AGAIN_S * self.rate_hz), self._stopped(error, first)
            )
            raise self._failure.error from None

    def gap(self, reason: str, lost_s: float) -> None:
        """Note that the microphone gave nothing for `lost_s` seconds. Raises RecordingStoppedError."""
        try:
            self._sync()
            self._note_gap(self._heard, reason, lost_s)
        except OSError as error:
            raise self._stopped(error, self._heard) from None

    def sync(self) -> None:
        """Force to the disk what was written. Raises RecordingStoppedError."""
        try:
            self._sync()
        except OSError as error:
            raise self._stopped(error, self._synced) from None

    def let_go(self) -> None:
        """Leave the recording as it is, without an end: it can be resumed."""
        self._give_up_segment()
        self._journal.close()
        self._lock.release()

    def close(self) -> None:
        """End the recording. Raises RecordingStoppedError when its end cannot be noted; the sound stays."""
        try:
            self._end_segment()
            self._journal.add({"kind": "end", "samples": self._heard, **self._time()})
        except OSError as error:
            raise self._stopped(error, self._heard) from None
        finally:
            self._journal.close()
            self._lock.release()

    def _begin(self, source: str) -> tuple[FileLock, Journal]:
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            if any(self.folder.iterdir()):
                raise CaptureError(
                    f"The folder {self.folder} is not empty. Name a new one for this recording."
                )
            lock = hold(self.folder)
            journal = Journal(self.folder / JOURNAL_NAME)
            head = {"kind": "recording", "version": FORMAT_VERSION, "rate_hz": self.rate_hz, "source": source}
            journal.add({**head, **self._time()})
            sync_folder(self.folder)
        except OSError as error:
            raise CaptureError(
                f"No recording can be made in {self.folder}: {_reason(error)}. Name another folder."
            ) from None
        return lock, journal

    def _go_on(self) -> tuple[FileLock, Journal]:
        try:
            lock = hold(self.folder)
            lines = read_journal(self.folder / JOURNAL_NAME).lines
            head = next((line for line in lines if line["kind"] == "recording"), None)
            if (
                head is None
                or head["rate_hz"] != self.rate_hz
                or any(line["kind"] == "end" for line in lines)
            ):
                lock.release()
                raise CaptureError(
                    f"{self.folder} holds no recording of {self.rate_hz} samples a second to go on with."
                )
            self._heard = self._synced = max(
                (line["first"] + line["count"] for line in lines if line["kind"] == "sound"), default=0
            )
            self.gaps_at = frozenset(line["at"] for line in lines if line["kind"] == "gap")
            self._cut_torn_end({line["file"]: line["first"] for line in lines if line["kind"] == "segment"})
            journal = Journal(self.folder / JOURNAL_NAME)
            journal.add({"kind": "resumed", "at": self._heard, **self._time()})
        except OSError as error:
            raise CaptureError(
                f"The recording in {self.folder} cannot go on: {_reason(error)}. Look at that disk."
            ) from None
        return lock, journal

    def _cut_torn_end(self, firsts: dict[str, int]) -> None:
        """Leave of every segment what lies before the end that is vouched for."""
        for path in sorted(self.folder.glob("[0-9][0-9][0-9][0-9].wav")):
            kept = self._heard - firsts.get(path.name, self._heard)
            if kept <= 0:
                path.unlink()
                continue
            self._segments = int(path.stem)
            if path.stat().st_size > SEGMENT_HEADER_BYTES + kept * BYTES_PER_SAMPLE:
                os.truncate(path, SEGMENT_HEADER_BYTES + kept * BYTES_PER_SAMPLE)
        sync_folder(self.folder)

    def _write(self, start: int, data: bytes) -> None:
        if self._segment is None or start - self._segment.first >= _SEGMENT_S * self.rate_hz:
            self._end_segment()
            self._segment = self._next_segment(start)
        write_all(self._segment.file, data)
        self._waiting.append(data)
        if self._heard - self._synced >= _SYNC_EVERY_S * self.rate_hz:
            self._sync()

    def _next_segment(self, first: int) -> _Segment:
        if self._failure is not None:
            lost_s = (first - self._failure.first) / self.rate_hz
            self._note_gap(self._failure.first, "heard, and could not be written to the disk", lost_s)
        self._segments += 1
        path = self.folder / segment_name(self._segments)
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        segment = _Segment(os.open(path, flags, 0o600), path, first)
        try:
            write_all(segment.file, wav_header(self.rate_hz, None))
            self._journal.add({"kind": "segment", "file": path.name, "first": first})
            sync_folder(self.folder)
        except OSError:
            segment.let_go()
            raise
        self._synced = first
        self._failure = None
        return segment

    def _end_segment(self) -> None:
        if self._segment is None:
            return
        self._sync()
        # Now the length is known, and players show it.
        os.lseek(self._segment.file, 0, os.SEEK_SET)
        write_all(self._segment.file, wav_header(self.rate_hz, self._synced - self._segment.first))
        os.fsync(self._segment.file)
        os.close(self._segment.file)
        self._segment = None

    def _give_up_segment(self) -> None:
        """Let go of a segment that failed; what it holds is read as far as it goes."""
        self._waiting.clear()
        if self._segment is not None:
            self._segment.let_go()
            self._segment = None

    def _sync(self) -> None:
        if self._segment is None or not self._waiting:
            return
        os.fsync(self._segment.file)
        data = b"".join(self._waiting)
        count = len(data) // BYTES_PER_SAMPLE
        digest = hashlib.sha256(data).hexdigest()
        self._journal.add({"kind": "sound", "first": self._synced, "count": count, "sha256": digest})
        self._synced += count
        self._waiting.clear()

    def _note_gap(self, at: int, reason: str, lost_s: float) -> None:
        self._journal.add(
            {"kind": "gap", "at": at, "lost_s": round(lost_s, 2), "reason": reason, **self._time()}
        )

    def _time(self) -> dict[str, str]:
        return {"time": self._now().isoformat(timespec="milliseconds")}

    def _stopped(self, error: OSError, kept: int) -> RecordingStoppedError:
        minutes, seconds = divmod(int(kept / self.rate_hz), 60)
        stays = f"What was heard up to {minutes}:{seconds:02d} is kept"
        if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            return RecordingStoppedError(
                f"There is no space left for the recording in {self.folder}. {stays}. Free space on that disk."
            )
        return RecordingStoppedError(
            f"The recording in {self.folder} cannot be written: {_reason(error)}. {stays}. Look at that disk."
        )


@dataclass(frozen=True)
class _Segment:
    file: int
    path: Path
    first: int

    def let_go(self) -> None:
        """Close it, and take it away when it holds no sound."""
        os.close(self.file)
        if self.path.stat().st_size <= SEGMENT_HEADER_BYTES:
            self.path.unlink()


@dataclass(frozen=True)
class _Failure:
    """Since which sample nothing could be written, from which one to try again, and why."""

    first: int
    next_try: int
    error: RecordingStoppedError


def hold(folder: Path) -> FileLock:
    """Take a recording's folder for this process. Raises CaptureError when another has it, and OSError."""
    # The thread that ends a recording may be another than the one that began it.
    lock = FileLock(folder / LOCK_NAME, thread_local=False)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise CaptureError(f"The recording in {folder} is still going on. End it first.") from None
    return lock


def segment_name(number: int) -> str:
    """File name of a segment, the first being 1."""
    return f"{number:04d}.wav"


def wav_header(rate_hz: int, samples: int | None) -> bytes:
    """The 44 bytes before mono 16-bit samples; None is for a length that is not known yet.

    Source: Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0 (1991), from memory.
    """
    data = _LENGTH_UNKNOWN if samples is None else samples * BYTES_PER_SAMPLE
    riff = _LENGTH_UNKNOWN if samples is None else data + SEGMENT_HEADER_BYTES - 8
    return struct.pack(
        "<4sI4s4sIHHIIHH4sI",
        b"RIFF",
        riff,
        b"WAVE",
        b"fmt ",
        16,
        1,
        1,
        rate_hz,
        rate_hz * BYTES_PER_SAMPLE,
        BYTES_PER_SAMPLE,
        8 * BYTES_PER_SAMPLE,
        b"data",
        data,
    )


def sync_folder(folder: Path) -> None:
    """Force the names in a folder to the disk; some systems cannot open a folder, and need not."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _reason(error: OSError) -> str:
    return error.strerror or str(error)
