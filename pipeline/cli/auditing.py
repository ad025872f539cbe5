"""The command that holds what is kept against the audit trail: rostral check --audit."""

from __future__ import annotations

import typer
from rich.text import Text

from pipeline.cli.border import WORK_FAILED
from pipeline.cli.keeping import open_database
from pipeline.cli.screen import complain, output, printable, write_json
from pipeline.settings import Settings
from pipeline.store.audit import audited


def check_trail(settings: Settings, *, as_json: bool) -> None:
    """Say of every event and record that is not as it was written which one it is; then end with code 1."""
    with open_database(settings) as database:
        found = audited(database)
        place, anchors = database.shown, database.anchors.folder
    if as_json:
        write_json(found.model_dump(mode="json"))
    else:
        console = output()
        for fault in found.faults:
            console.print(Text(printable(fault)), soft_wrap=True)
        console.print(
            f"{found.practices} practices, {found.events} events, {found.versions} signed versions in {place};"
            f" {found.anchored} anchors in {anchors}.",
            soft_wrap=True,
        )
    if found.faults:
        count = len(found.faults)
        complain(
            f"The audit found {count} fault{'' if count == 1 else 's'}. Change nothing, make a copy of the database,"
            " find out who had access, and restore the last backup that passes the audit."
        )
        raise typer.Exit(WORK_FAILED)
    if not as_json:
        output().print("All is as it was written.")
