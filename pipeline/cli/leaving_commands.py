"""The commands by which records leave and come back: `rostral export`, `send`, `deliveries`, `receive`."""

# Late imports and many arguments: see the package.
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.book_commands import Json


def export(
    which: Annotated[
        list[str] | None,
        typer.Argument(
            help="Identifiers of signed records, or one file as 'rostral exam --json' writes it: a draft.",
            show_default=False,
        ),
    ] = None,
    forms: Annotated[
        list[str] | None,
        typer.Option(
            "--as",
            help="pdf, sheet (for the owner), fhir, json, csv, jsonl or ics; may be given several times.",
            show_default=False,
            metavar="FORM",
        ),
    ] = None,
    to: Annotated[
        Path | None,
        typer.Option(
            "--to",
            help="Folder for the files; the same call goes on after a stop.",
            show_default=False,
            metavar="FOLDER",
        ),
    ] = None,
    since: Annotated[
        str | None,
        typer.Option("--since", help="Visits from this day on.", show_default=False, metavar="DAY"),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option("--until", help="Visits up to this day.", show_default=False, metavar="DAY"),
    ] = None,
    release: Annotated[str, typer.Option("--release", help="Of FHIR: R4B or R5.")] = "R4B",
    person: Annotated[
        str | None,
        typer.Option("--person", help="Who acts, where several work.", show_default=False, metavar="NAME"),
    ] = None,
) -> None:
    """Write signed records as documents and files for other programs."""
    from pipeline.cli import exporting
    from pipeline.cli.inputs import read_day
    from pipeline.settings import load_settings

    settings = load_settings(person=person)
    days = (read_day(since, "--since") if since else None, read_day(until, "--until") if until else None)
    exporting.export(settings, which or [], exporting.wanted(settings, forms or ["pdf"], release, days, to))


def send(
    which: Annotated[str, typer.Argument(help="Identifier of a signed record.", show_default=False)],
    way: Annotated[str, typer.Option("--by", help="folder, mail (to the owner) or fhir.", metavar="WAY")],
    form: Annotated[
        str | None,
        typer.Option(
            "--as",
            help="As for 'export'; else pdf to a folder, sheet by mail, fhir to a server.",
            show_default=False,
            metavar="FORM",
        ),
    ] = None,
    release: Annotated[str, typer.Option("--release", help="Of FHIR: R4B or R5.")] = "R4B",
    person: Annotated[
        str | None,
        typer.Option("--person", help="Who acts, where several work.", show_default=False, metavar="NAME"),
    ] = None,
) -> None:
    """Hand a signed record over to the practice's folder, its owner or a FHIR server, with a receipt."""
    from pipeline.cli import sending
    from pipeline.settings import load_settings

    chosen = form or {"fhir": "fhir", "mail": "sheet"}.get(way, "pdf")
    sending.send(load_settings(person=person), which, way, chosen, release)


def deliveries(
    unsolved: Annotated[
        bool, typer.Option("--unsolved", help="What is not there yet, or failed, and nobody gave up.")
    ] = False,
    again: Annotated[
        str | None, typer.Option("--again", help="Try this one again.", show_default=False, metavar="ID")
    ] = None,
    give_up: Annotated[
        str | None, typer.Option("--give-up", help="Let this one be.", show_default=False, metavar="ID")
    ] = None,
    because: Annotated[
        str, typer.Option("--because", help="Why it is given up: it is kept.", metavar="WHY")
    ] = "",
    person: Annotated[
        str | None,
        typer.Option("--person", help="Who acts, where several work.", show_default=False, metavar="NAME"),
    ] = None,
    as_json: Json = False,
) -> None:
    """List receipts and what is not there yet; try one again, or give it up."""
    from pipeline.cli import sending
    from pipeline.cli.border import CallError
    from pipeline.settings import load_settings

    settings = load_settings(person=person)
    if again and give_up:
        raise CallError("Give --again or --give-up, not both.")
    if again:
        sending.again(settings, again)
    elif give_up:
        sending.give_up(settings, give_up, because)
    else:
        sending.listed(settings, unsolved=unsolved, as_json=as_json)


def receive(
    file: Annotated[
        Path, typer.Argument(help="A FHIR document (JSON, R4B or R5) that Rostral wrote.", show_default=False)
    ],
) -> None:
    """Take the record back from a FHIR document: check it, and write the record as JSON."""
    from pipeline.cli import receiving

    receiving.receive(file)
