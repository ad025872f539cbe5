"""Brings a backup back, and says what had been kept since and is not in it.

Nothing is overwritten: a database file that is there is moved aside, a server's database has to be empty. That a backup was
restored becomes an event of the trail and a line of the anchors, which from there on count from the backup.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

from sqlalchemy import create_engine, inspect, select
from sqlalchemy.exc import DBAPIError

from pipeline.speech.model import Frozen
from pipeline.store.anchors import UNANCHORED, Anchored, Anchors, after_restores
from pipeline.store.backup import (
    BACKUP,
    Manifest,
    backup_faults,
    database_name,
    read_manifest,
)
from pipeline.store.database import Database, url_of
from pipeline.store.errors import DatabaseError
from pipeline.store.model import Actor
from pipeline.store.server_tools import find_tool, run_tool
from pipeline.store.stamps import stamp
from pipeline.store.tables import event
from pipeline.store.trail import begin


class Missing(Frozen):
    """What a practice had after its backup was made: the number of the last event known, and what was done to what."""

    practice: str
    name: str
    from_seq: int
    until_seq: int
    until: str
    did: tuple[tuple[str, str], ...]


def missing_since(manifest: Manifest, anchors: Anchors, current: Database | None) -> tuple[Missing, ...]:
    """What the anchors and the current database know that the backup does not hold; nothing if it was only read since."""
    reaches = {head.practice: head.seq for head in manifest.heads}
    later = (line for line in anchors.lines([]) if line.seq > reaches.get(line.practice, line.seq))
    lines = after_restores(later)
    if current is not None:
        lines += _events_after(manifest, current)
    found = []
    for head in manifest.heads:
        since = sorted((one for one in lines if one.practice == head.practice), key=lambda one: one.seq)
        did = tuple(
            deed for deed in dict.fromkeys(deed for line in since for deed in line.did) if deed[0] != BACKUP
        )
        if did:
            found.append(
                Missing(
                    practice=head.practice,
                    name=head.name,
                    from_seq=head.seq + 1,
                    until_seq=since[-1].seq,
                    until=since[-1].at,
                    did=did,
                )
            )
    return tuple(found)


def restore_file(folder: Path, into: Path, at: datetime, *, replace: bool) -> Path | None:
    """Put the database file of a backup in its place; gives where the one that was there was moved to.

    Raises DatabaseError when the backup is not whole, or a file is there and `replace` is not set.
    """
    manifest = _whole(folder, "sqlite")
    aside = None
    if into.exists():
        if not replace:
            raise DatabaseError(
                f"There is a database {into}. Restore with --replace: it is moved aside first, not lost."
            )
        aside = _unused(into.with_name(f"{into.name}.before-{at:%Y%m%dT%H%M%S}"))
    fresh = into.with_name(f"{into.name}.restoring")
    try:
        into.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(folder / database_name(manifest), fresh)
        with fresh.open("rb") as file:
            os.fsync(file.fileno())
        if aside is not None:
            _settle(into)
            into.rename(aside)
        fresh.rename(into)
    except OSError as error:
        raise DatabaseError(f"The backup cannot be put in {into}: {error.strerror or error}.") from error
    finally:
        fresh.unlink(missing_ok=True)
    return aside


def restore_server(folder: Path, into: str, tools: Path | None) -> None:
    """Fill an empty database of a server from a backup: all of it or nothing. Raises DatabaseError."""
    manifest = _whole(folder, "postgresql")
    url = url_of(into)
    engine = create_engine(url)
    shown = url.render_as_string(hide_password=True)
    try:
        with engine.connect() as connection:
            if inspect(connection).get_table_names():
                raise DatabaseError(
                    f"{shown} is not empty. Make a new database for the restored data and name it, so that"
                    " nothing is overwritten."
                )
            program = find_tool("pg_restore", connection, tools)
    except DBAPIError as error:
        said = str(error.orig).strip().splitlines()[0]
        raise DatabaseError(f"The database {shown} cannot be used: {said}.") from error
    finally:
        engine.dispose()
    run_tool(
        program,
        url,
        [
            "--exit-on-error",
            "--single-transaction",
            "--no-owner",
            "--no-privileges",
            str(folder / database_name(manifest)),
        ],
    )


def restore_files(folder: Path, manifest: Manifest, sounds: Path) -> tuple[list[str], list[str]]:
    """Put recordings and documents back where they were, unless they are there; gives those put back, and those that failed."""
    put, failed = [], []
    for kept in manifest.files:
        target = sounds / kept.path
        if kept.copy_name is None or target.exists():
            continue
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(folder / kept.copy_name, target)
            put.append(kept.path)
        except OSError as error:
            failed.append(f"{kept.path} ({error.strerror or error})")
    return put, failed


def note_restored(
    database: Database, actor: Actor, manifest: Manifest, missing: tuple[Missing, ...], at: datetime
) -> None:
    """Keep in the trail of every practice, and in the anchors, that a backup was restored and until where it reaches."""
    lost = {one.practice: one for one in missing}
    notes = []
    with database.writing() as connection:
        for head in manifest.heads:
            gone = lost.get(head.practice)
            made = begin(connection, actor.model_copy(update={"practice_id": head.practice}), at)
            made.note(
                "restore_backup",
                head.practice,
                made_at=stamp(manifest.made_at),
                until=head.seq,
                missing_until=gone.until_seq if gone else head.seq,
            )
            made.close()
            notes.append((made.events, head.seq + 1))
    for events, anew_from in notes:
        database.anchors.keep(events, anew_from)


def _whole(folder: Path, kind: str) -> Manifest:
    manifest = read_manifest(folder)
    if manifest.kind != kind:
        wanted = "a file" if manifest.kind == "sqlite" else "a server (postgresql://…)"
        raise DatabaseError(f"{folder} is a backup of {wanted}: restore it into one.")
    faults = backup_faults(folder)
    if faults:
        more = f" And {len(faults) - 1} more." if len(faults) > 1 else ""
        raise DatabaseError(f"The backup {folder} is damaged: {faults[0]}{more} Take another one.")
    return manifest


def _unused(name: Path) -> Path:
    """That name, or with a number where it is taken: restored twice within a second."""
    number = 1
    free = name
    while free.exists():
        number += 1
        free = name.with_name(f"{name.name}-{number}")
    return free


def _settle(file: Path) -> None:
    """Bring what lies beside a database file into it, so that it can be moved alone.

    Raises DatabaseError when somebody has it open, also who does nothing just now: a desk would go on writing in the file
    that was moved aside. What is no sound database any more is moved as it is.
    """
    try:
        with closing(sqlite3.connect(file, timeout=2)) as connection:
            # SQLite leaves its log (WAL) only for whoever is alone with the file.
            connection.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise DatabaseError(
                f"{file} is in use: stop whatever works with it (rostral serve, rostral worker), then restore."
            ) from error
        raise DatabaseError(f"{file} cannot be moved aside: {error}.") from error
    except sqlite3.DatabaseError:
        pass  # damaged: what its log held cannot be brought in
    for beside in _beside(file):
        beside.unlink(missing_ok=True)


def _beside(file: Path) -> tuple[Path, Path]:
    return file.with_name(f"{file.name}-wal"), file.with_name(f"{file.name}-shm")


def _events_after(manifest: Manifest, current: Database) -> list[Anchored]:
    """What the trail of a database that still can be read tells after the backup; nothing where it cannot."""
    found = []
    try:
        with current.reading() as connection:
            for head in manifest.heads:
                rows = connection.execute(
                    select(event)
                    .where(event.c.practice_id == head.practice, event.c.seq > head.seq)
                    .order_by(event.c.seq)
                )
                found += [
                    Anchored(
                        at=row.at,
                        practice=row.practice_id,
                        seq=row.seq,
                        sha256=row.sha256,
                        did=((row.action, row.subject),) if row.action != UNANCHORED else (),
                    )
                    for row in rows
                ]
    except (DatabaseError, DBAPIError):
        return []
    return found
