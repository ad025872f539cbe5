"""Recordings of visits: their sound in a folder of files that never change, what is known of them in the database.

A file's name is the checksum of its bytes, so that the same sound lies there once, whoever gives it and however often, and a
damaged file is found. Machines that share a database share the folder, wherever each of them has it.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from sqlalchemy import insert, select

from pipeline.store.database import Database
from pipeline.store.errors import EntryError, NotFoundError, StoreError
from pipeline.store.model import Actor, KeptRecording
from pipeline.store.stamps import new_id
from pipeline.store.tables import recording, visit
from pipeline.store.trail import change

_PIECE = 1 << 20


class SoundError(StoreError):
    """The file of a recording cannot be kept, or is not there, or is not the one that was kept."""


class SoundUnreachableError(SoundError):
    """The file of a recording cannot be read just now: it may be on a share that is away."""


def keep_sound(file: Path, folder: Path) -> tuple[str, str]:
    """Copy a sound file into the folder of recordings: its path from there, and its SHA-256. Raises SoundError.

    The copy is on the disk, whole, before its name is there.
    """
    try:
        with file.open("rb") as source:
            digest = _sha256(source)
        path = f"{digest[:2]}/{digest}{file.suffix.lower()}"
        kept = folder / path
        if not kept.is_file():
            kept.parent.mkdir(parents=True, exist_ok=True)
            half = kept.with_name(f".{secrets.token_hex(8)}.part")
            try:
                with file.open("rb") as source, half.open("wb") as copy:
                    if _sha256(source, copy.write) != digest:
                        raise SoundError(
                            f"{file} changed while it was read: give it again when it is finished."
                        )
                    copy.flush()
                    os.fsync(copy.fileno())
                half.replace(kept)
            finally:
                half.unlink(missing_ok=True)
    except OSError as error:
        raise SoundError(
            f"{file} cannot be kept in {folder}: {error.strerror or error}. Nothing was changed."
        ) from error
    return path, digest


def sound_of(kept: KeptRecording, folder: Path) -> Path:
    """The file of a recording, its bytes as they were kept. Raises SoundError."""
    file = folder / kept.path
    try:
        with file.open("rb") as source:
            digest = _sha256(source)
    except OSError as error:
        raise SoundUnreachableError(
            f"The sound {file} cannot be read: {error.strerror or error}. Is the folder of recordings reachable from"
            " this machine?"
        ) from error
    if digest != kept.sha256:
        raise SoundError(
            f"The sound {file} is not what was kept: it was altered or damaged. Restore it from a backup."
        )
    return file


def add_recording(
    database: Database,
    actor: Actor,
    visit_id: str,
    path: str,
    sha256: str,
    duration_s: float,
    at: datetime,
) -> KeptRecording:
    """Keep that a visit was recorded; `path` and `sha256` are those of `keep_sound`. The same sound twice is one recording.

    Raises NotFoundError, EntryError.
    """
    if not duration_s > 0:
        raise EntryError("The recording holds no sound: give one of the examination.")
    kept = KeptRecording(id=new_id(), visit_id=visit_id, path=path, sha256=sha256, duration_s=duration_s)
    with change(database, actor, at) as made:
        of_visit = made.connection.execute(
            select(visit.c.id).where(visit.c.id == visit_id, visit.c.practice_id == actor.practice_id)
        ).one_or_none()
        if of_visit is None:
            raise NotFoundError("There is no such visit in this practice.")
        before = made.connection.execute(
            select(recording).where(recording.c.visit_id == visit_id, recording.c.sha256 == sha256)
        ).one_or_none()
        if before is not None:
            return KeptRecording.model_validate(dict(before._mapping))
        made.connection.execute(insert(recording).values(**kept.model_dump()))
        made.note("add_recording", kept.id, visit=visit_id, sha256=sha256, duration_s=duration_s)
    return kept


def recording_of(database: Database, actor: Actor, recording_id: str) -> KeptRecording:
    """The recording of that identifier. Raises NotFoundError."""
    with database.reading() as connection:
        row = connection.execute(
            select(recording)
            .select_from(recording.join(visit, visit.c.id == recording.c.visit_id))
            .where(recording.c.id == recording_id, visit.c.practice_id == actor.practice_id)
        ).one_or_none()
    if row is None:
        raise NotFoundError("There is no such recording in this practice.")
    return KeptRecording.model_validate(dict(row._mapping))


def recordings_of(database: Database, actor: Actor, visit_id: str) -> tuple[KeptRecording, ...]:
    """The recordings of a visit, the first of them first."""
    with database.reading() as connection:
        rows = connection.execute(
            select(recording)
            .select_from(recording.join(visit, visit.c.id == recording.c.visit_id))
            .where(recording.c.visit_id == visit_id, visit.c.practice_id == actor.practice_id)
            .order_by(recording.c.id)
        ).all()
    return tuple(KeptRecording.model_validate(dict(row._mapping)) for row in rows)


def _sha256(source: BinaryIO, take: Callable[[bytes], object] | None = None) -> str:
    """Checksum of what is read; `take` gets each piece, too."""
    digest = hashlib.sha256()
    while piece := source.read(_PIECE):
        digest.update(piece)
        if take is not None:
            take(piece)
    return digest.hexdigest()
