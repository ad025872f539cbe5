"""The commands on kept records, `rostral record …`. Their bodies stand in modules of their own."""

# Late imports and many arguments: see the package.
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from pipeline.cli.book_commands import Json, Patient, Who

record = typer.Typer(
    help="Kept records: look at them, review, sign, amend, file, compare.", no_args_is_help=True
)

Record = Annotated[
    str, typer.Argument(help="Identifier of the record; its beginning is enough.", show_default=False)
]
Fact = Annotated[str, typer.Argument(help="Name of a fact, f1 say: see 'facts'.", show_default=False)]
Facts = Annotated[list[str], typer.Argument(help="Names of facts, f1 m2 say.", show_default=False)]
Because = Annotated[str, typer.Option("--because", help="The reason: it is kept.", metavar="WHY")]
Fields = Annotated[
    list[str],
    typer.Argument(help="What to set: side=right severity=mild; side= empties it.", show_default=False),
]
Limit = Annotated[int, typer.Option("--limit", min=1, max=10_000, help="So many at most.")]


@record.command("keep")
def keep(
    file: Annotated[Path, typer.Argument(help="A record as --json writes it.", show_default=False)],
    patient: Patient,
    who: Who = None,
) -> None:
    """Keep a record that was written as JSON, as a draft of a new visit."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.keep(load_settings(person=who), file, patient)


@record.command("list")
def listed(
    state: Annotated[
        str | None,
        typer.Option("--state", help="draft, signed or filed.", show_default=False, metavar="STATE"),
    ] = None,
    patient: Annotated[
        str | None, typer.Option("--patient", help="Of this patient only.", show_default=False)
    ] = None,
    limit: Limit = 50,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """List records, the newest first."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.listed(load_settings(person=who), state, patient, limit, as_json=as_json)


@record.command("show")
def show(
    which: Record,
    version: Annotated[
        int | None, typer.Option("--version", min=1, help="An earlier signed version.", show_default=False)
    ] = None,
    talk: Annotated[bool, typer.Option("--talk", help="Show the talk that made no finding, too.")] = False,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Show a record as it stands; the trail keeps who looked."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.show(load_settings(person=who), which, version, as_json=as_json, talk=talk)


@record.command("facts")
def facts(which: Record, who: Who = None, as_json: Json = False) -> None:
    """Show a draft for review: each fact by its name, and what is to be answered."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.facts(load_settings(person=who), which, as_json=as_json)


@record.command("accept")
def accept(
    which: Record,
    names: Annotated[list[str] | None, typer.Argument(help="Names of facts.", show_default=False)] = None,
    certain: Annotated[
        bool, typer.Option("--certain", help="All that was understood with certainty and nobody asks about.")
    ] = False,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Confirm facts as they stand."""
    from pipeline.cli.border import CallError

    if bool(names) == certain:
        raise CallError("Name facts to accept, or give --certain.")
    operations = [{"do": "accept", "fact": name} for name in names or []]
    _do(which, operations or [{"do": "accept_certain"}], who, as_json)


@record.command("correct")
def correct(which: Record, fact: Fact, fields: Fields, who: Who = None, as_json: Json = False) -> None:
    """Set fields of a fact; what was understood stays beside it."""
    from pipeline.cli import reviewing

    _do(which, [reviewing.correction(fact, fields)], who, as_json)


@record.command("reject")
def reject(
    which: Record,
    names: Facts,
    because: Annotated[
        str | None, typer.Option("--because", help="The reason.", show_default=False, metavar="WHY")
    ] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Take facts out of the record; they stay in its review."""
    _do(which, [{"do": "reject", "fact": name, "reason": because} for name in names], who, as_json)


@record.command("restore")
def restore(which: Record, names: Facts, who: Who = None, as_json: Json = False) -> None:
    """Let facts stand again as they were understood."""
    _do(which, [{"do": "restore", "fact": name} for name in names], who, as_json)


@record.command("split")
def split(
    which: Record,
    fact: Fact,
    into: Annotated[
        list[str],
        typer.Option("--into", help='Fields of one part: "side=left severity=mild"; for each part once.'),
    ],
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Make several findings of one."""
    from pipeline.cli import reviewing

    parts = [reviewing.changes_of("finding", part.split()) for part in into]
    _do(which, [{"do": "split", "fact": fact, "into": parts}], who, as_json)


@record.command("merge")
def merge(
    which: Record,
    names: Facts,
    fields: Annotated[
        list[str] | None, typer.Option("--set", help="FIELD=VALUE of the one finding.", show_default=False)
    ] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Make one finding of several."""
    from pipeline.cli import reviewing

    changes = reviewing.changes_of("finding", fields) if fields else {}
    _do(which, [{"do": "merge", "facts": names, "changes": changes}], who, as_json)


@record.command("add")
def add(
    which: Record,
    kind: Annotated[str, typer.Argument(help="finding, measurement or plan.", show_default=False)],
    fields: Fields,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Add a fact by hand."""
    from pipeline.cli import reviewing

    _do(which, [reviewing.addition(kind, fields)], who, as_json)


@record.command("normal")
def normal(
    which: Record,
    systems: Annotated[list[str], typer.Argument(help="Body systems, ears say.", show_default=False)],
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Say that systems were examined and nothing was wrong."""
    _do(which, [{"do": "mark_normal", "system": system} for system in systems], who, as_json)


@record.command("not-examined")
def not_examined(
    which: Record,
    systems: Annotated[list[str], typer.Argument(help="Body systems, ears say.", show_default=False)],
    because: Because,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Say that systems were not examined, and why."""
    operations = [{"do": "mark_not_examined", "system": system, "reason": because} for system in systems]
    _do(which, operations, who, as_json)


@record.command("acknowledge")
def acknowledge(
    which: Record,
    notices: Annotated[list[str], typer.Argument(help="Keys of notices: see 'facts'.", show_default=False)],
    because: Because,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Answer notices without changing anything, and say why."""
    from pipeline.cli import reviewing
    from pipeline.settings import load_settings

    reviewing.acknowledge(load_settings(person=who), which, notices, because, as_json=as_json)


@record.command("apply")
def apply(
    which: Record,
    source: Annotated[
        str, typer.Argument(help="JSON file of operations, - for standard input.", show_default=False)
    ],
    revision: Annotated[
        int | None,
        typer.Option("--revision", help="Only if the draft is still of this revision.", show_default=False),
    ] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Apply the operations of a review from a file, all or none."""
    from pipeline.cli import reviewing
    from pipeline.settings import load_settings

    reviewing.apply_file(load_settings(person=who), which, source, revision, as_json=as_json)


@record.command("sign")
def sign(
    which: Record,
    because: Annotated[
        str | None,
        typer.Option("--because", help="Why a signed record is amended.", show_default=False, metavar="WHY"),
    ] = None,
    who: Who = None,
) -> None:
    """Sign a draft; only a vet can, and no notice of weight may wait."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.sign(load_settings(person=who), which, because)


@record.command("amend")
def amend(which: Record, who: Who = None) -> None:
    """Open a new draft from a signed record, which stays as it is."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.amend(load_settings(person=who), which)


@record.command("leave")
def leave(which: Record, who: Who = None) -> None:
    """Give up the draft of an amendment: the record is again as it was signed."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.leave(load_settings(person=who), which)


@record.command("file")
def file(
    which: Record,
    note: Annotated[str, typer.Option("--note", help="Where it is filed.", metavar="TEXT")] = "",
    who: Who = None,
) -> None:
    """Mark a signed record as filed."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.file(load_settings(person=who), which, note)


@record.command("trail")
def trail(which: Record, who: Who = None, as_json: Json = False) -> None:
    """Show who did what to a record, and when."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.trail(load_settings(person=who), which, as_json=as_json)


@record.command("due")
def due(
    years: Annotated[
        int | None,
        typer.Option(
            "--years", min=1, max=100, help="Instead of what the practice has set.", show_default=False
        ),
    ] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """List patients that were not seen for as long as records are kept; removes nothing."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.due(load_settings(person=who), years, as_json=as_json)


@record.command("compare")
def compare(
    which: Record,
    other: Annotated[
        str | None,
        typer.Option(
            "--with", help="Another record; the signed one before it if not given.", show_default=False
        ),
    ] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Compare a record with the patient's examination before it."""
    from pipeline.cli import comparing
    from pipeline.settings import load_settings

    comparing.compare_records(load_settings(person=who), which, other, as_json=as_json)


def _do(which: str, operations: list[dict[str, Any]], who: str | None, as_json: bool) -> None:
    from pipeline.cli import reviewing
    from pipeline.settings import load_settings

    reviewing.do(load_settings(person=who), which, operations, as_json=as_json)
