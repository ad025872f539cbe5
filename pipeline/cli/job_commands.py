"""The commands on background work: `rostral jobs …` and `rostral worker`. Their bodies stand in modules of their own."""

# Late imports and many arguments: see the package.
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.book_commands import Json, Who

jobs = typer.Typer(
    help="Background work: ask for it, look at it, cancel it, try it again.", no_args_is_help=True
)

Which = Annotated[
    str, typer.Argument(help="Identifier of the job; its beginning is enough.", show_default=False)
]


@jobs.command("list")
def listed(
    state: Annotated[
        str | None,
        typer.Option(
            "--state",
            help="queued, running, waiting, done, failed or cancelled.",
            show_default=False,
            metavar="STATE",
        ),
    ] = None,
    limit: Annotated[int, typer.Option("--limit", min=1, max=10_000, help="So many at most.")] = 50,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """List jobs, the newest first."""
    from pipeline.cli import job_views
    from pipeline.settings import load_settings

    job_views.listed(load_settings(person=who), state, limit, as_json=as_json)


@jobs.command("show")
def show(which: Which, who: Who = None, as_json: Json = False) -> None:
    """Show a job: how far it is, why it failed, what came of it."""
    from pipeline.cli import job_views
    from pipeline.settings import load_settings

    job_views.show(load_settings(person=who), which, as_json=as_json)


@jobs.command("cancel")
def cancel(which: Which, who: Who = None) -> None:
    """Let a job go no further; what it did already stays."""
    from pipeline.cli import job_views
    from pipeline.settings import load_settings

    job_views.cancel(load_settings(person=who), which)


@jobs.command("retry")
def retry(which: Which, who: Who = None) -> None:
    """Do a job again that failed, waits or was cancelled, from the step that failed."""
    from pipeline.cli import job_views
    from pipeline.settings import load_settings

    job_views.retry(load_settings(person=who), which)


@jobs.command("transcribe")
def transcribe(
    audio: Annotated[Path, typer.Argument(help="A sound file of the examination.", show_default=False)],
    patient: Annotated[
        str,
        typer.Option(
            "--for",
            help="The patient: identifier, microchip number, or words only one has.",
            show_default=False,
            metavar="PATIENT",
        ),
    ],
    kind: Annotated[
        str | None, typer.Option("--visit", "-v", help="Kind of visit.", metavar="KIND", show_default=False)
    ] = None,
    day: Annotated[
        str | None,
        typer.Option(
            "--date",
            help="Day of the visit, YYYY-MM-DD; today if not given.",
            show_default=False,
            metavar="DAY",
        ),
    ] = None,
    who: Who = None,
) -> None:
    """Keep a recording with a new visit, and have its record written in the background."""
    from pipeline.cli import job_wishes
    from pipeline.settings import load_settings

    job_wishes.transcribe(load_settings(person=who), audio, patient, kind, day)


@jobs.command("reread")
def reread(
    drafts: Annotated[
        bool,
        typer.Option("--drafts", help="Keep what is read otherwise as drafts beside the signed records."),
    ] = False,
    who: Who = None,
) -> None:
    """Have all signed records' transcripts understood anew, and be told what would be read otherwise."""
    from pipeline.cli import job_wishes
    from pipeline.settings import load_settings

    job_wishes.reread(load_settings(person=who), drafts=drafts)


@jobs.command("print")
def print_records(
    records: Annotated[
        list[str],
        typer.Argument(
            help="Identifiers of signed records; their beginnings are enough.", show_default=False
        ),
    ],
    who: Who = None,
) -> None:
    """Have the documents of signed records made and kept."""
    from pipeline.cli import job_wishes
    from pipeline.settings import load_settings

    job_wishes.print_records(load_settings(person=who), records)


@jobs.command("backup")
def backup(
    folder: Annotated[
        Path | None,
        typer.Argument(help="A new folder; by default one where backups are kept.", show_default=False),
    ] = None,
    who: Who = None,
) -> None:
    """Have a backup made."""
    from pipeline.cli import job_wishes
    from pipeline.settings import load_settings

    job_wishes.backup(load_settings(person=who), folder)


def worker(
    once: Annotated[bool, typer.Option("--once", help="End as soon as nothing is left to do.")] = False,
    silence: Annotated[
        float,
        typer.Option(
            "--silence",
            min=1,
            max=600,
            help="Seconds without a sign of life after which another worker's jobs are taken over.",
        ),
    ] = 20,
    model: Annotated[
        str | None,
        typer.Option(
            "--model",
            "-m",
            help="Speech model: base, tiny.en, or a folder.",
            show_default=False,
            metavar="NAME|DIR",
        ),
    ] = None,
) -> None:
    """Do background work on this machine until it is ended; several may work for one database."""
    from pipeline.cli import working
    from pipeline.settings import load_settings

    working.work(load_settings(model=model), silence, once=once)
