"""The commands that keep the practice's data safe: backups."""

# Late imports: see the package.
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.book_commands import Json, Who

backup = typer.Typer(help="Copies of everything that is kept: make, check, restore.", no_args_is_help=True)

Folder = Annotated[Path, typer.Argument(help="The folder of a backup.", show_default=False)]


@backup.command("make")
def make(
    folder: Annotated[
        Path | None,
        typer.Option("--to", help="New folder; by default one in ROSTRAL_BACKUPS.", show_default=False),
    ] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Copy everything into a new folder, while others go on working."""
    from pipeline.cli import backups
    from pipeline.settings import load_settings

    backups.make(load_settings(person=who), folder, as_json=as_json)


@backup.command("check")
def check(folder: Folder) -> None:
    """Hold a backup against its checksums."""
    from pipeline.cli import backups

    backups.check(folder)


@backup.command("restore")
def restore(
    folder: Folder,
    into: Annotated[
        str | None,
        typer.Option(
            "--into",
            help="A file or an empty server database; the usual one if not given.",
            show_default=False,
        ),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Move the database file that is there aside first.")
    ] = False,
    who: Who = None,
) -> None:
    """Bring a backup back, and say what was kept since and is not in it."""
    from pipeline.cli import backups
    from pipeline.settings import load_settings

    backups.restore(load_settings(person=who), folder, into, replace=replace)
