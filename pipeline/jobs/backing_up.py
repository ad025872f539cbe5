"""Copies everything that is kept into a new folder."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline.jobs.model import Asked
from pipeline.jobs.work import Kind, Work
from pipeline.store.backup import MANIFEST, make_backup, read_manifest


class BackUp(Asked):
    """Make a backup in this folder, which must be new; a path as the worker's machine reads it."""

    folder: str


def _back_up(work: Work, asked: BackUp) -> dict[str, Any]:
    return work.step("copying everything", _copied, work, Path(asked.folder))


def _copied(work: Work, folder: Path) -> dict[str, Any]:
    """The backup has its name only once it is whole: one that is there was made by this step, before a crash."""
    if (folder / MANIFEST).is_file():
        manifest = read_manifest(folder)
    else:
        manifest = make_backup(
            work.database,
            work.actor,
            folder,
            work.at(),
            sounds=work.recordings,
            tools=work.settings.postgres_tools,
        )
    missing = [kept.path for kept in manifest.files if kept.copy_name is None]
    return {"folder": str(folder), "files": len(manifest.files), "missing": missing}


BACK_UP = Kind("backup", BackUp, _back_up)
