"""The commands that make, check and restore backups."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import typer
from platformdirs import user_data_path
from rich.text import Text

from pipeline.cli.border import WORK_FAILED, CallError
from pipeline.cli.columns import show_facts
from pipeline.cli.keeping import open_books, usual_address, usual_anchors, usual_recordings, who_acts
from pipeline.cli.screen import complain, output, printable, remark, write_json
from pipeline.settings import PREFIX, Settings
from pipeline.store import Database, StoreError, audit
from pipeline.store.anchors import Anchors, deed_words
from pipeline.store.backup import Manifest, backup_faults, make_backup, read_manifest
from pipeline.store.restore import (
    Missing,
    missing_since,
    note_restored,
    restore_file,
    restore_files,
    restore_server,
)
from pipeline.store.stamps import now


def make(settings: Settings, folder: Path | None, *, as_json: bool) -> None:
    """Copy everything that is kept into a new folder, while others go on working."""
    at = now()
    if folder is None:
        folder = usual_backup(settings, at)
    with open_books(settings) as books:
        manifest = make_backup(
            books.database,
            books.actor,
            folder,
            at,
            sounds=usual_recordings(settings),
            tools=settings.postgres_tools,
        )
    gone = [kept.path for kept in manifest.files if kept.copy_name is None]
    if as_json:
        write_json({"folder": str(folder), **manifest.model_dump(mode="json")})
    else:
        output().print(f"{folder} is whole: {_counted(manifest)}.", soft_wrap=True)
    if gone:
        remark(
            f"{len(gone)} recordings or documents were missing where they should be, {gone[0]} first: the backup"
            " does not hold them."
        )


def usual_backup(settings: Settings, at: datetime) -> Path:
    """A new folder for the backup of a time, where backups are kept."""
    usual = settings.backups or user_data_path("rostral", appauthor=False) / "backups"
    return usual.expanduser() / f"rostral-{at:%Y-%m-%dT%H%M%SZ}"


def check(folder: Path) -> None:
    """Hold a backup against its checksums; ends with code 1 when it is not whole."""
    faults = backup_faults(folder)
    manifest = read_manifest(folder)
    for fault in faults:
        output().print(Text(printable(fault)), soft_wrap=True)
    if faults:
        complain(f"The backup {folder} is damaged. Keep another one.")
        raise typer.Exit(WORK_FAILED)
    show_facts(
        (
            ("made", manifest.made_at),
            ("of", manifest.database),
            ("holds", _counted(manifest)),
            *(("practice", f"{head.name}, trail until event {head.seq}") for head in manifest.heads),
            ("checksums", "all as written"),
        )
    )


def restore(settings: Settings, folder: Path, into: str | None, *, replace: bool) -> None:
    """Bring a backup back, and say what was kept since and is not in it."""
    manifest = read_manifest(folder)
    actor = who_acts(manifest.people, settings.person, str(folder))
    target = usual_address(settings.model_copy(update={"database": into}) if into else settings)
    anchors = usual_anchors(settings, target)
    if manifest.kind == "sqlite" and not isinstance(target, Path):
        raise CallError("This is the backup of a database file: restore it into a file, --into FILE.")
    if manifest.kind == "postgresql" and isinstance(target, Path):
        raise CallError(
            "This is the backup of a server's database: make an empty one and name it, --into postgresql://…"
        )
    with _current(settings) as current:
        known = (
            current.anchors
            if current is not None
            else Anchors(usual_anchors(settings, usual_address(settings)))
        )
        missing = missing_since(manifest, known, current)
    _tell_missing(missing)
    at = now()
    aside = None
    if isinstance(target, Path):
        aside = restore_file(folder, target, at, replace=replace)
    else:
        restore_server(folder, target, settings.postgres_tools)
    restored = Database(target, anchors)
    try:
        put, failed = restore_files(folder, manifest, usual_recordings(settings))
        note_restored(restored, actor, manifest, missing, at)
        faults = audit(restored)
    finally:
        restored.close()
    _tell(manifest, aside, (put, failed), shown=restored.shown, at=manifest.made_at)
    if faults:
        complain(
            f"The audit of the restored data found faults, first: {faults[0]} Run: rostral check --audit"
        )
        raise typer.Exit(WORK_FAILED)


def _tell(
    manifest: Manifest,
    aside: Path | None,
    files: tuple[list[str], list[str]],
    *,
    shown: str,
    at: datetime,
) -> None:
    console = output()
    console.print(
        f"Restored into {shown}: {_counted(manifest)}, as of {at:%Y-%m-%d %H:%M} UTC.", soft_wrap=True
    )
    if aside is not None:
        console.print(f"The database that was there is {aside}.", soft_wrap=True)
    put, failed = files
    if put:
        console.print(f"{len(put)} recordings and documents were put back.", soft_wrap=True)
    for one in failed:
        remark(f"Could not be put back: {one}")


def _tell_missing(missing: tuple[Missing, ...]) -> None:
    console = output()
    for one in missing:
        console.print(
            f"MISSING at {one.name}: events {one.from_seq} to {one.until_seq} (until {one.until}) came after this"
            f" backup and are not in it: {deed_words(one.did, most=40)}.",
            soft_wrap=True,
        )
    if not missing:
        console.print(
            "Nothing is known that came after this backup. Only what the database that was there and the anchors"
            f" ({PREFIX}ANCHORS) tell can be known.",
            soft_wrap=True,
        )


@contextmanager
def _current(settings: Settings) -> Iterator[Database | None]:
    """The database of the settings where it can still be read: it knows best what came after the backup."""
    address = usual_address(settings)
    database = None
    if not isinstance(address, Path) or address.exists():
        try:
            database = Database(address, usual_anchors(settings, address))
        except StoreError as error:
            remark(f"{error} What it held after the backup is told by the anchors alone.")
    try:
        yield database
    finally:
        if database is not None:
            database.close()


def _counted(manifest: Manifest) -> str:
    names = {
        "client": "owners",
        "patient": "patients",
        "record": "records",
        "record_version": "signed versions",
        "event": "events",
    }
    counts = [f"{manifest.counts[table]} {name}" for table, name in names.items()]
    copied = sum(kept.copy_name is not None for kept in manifest.files)
    return ", ".join((*counts, f"{copied} files"))
