"""Reading a recording's folder: what is there, whether it is what was heard, and packing it when it is done."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.audio.frame import AudioFrame
from numpy.typing import NDArray

from pipeline.capture.journal import Journal, JournalLines, read_journal
from pipeline.capture.model import CaptureError, Recording, to_floats, to_pcm
from pipeline.capture.recorder import (
    BYTES_PER_SAMPLE,
    FORMAT_VERSION,
    JOURNAL_NAME,
    SEGMENT_HEADER_BYTES,
    sync_folder,
)
from pipeline.capture.resample import Resampler

PACKED_NAME = "recording.flac"
_FLAC_BLOCK = 4096
_READ_AT_ONCE = 1 << 20


@dataclass(frozen=True)
class Gap:
    """Sound that is wanting: where (seconds from the start of the recording), how much of it, and why."""

    at_s: float
    lost_s: float
    reason: str


@dataclass(frozen=True, eq=False)
class FolderContent:
    """A recording as it lies in its folder.

    `pcm` is mono 16-bit at `rate_hz`, as it was heard, with silence where sound could not be written.
    `vouched` counts the samples whose checksum is right; `faults` are sentences about damage, none when all
    that was written is as it was written. `ended` tells whether the recording was ended, or its program.
    """

    folder: Path
    rate_hz: int
    source: str
    started: str
    pcm: NDArray[np.int16]
    vouched: int
    ended: bool
    packed: bool
    gaps: tuple[Gap, ...]
    faults: tuple[str, ...]

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.pcm) / self.rate_hz

    def to_recording(self) -> Recording:
        """Give it as the later stages take it: 16 kHz, with a warning for all that is wanting."""
        resampler = Resampler(self.rate_hz)
        pieces = [
            to_pcm(resampler.push(to_floats(self.pcm[start : start + _READ_AT_ONCE])))
            for start in range(0, len(self.pcm), _READ_AT_ONCE)
        ]
        pieces.append(to_pcm(resampler.finish()))
        warnings = list(self.faults)
        if not self.ended:
            warnings.append(
                f"The recording in {self.folder} was not ended: it goes up to {self.duration_s:.1f} s."
            )
        warnings += [
            f"At {gap.at_s:.1f} s {gap.lost_s:.1f} s are wanting: {gap.reason}." for gap in self.gaps
        ]
        return Recording(
            pcm=np.concatenate(pieces),
            source=self.folder,
            source_rate_hz=self.rate_hz,
            codec="flac" if self.packed else "pcm_s16le",
            warnings=tuple(warnings),
        )


def is_recording(folder: Path) -> bool:
    """Whether a folder holds a recording made by `Recorder`."""
    return (folder / JOURNAL_NAME).is_file()


def is_ended(folder: Path) -> bool:
    """Whether the recording in a folder was ended, so that nothing more comes to it. Raises OSError."""
    lines = read_journal(folder / JOURNAL_NAME).lines if is_recording(folder) else ()
    return any(line["kind"] == "end" for line in lines)


def read_folder(folder: Path) -> FolderContent:
    """Read a recording and hold it against its checksums; torn ends are taken as far as they go.

    Raises CaptureError when it cannot be read at all.
    """
    try:
        journal = read_journal(folder / JOURNAL_NAME)
        head = _head(folder, journal)
        packed = next((line for line in reversed(journal.lines) if line["kind"] == "packed"), None)
        faults: list[str] = []
        if journal.damaged:
            faults.append(
                f"Lines of {folder / JOURNAL_NAME} are damaged, or torn at the end: {journal.damaged}."
            )
        if packed is not None and (folder / PACKED_NAME).exists():
            pcm = _packed_sound(folder / PACKED_NAME, packed, faults)
        else:
            pcm = _segment_sound(folder, journal, faults)
        vouched = _check(pcm, int(head["rate_hz"]), journal, faults)
    except OSError as error:
        raise CaptureError(f"The recording in {folder} cannot be read: {error.strerror or error}.") from None
    rate_hz = int(head["rate_hz"])
    gaps = (line for line in journal.lines if line["kind"] == "gap")
    return FolderContent(
        folder=folder,
        rate_hz=rate_hz,
        source=str(head["source"]),
        started=str(head["time"]),
        pcm=pcm,
        vouched=vouched,
        ended=any(line["kind"] == "end" for line in journal.lines),
        packed=packed is not None,
        gaps=tuple(Gap(line["at"] / rate_hz, line["lost_s"], line["reason"]) for line in gaps),
        faults=tuple(faults),
    )


def pack(folder: Path) -> str:
    """Compress an ended recording without loss (FLAC) and give the SHA-256 of the file, in hexadecimal.

    The segments go only when the compressed sound, read back from the disk, is the same to the last sample. A
    recording that is packed already is left as it is. Call it while holding the folder (`hold`).

    Raises CaptureError when it cannot be done; then everything is as before.
    """
    journal = read_journal(folder / JOURNAL_NAME)
    for line in journal.lines:
        if line["kind"] == "packed":
            return str(line["sha256"])
    content = read_folder(folder)
    if not len(content.pcm):
        raise CaptureError(f"The recording in {folder} holds no sound.")
    path = folder / PACKED_NAME
    part = path.with_suffix(".part")
    try:
        write_flac(part, content.pcm, content.rate_hz)
        if not np.array_equal(_flac_samples(part), content.pcm):
            raise CaptureError(f"Compressing {folder} did not give the same sound. It stays uncompressed.")
        digest = _file_digest(part)
        part.replace(path)
        sync_folder(folder)
        notes = Journal(folder / JOURNAL_NAME)
        try:
            notes.add({"kind": "packed", "file": path.name, "sha256": digest, "samples": len(content.pcm)})
        finally:
            notes.close()
        for segment in _segments(folder):
            segment.unlink()
    except (OSError, av.error.FFmpegError) as error:
        reason = getattr(error, "strerror", None) or error
        raise CaptureError(
            f"The recording in {folder} cannot be compressed: {reason}. It stays as it is."
        ) from None
    finally:
        part.unlink(missing_ok=True)
    return digest


def _head(folder: Path, journal: JournalLines) -> dict[str, Any]:
    head = next((line for line in journal.lines if line["kind"] == "recording"), None)
    if head is None:
        raise CaptureError(
            f"{folder / JOURNAL_NAME} does not say what the recording is. "
            f"Its sound is in the WAV files of that folder; give them one by one."
        )
    if head["version"] > FORMAT_VERSION:
        raise CaptureError(f"The recording in {folder} was made by a newer version. Update this program.")
    return head


def _segments(folder: Path) -> list[Path]:
    return sorted(folder.glob("[0-9][0-9][0-9][0-9].wav"))


def _segment_sound(folder: Path, journal: JournalLines, faults: list[str]) -> NDArray[np.int16]:
    """Put the segments where they belong on the recording's clock."""
    firsts = {line["file"]: int(line["first"]) for line in journal.lines if line["kind"] == "segment"}
    pieces: list[tuple[int, NDArray[np.int16]]] = []
    reached = 0
    for path in _segments(folder):
        sound = _wav_samples(path)
        first = firsts.get(path.name, reached)
        pieces.append((first, sound))
        reached = first + len(sound)
    vouched_from = {int(line["first"]) for line in journal.lines if line["kind"] == "sound"}
    for name in sorted(firsts.keys() - {path.name for path in _segments(folder)}):
        if firsts[name] in vouched_from:
            faults.append(f"The segment {name} of the recording is missing.")
    pcm = np.zeros(reached, np.int16)
    for first, sound in pieces:
        # In order: where a segment failed in the middle of a piece, the next one says where that went on.
        pcm[first : first + len(sound)] = sound
    return pcm


def _check(pcm: NDArray[np.int16], rate_hz: int, journal: JournalLines, faults: list[str]) -> int:
    """Hold the sound against its checksums and count the samples that are as they were heard."""
    vouched = 0
    for line in journal.lines:
        if line["kind"] != "sound":
            continue
        start, stop = int(line["first"]), int(line["first"]) + int(line["count"])
        if hashlib.sha256(pcm[start:stop].astype("<i2").tobytes()).hexdigest() == line["sha256"]:
            vouched += stop - start
        else:
            faults.append(
                f"The sound from {start / rate_hz:.1f} s to {stop / rate_hz:.1f} s is not as it was heard: "
                "its checksum is wrong."
            )
    return vouched


def _packed_sound(path: Path, packed: dict[str, Any], faults: list[str]) -> NDArray[np.int16]:
    if _file_digest(path) != packed["sha256"]:
        faults.append(f"{path} is not as it was stored: its SHA-256 is wrong.")
    try:
        return _flac_samples(path)
    except av.error.FFmpegError:
        raise CaptureError(f"{path} is damaged and cannot be read. Bring it back from a backup.") from None


def _wav_samples(path: Path) -> NDArray[np.int16]:
    data = path.read_bytes()[SEGMENT_HEADER_BYTES:]
    whole = len(data) - len(data) % BYTES_PER_SAMPLE
    return np.frombuffer(data[:whole], dtype="<i2").astype(np.int16)


def write_flac(path: Path, pcm: NDArray[np.int16], rate_hz: int) -> None:
    """Write mono samples, compressed without loss, and force them to the disk. Raises OSError, av.error.FFmpegError."""
    with av.open(str(path.absolute()), "w", format="flac") as container:
        stream = container.add_stream("flac", rate=rate_hz, layout="mono", format="s16")
        for start in range(0, len(pcm), _FLAC_BLOCK):
            block = np.ascontiguousarray(pcm[np.newaxis, start : start + _FLAC_BLOCK])
            frame = AudioFrame.from_ndarray(block, format="s16", layout="mono")
            frame.sample_rate = rate_hz
            frame.pts = start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _flac_samples(path: Path) -> NDArray[np.int16]:
    def frames() -> Iterator[NDArray[np.int16]]:
        yield np.zeros(0, np.int16)
        with av.open(str(path.absolute()), format="flac") as container:
            for frame in container.decode(audio=0):
                yield frame.to_ndarray().reshape(-1).astype(np.int16, copy=False)

    return np.concatenate(list(frames()))


def _file_digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
