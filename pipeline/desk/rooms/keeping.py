"""What is kept of an examination that is over: its draft and its sound. Done again, it adds nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path

import av
import numpy as np

from pipeline.capture import SAMPLE_RATE_HZ, CaptureError, hold, pack, read_folder, write_flac
from pipeline.exam import understand
from pipeline.record import Patient, Visit
from pipeline.speech import Transcript
from pipeline.store import (
    Actor,
    Database,
    KeptVisit,
    add_recording,
    keep_record,
    keep_sound,
    recordings_of,
)

_PACKED = "recording.flac"
_WHOLE = "whole.flac"


def keep_draft(
    database: Database, actor: Actor, visit: KeptVisit, animal: Patient, transcript: Transcript, at: datetime
) -> str:
    """Keep what was understood as the draft of the visit. Raises what the store raises."""
    understood = understand(transcript, animal, Visit(kind=visit.kind, on=visit.on))
    return keep_record(database, actor, visit.id, understood, at, origin=f"room {visit.id}").id


def keep_recordings(
    database: Database,
    actor: Actor,
    visit: KeptVisit,
    folders: Iterable[Path],
    recordings: Path,
    at: Callable[[], datetime],
) -> None:
    """Compress ended recordings of a visit, below `recordings`, and keep each; several of them together once more.

    The record's times are those of all of them one after the other. Raises CaptureError, OSError, and what the store raises.
    """
    packed = [(folder, *_pack(folder)) for folder in folders]
    known = {kept.path for kept in recordings_of(database, actor, visit.id)}
    for folder, digest, seconds in packed:
        path = (folder / _PACKED).relative_to(recordings).as_posix()
        if path not in known:
            add_recording(database, actor, visit.id, path, digest, seconds, at())
    if len(packed) > 1:
        whole = packed[0][0].parent / _WHOLE
        seconds = _join([folder for folder, _, _ in packed], whole)
        path, digest = keep_sound(whole, recordings)
        whole.unlink()
        add_recording(database, actor, visit.id, path, digest, seconds, at())


def _pack(folder: Path) -> tuple[str, float]:
    lock = hold(folder)
    try:
        return pack(folder), read_folder(folder).duration_s
    finally:
        lock.release()


def _join(folders: list[Path], path: Path) -> float:
    pcm = np.concatenate([read_folder(folder).to_recording().pcm for folder in folders])
    try:
        write_flac(path, pcm, SAMPLE_RATE_HZ)
    except av.error.FFmpegError as error:
        raise CaptureError(f"The recordings in {path.parent} cannot be joined: {error}.") from None
    return len(pcm) / SAMPLE_RATE_HZ
