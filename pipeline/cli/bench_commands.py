"""The commands that measure: speed and memory of the chain, live listening, hearing."""

# Late imports, as in pipeline.cli.
# ruff: noqa: PLC0415

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.border import UsualCommandGroup

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

bench = typer.Typer(cls=UsualCommandGroup, help="Measure speed, memory and hearing on this machine.")


@bench.command("chain")
def bench_chain(
    audio: Annotated[
        Path | None,
        typer.Argument(help="A sound file; a bundled dictation if not given.", show_default=False),
    ] = None,
    runs: Annotated[
        int, typer.Option("--runs", "-n", min=1, max=100, help="Runs to take the median of.")
    ] = 3,
    live: Annotated[
        bool, typer.Option("--live", help="Live listening instead: from the pause to words and findings.")
    ] = False,
    model: Model = None,
    device: Device = None,
) -> None:
    """Speed and memory of the whole chain; what `rostral bench` does without the name of a measurement."""
    from pipeline.cli import measuring, measuring_live
    from pipeline.settings import load_settings

    settings = load_settings(model=model, device=device)
    if live:
        measuring_live.bench_live(audio, settings)
    else:
        measuring.bench(audio, settings, runs)


@bench.command("speech")
def bench_speech(
    folder: Annotated[
        Path | None,
        typer.Argument(
            help="Folder of recordings with their texts (NAME.txt); the bundled dictations if not given.",
            show_default=False,
        ),
    ] = None,
    model: Model = None,
    device: Device = None,
) -> None:
    """How well and how fast speech is heard, each step apart, and beside other recognisers."""
    from pipeline.cli import measuring_speech
    from pipeline.settings import load_settings

    measuring_speech.bench_speech(folder, load_settings(model=model, device=device))
