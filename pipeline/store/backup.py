"""Copies of everything that is kept, made while others go on working: one state of the database, with its files.

A backup is a folder: the database (SQLite's online backup, or pg_dump of one snapshot), the recordings and documents that it
names, a manifest, and SHA256SUMS, which `sha256sum --check` reads. It gets its name when it is whole.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import Literal

from alembic.runtime.migration import MigrationContext
from pydantic import AwareDatetime, ValidationError
from sqlalchemy import Connection, create_engine, func, select, text

from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.errors import DatabaseError
from pipeline.store.model import Actor, Person
from pipeline.store.practices import people_in
from pipeline.store.server_tools import find_tool, run_tool
from pipeline.store.tables import (
    client,
    document,
    event,
    patient,
    practice,
    record,
    record_version,
    recording,
    visit,
)
from pipeline.store.trail import change

MANIFEST, SUMS = "manifest.json", "SHA256SUMS"
_SQLITE, _SERVER = "database.sqlite", "database.dump"
_FILES = "files"
BACKUP = "backup"
"""The event that tells of one; it comes after the copy, so no backup holds its own."""
_PARTIAL = ".partial"
_COUNTED = (client, patient, visit, record, record_version, recording, document, event)


class Head(Frozen):
    """Where a practice's trail stood: its last event."""

    practice: str
    name: str
    seq: int
    sha256: str


class KeptFile(Frozen):
    """A recording or document in a backup: its path in the database, and its place in the backup, null if it was missing."""

    path: str
    copy_name: str | None


class Manifest(Frozen):
    """What a backup holds."""

    format: Literal[1] = 1
    made_at: AwareDatetime
    program: str
    kind: Literal["sqlite", "postgresql"]
    database: str
    tables: str
    heads: tuple[Head, ...]
    counts: dict[str, int]
    files: tuple[KeptFile, ...]
    people: tuple[Person, ...]


def make_backup(
    database: Database,
    actor: Actor,
    folder: Path,
    at: datetime,
    *,
    sounds: Path,
    tools: Path | None = None,
) -> Manifest:
    """Copy everything into a new folder; what was written until the copy began is in it. The trail keeps who did it.

    Paths in the database that are no whole ones count from `sounds`, the folder of recordings. `tools` holds PostgreSQL's
    programs where they are not on the path. Raises DatabaseError; then nothing is left behind.
    """
    if folder.exists():
        raise DatabaseError(f"{folder} is there already. Name a new folder for the backup.")
    partial = folder.with_name(f"{folder.name}{_PARTIAL}")
    try:
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir(parents=True)
        partial.chmod(0o700)  # it holds all that the practice knows
        manifest = _filled(database, partial, at, sounds, tools)
        (partial / MANIFEST).write_text(f"{manifest.model_dump_json(indent=2)}\n", encoding="utf-8")
        sums = "".join(
            f"{_sha256(file)}  {file.relative_to(partial).as_posix()}\n" for file in _within(partial)
        )
        (partial / SUMS).write_text(sums, encoding="utf-8")
        for file in _within(partial):
            _to_disk(file)
        partial.rename(folder)
        _to_disk(folder.parent)
    except OSError as error:
        shutil.rmtree(partial, ignore_errors=True)
        raise DatabaseError(
            f"The backup cannot be written in {folder}: {error.strerror or error}. Make room or give another"
            " place; what is kept is not touched."
        ) from error
    except BaseException:
        shutil.rmtree(partial, ignore_errors=True)
        raise
    with change(database, actor, at) as made:
        made.note(
            "backup",
            actor.practice_id,
            heads=[[head.practice, head.seq, head.sha256] for head in manifest.heads],
        )
    return manifest


def read_manifest(folder: Path) -> Manifest:
    """What a backup says of itself. Raises DatabaseError for a folder that is no backup."""
    try:
        return Manifest.model_validate_json((folder / MANIFEST).read_text(encoding="utf-8"))
    except OSError as error:
        raise DatabaseError(
            f"{folder} is no backup of Rostral: {MANIFEST} cannot be read ({error.strerror or error})."
        ) from None
    except (ValidationError, UnicodeDecodeError):
        raise DatabaseError(
            f"The manifest of the backup {folder} cannot be read: it was damaged or is of a newer version."
        ) from None


def backup_faults(folder: Path) -> tuple[str, ...]:
    """Every file of a backup that is missing, added or not as it was written, as a sentence. Raises DatabaseError."""
    manifest = read_manifest(folder)
    faults = []
    known: dict[str, str] = {}
    for line in _sums(folder):
        digest, _, name = line.partition("  ")
        known[name] = digest
    needed = {MANIFEST, database_name(manifest), *(one.copy_name for one in manifest.files if one.copy_name)}
    for name in sorted(needed - known.keys()):
        faults.append(f"{name} has no checksum in {SUMS}.")
    there = {file.relative_to(folder).as_posix() for file in _within(folder)} - {SUMS}
    for name in sorted(known.keys() - there):
        faults.append(f"{name} is missing.")
    for name in sorted(there - known.keys()):
        faults.append(f"{name} was added.")
    for name in sorted(known.keys() & there):
        if _sha256(folder / name) != known[name]:
            faults.append(f"{name} is not as it was written.")
    return tuple(faults)


def database_name(manifest: Manifest) -> str:
    """The file of a backup that is the database."""
    return _SQLITE if manifest.kind == "sqlite" else _SERVER


def _filled(database: Database, folder: Path, at: datetime, sounds: Path, tools: Path | None) -> Manifest:
    with (
        _sqlite_copy(database, folder) if database.is_sqlite else _server_copy(database, folder, tools)
    ) as copy:
        heads = tuple(
            Head(practice=row.id, name=row.name, seq=row.trail_seq, sha256=row.trail_sha256)
            for row in copy.execute(select(practice).order_by(practice.c.id))
        )
        counts = {
            table.name: copy.execute(select(func.count()).select_from(table)).scalar_one()
            for table in _COUNTED
        }
        tables = ", ".join(MigrationContext.configure(copy).get_current_heads())
        staff = people_in(copy)
        named = [
            row
            for table in (recording, document)
            for row in copy.execute(select(table.c.id, table.c.path).order_by(table.c.id))
        ]
    return Manifest(
        made_at=at,
        program=version("rostral"),
        kind="sqlite" if database.is_sqlite else "postgresql",
        database=database.shown,
        tables=tables,
        heads=heads,
        counts=counts,
        people=staff,
        files=tuple(_copied(row.id, row.path, sounds, folder) for row in named),
    )


@contextmanager
def _sqlite_copy(database: Database, folder: Path) -> Iterator[Connection]:
    """Copy the file by SQLite's online backup: all pages of one state, while others read and write."""
    target = folder / _SQLITE
    try:
        with (
            closing(sqlite3.connect(str(database.engine.url.database))) as source,
            closing(sqlite3.connect(target)) as copy,
        ):
            # In one step: a copy in pieces begins anew whenever somebody writes in between.
            source.backup(copy, pages=-1)
            copy.execute("PRAGMA journal_mode=DELETE")
            checked = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
    except sqlite3.Error as error:
        raise DatabaseError(
            f"The database {database.shown} cannot be copied into {folder.parent}: {error}. Look whether there is room,"
            " or give another place; what is kept is not touched."
        ) from error
    if checked != "ok":
        raise DatabaseError(
            f"The database {database.shown} is damaged ({checked}): no backup was made of it. Keep the last good one."
        )
    engine = create_engine(f"sqlite:///{target}")
    try:
        with engine.connect() as connection:
            yield connection
    finally:
        engine.dispose()


@contextmanager
def _server_copy(database: Database, folder: Path, tools: Path | None) -> Iterator[Connection]:
    """Let pg_dump copy the very state that the manifest is read from."""
    with database.reading() as connection:
        program = find_tool("pg_dump", connection, tools)
        snapshot = connection.execute(text("SELECT pg_export_snapshot()")).scalar_one()
        run_tool(
            program,
            database.engine.url,
            [
                "--snapshot",
                snapshot,
                "--format",
                "custom",
                "--no-owner",
                "--no-privileges",
                "--file",
                str(folder / _SERVER),
            ],
        )
        yield connection


def _copied(identifier: str, path: str, sounds: Path, folder: Path) -> KeptFile:
    """Copy a file; one that is missing is told in the manifest."""
    name = Path(_FILES, identifier, Path(path).name)
    target = folder / name
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        shutil.copyfile(sounds / path, target)
    except FileNotFoundError:
        target.parent.rmdir()
        return KeptFile(path=path, copy_name=None)
    return KeptFile(path=path, copy_name=name.as_posix())


def _sums(folder: Path) -> list[str]:
    try:
        return (folder / SUMS).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        raise DatabaseError(
            f"The checksums of the backup {folder} are missing or damaged ({SUMS})."
        ) from None


def _within(folder: Path) -> list[Path]:
    return sorted(file for file in folder.rglob("*") if file.is_file())


def _sha256(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def _to_disk(path: Path) -> None:
    """Force a file, or a folder's list of names, to the disk; systems that cannot open folders do it themselves."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except PermissionError:
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
