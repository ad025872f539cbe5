"""The command line: `rostral`. Results go to standard output, all else to standard error.

Exit codes: 0 done, 1 the work failed, 2 the call was wrong, 130 stopped by the user. The commands themselves
stand in the modules of this package and are imported when they are called, so that help comes at once.
"""

# Late imports: `rostral --help` takes a fraction of a second instead of several. Many arguments: Typer makes
# each parameter an option.
# ruff: noqa: PLC0415

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli import (
    bench_commands,
    book_commands,
    job_commands,
    leaving_commands,
    record_commands,
    safe_commands,
)
from pipeline.cli.border import BorderGroup

app = typer.Typer(
    name="rostral",
    cls=BorderGroup,
    help="Listens to a spoken examination of a small animal and writes the clinical record, offline.",
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
words = typer.Typer(help="What the program knows of the trade's words.", no_args_is_help=True)
app.add_typer(words, name="lexicon")
app.add_typer(bench_commands.bench, name="bench")
app.add_typer(book_commands.practice, name="practice")
app.add_typer(book_commands.people, name="people")
app.add_typer(book_commands.owner, name="owner")
app.add_typer(book_commands.patient, name="patient")
app.add_typer(record_commands.record, name="record")
app.add_typer(safe_commands.backup, name="backup")
app.command()(leaving_commands.export)
app.command()(leaving_commands.send)
app.command()(leaving_commands.deliveries)
app.command()(leaving_commands.receive)
app.add_typer(job_commands.jobs, name="jobs")
app.command("worker")(job_commands.worker)

Audio = Annotated[
    Path,
    typer.Argument(
        help="A sound file (wav, flac, mp3, m4a, ogg, opus, webm), or the folder of a live examination.",
        show_default=False,
    ),
]
PatientFile = Annotated[
    Path | None, typer.Option("--patient", "-p", help="JSON file of the patient.", show_default=False)
]
Kind = Annotated[
    str | None,
    typer.Option(
        "--visit",
        "-v",
        help="health_check (unless you say another), vaccination, sick, recheck, pre_anaesthetic or senior.",
        metavar="KIND",
        show_default=False,
    ),
]
Day = Annotated[
    str | None,
    typer.Option(
        "--date", help="Day of the visit, YYYY-MM-DD; today if not given.", show_default=False, metavar="DAY"
    ),
]
Model = Annotated[
    str | None,
    typer.Option(
        "--model",
        "-m",
        help="Speech model: base, tiny.en, or a folder.",
        show_default=False,
        metavar="NAME|DIR",
    ),
]
Device = Annotated[
    str | None, typer.Option("--device", help="auto, cpu or cuda.", show_default=False, metavar="DEVICE")
]
Keep = Annotated[
    str | None,
    typer.Option(
        "--keep",
        help="Keep the record as a draft of this patient: identifier, microchip number, or words only one has.",
        show_default=False,
        metavar="PATIENT",
    ),
]
Who = book_commands.Who
Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output, nothing else.")]
Talk = Annotated[bool, typer.Option("--talk", help="Show the talk that made no finding, too.")]


def main() -> None:
    """Run the command line and end the process with its exit code."""
    app(prog_name="rostral")


@app.callback(invoke_without_command=True)
def _start(
    context: typer.Context,
    show_version: Annotated[bool, typer.Option("--version", help="Show the version and end.")] = False,
) -> None:
    from pipeline.cli.screen import output

    if show_version:
        output().print(f"rostral {version('rostral')}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        output().print(context.get_help())


@app.command()
def exam(  # noqa: PLR0913, PLR0917 - each is an option
    audio: Audio,
    patient: PatientFile = None,
    visit: Kind = None,
    date: Day = None,
    model: Model = None,
    device: Device = None,
    keep: Keep = None,
    who: Who = None,
    as_json: Json = False,
    talk: Talk = False,
) -> None:
    """Listen to a recorded examination and write the record."""
    from pipeline.cli import examining, kept
    from pipeline.settings import load_settings

    settings = load_settings(model=model, device=device, person=who)
    examining.exam(audio, settings, kept.Request(patient, visit, date, as_json, talk, keep))


@app.command()
def listen(  # noqa: PLR0913, PLR0917 - each is an option
    patient: PatientFile = None,
    visit: Kind = None,
    date: Day = None,
    microphone: Annotated[
        str | None,
        typer.Option(
            "--microphone", help="Name or number of the microphone.", show_default=False, metavar="NAME"
        ),
    ] = None,
    file: Annotated[
        Path | None,
        typer.Option(
            "--from",
            help="Rehearse: play a sound file as the microphone.",
            show_default=False,
            metavar="FILE",
        ),
    ] = None,
    speed: Annotated[
        float, typer.Option("--speed", min=0.1, max=100, help="With --from: times as fast as it was spoken.")
    ] = 1.0,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--to", help="New folder for the recording; by default among the user's data.", show_default=False
        ),
    ] = None,
    model: Model = None,
    device: Device = None,
    keep: Keep = None,
    who: Who = None,
    as_json: Json = False,
    talk: Talk = False,
) -> None:
    """Listen to an examination while it goes on; Ctrl-C or "end of examination" ends it."""
    from pipeline.cli import kept, listening
    from pipeline.settings import load_settings

    settings = load_settings(model=model, device=device, person=who)
    wanted = listening.Listening(microphone, file, speed, folder)
    listening.listen(settings, wanted, kept.Request(patient, visit, date, as_json, talk, keep))


@app.command()
def transcribe(audio: Audio, model: Model = None, device: Device = None, as_json: Json = False) -> None:
    """Write down what is said in a recording, with times."""
    from pipeline.cli import examining
    from pipeline.settings import load_settings

    examining.transcribe(audio, load_settings(model=model, device=device), as_json=as_json)


@app.command()
def extract(  # noqa: PLR0913, PLR0917 - each is an option
    text: Annotated[str, typer.Argument(help="A text file, or - for standard input.", show_default=False)],
    patient: PatientFile = None,
    visit: Kind = None,
    date: Day = None,
    keep: Keep = None,
    who: Who = None,
    as_json: Json = False,
    talk: Talk = False,
    explain: Annotated[
        bool,
        typer.Option(
            "--explain", help="Show instead how each clause is understood, and why; with --json as JSON."
        ),
    ] = False,
) -> None:
    """Write the record of an examination that is a text already."""
    from pipeline.cli import examining, kept
    from pipeline.settings import load_settings

    request = kept.Request(patient, visit, date, as_json, talk, keep)
    examining.extract(text, load_settings(person=who), request, explain=explain)


@app.command()
def demo(
    sample: Annotated[str, typer.Argument(help="A bundled dictation.")] = "dog_chatty",
    web: Annotated[
        bool, typer.Option("--web", help="Instead: an invented practice, at its desk in the browser.")
    ] = False,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--to",
            help="With --web: a folder to keep it in; gone at the end unless given.",
            show_default=False,
            metavar="DIR",
        ),
    ] = None,
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="With --web: port, 0 a free one.")
    ] = 0,
    model: Model = None,
    device: Device = None,
    talk: Talk = False,
) -> None:
    """Write the record of a bundled dictation, or show the whole desk."""
    from pipeline.settings import load_settings

    settings = load_settings(model=model, device=device)
    if web:
        from pipeline.cli import demonstrating, serving

        demonstrating.demonstrate(settings, serving.Place("127.0.0.1", port), folder)
    else:
        from pipeline.cli import examining

        examining.demo(sample, settings, talk=talk)


@app.command()
def serve(
    host: Annotated[
        str, typer.Option("--host", help="Address to listen at; this machine alone unless you say another.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0 takes a free one.")] = 8571,
    certificate: Annotated[
        Path | None,
        typer.Option("--certificate", help="TLS certificate, PEM.", show_default=False, metavar="FILE"),
    ] = None,
    key: Annotated[
        Path | None,
        typer.Option("--key", help="The certificate's key, PEM.", show_default=False, metavar="FILE"),
    ] = None,
    proxy: Annotated[
        str | None,
        typer.Option(
            "--proxy",
            help="Address of a proxy in front that speaks TLS; its X-Forwarded headers are believed.",
            show_default=False,
            metavar="ADDRESS",
        ),
    ] = None,
    data: Annotated[
        Path | None,
        typer.Option("--data", help="Folder for what is being recorded.", show_default=False, metavar="DIR"),
    ] = None,
    model: Model = None,
    device: Device = None,
) -> None:
    """Open the desk: exam room, review and filing in a browser."""
    from pipeline.cli import serving
    from pipeline.settings import load_settings

    place = serving.Place(host, port, certificate, key, proxy)
    serving.serve(load_settings(model=model, device=device), place, data)


@app.command()
def check(
    model: Model = None,
    audit: Annotated[
        bool,
        typer.Option(
            "--audit", help="Instead: hold all kept records against the audit trail and its anchors."
        ),
    ] = False,
    as_json: Json = False,
) -> None:
    """Check what the program needs: models, lexicon, microphone, cache, database."""
    from pipeline.cli import auditing, checking
    from pipeline.settings import load_settings

    if audit:
        auditing.check_trail(load_settings(), as_json=as_json)
    else:
        checking.check(load_settings(model=model), as_json=as_json)


@app.command()
def schema() -> None:
    """Print the JSON Schema of a record."""
    from pipeline.cli.screen import write_json
    from pipeline.record.schema import record_schema

    write_json(record_schema())


@app.command()
def evaluate(
    folder: Annotated[
        Path,
        typer.Argument(
            help="A folder of annotated dictations (*.toml), or one that holds such folders.",
            show_default=False,
        ),
    ],
    errors: Annotated[bool, typer.Option("--errors", help="Name every mistake.")] = False,
    as_json: Json = False,
    questions: Annotated[
        Path | None,
        typer.Option("--questions", help="Write what other programs are asked to this file, and end."),
    ] = None,
    peers: Annotated[
        list[Path] | None,
        typer.Option("--peers", help="Compare with another program's file of answers; may be repeated."),
    ] = None,
) -> None:
    """Score the understanding of texts against annotated dictations."""
    from pipeline.cli import scoring

    if questions:
        scoring.write_questions(folder, questions)
    elif peers:
        scoring.compare_with(folder, peers)
    else:
        scoring.evaluate(folder, list_errors=errors, as_json=as_json)


@app.command("import")
def take_in(
    file: Annotated[Path, typer.Argument(help="A list of owners and patients, CSV.", show_default=False)],
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only say what would be taken in, and what is wrong.")
    ] = False,
    encoding: Annotated[
        str | None, typer.Option("--encoding", help="Found out if not given.", show_default=False)
    ] = None,
    delimiter: Annotated[
        str | None,
        typer.Option("--delimiter", help="Found out if not given; tab for a tab.", show_default=False),
    ] = None,
    dates: Annotated[
        str | None,
        typer.Option("--dates", help="day-first or month-first, for 03/04/2020.", show_default=False),
    ] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Take in owners and patients from a list: all rows, or none and what is wrong with each."""
    from pipeline.cli import importing
    from pipeline.settings import load_settings

    importing.take(
        load_settings(person=who),
        file,
        encoding=encoding,
        delimiter=delimiter,
        dates=dates,
        dry_run=dry_run,
        as_json=as_json,
    )


@app.command("find")
def find_kept(
    wanted: Annotated[list[str], typer.Argument(help="Words, or their beginnings.", show_default=False)],
    of: Annotated[
        str | None,
        typer.Option("--of", help="owner, patient or record.", show_default=False, metavar="KIND"),
    ] = None,
    limit: record_commands.Limit = 20,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Find owners, patients and signed records by what is written or said in them."""
    from pipeline.cli import records
    from pipeline.settings import load_settings

    records.find(load_settings(person=who), " ".join(wanted), of, limit, as_json=as_json)


@words.command("find")
def find(
    word: Annotated[list[str], typer.Argument(help="A word or phrase as it is spoken.", show_default=False)],
) -> None:
    """Show what a word stands for, and which table says so."""
    from pipeline.cli import checking

    checking.find(" ".join(word))
