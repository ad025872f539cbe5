"""The command that shows the desk of an invented practice."""

from __future__ import annotations

import tempfile
from pathlib import Path

from pipeline.cli import serving
from pipeline.cli.border import WorkError
from pipeline.cli.screen import output, remark
from pipeline.desk.demonstration import fill
from pipeline.settings import Settings
from pipeline.store import Database, any_account
from pipeline.store.stamps import now

_FILE = "demonstration.sqlite"
_SOUNDS = "recordings"


def demonstrate(settings: Settings, place: serving.Place, folder: Path | None) -> None:
    """Fill an invented practice and open its desk; without a folder it is gone when the desk closes."""
    if folder is not None:
        _run(settings, place, folder)
        return
    with tempfile.TemporaryDirectory(prefix="rostral-demo-") as made:
        _run(settings, place, Path(made))


def _run(settings: Settings, place: serving.Place, folder: Path) -> None:
    database = Database(folder / _FILE)
    try:
        if any_account(database):
            raise WorkError(f"{folder} holds a practice already: name an empty folder, or none.")
        console = output()
        made = fill(database, settings, folder / _SOUNDS, now(), lambda what: remark(f"Making it: {what} …"))
        console.print("An invented practice. Nobody and nothing in it exists.")
        for one in made.people:
            console.print(f"  {one.login:<12} {one.role:<9} {one.name}", soft_wrap=True)
        console.print(f"Password of all of them: {made.password}", soft_wrap=True)
        serving.run(database, settings, place, folder, folder / _SOUNDS)
    finally:
        database.close()
