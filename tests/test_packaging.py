"""What is installed is complete: every package, every table, every library that is imported."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from fnmatch import fnmatch
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PACKAGES = ("audio_samples", "lexicon", "models", "pipeline")


def files() -> list[Path]:
    """List what stands in the packages, without what Python leaves there."""
    return [
        file
        for package in PACKAGES
        for file in (ROOT / package).rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    ]


def names(requirements: list[str]) -> set[str]:
    """Give the bare names of requirements, as the packaging rules compare them."""
    return {normal(re.split(r"[<>=!~\[; ]", requirement, maxsplit=1)[0]) for requirement in requirements}


def normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def imported(folder: Path) -> set[str]:
    """List the top-level modules that a folder's Python files import."""
    found = set()
    for file in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.split(".")[0])
    return found


def test_every_folder_is_a_package_of_the_list() -> None:
    """A stage that is not listed would be missing from a wheel, and nobody would see it in an editable install."""
    folders = {".".join(file.parent.relative_to(ROOT).parts) for file in files()}
    assert set(PROJECT["tool"]["setuptools"]["packages"]) == folders


def test_every_file_is_packaged() -> None:
    """A table or sample of a new kind of file needs its pattern."""
    patterns = ["*.py", *PROJECT["tool"]["setuptools"]["package-data"]["*"]]
    left_out = [file for file in files() if not any(fnmatch(file.name, pattern) for pattern in patterns)]
    assert left_out == []


@pytest.mark.parametrize("package", PACKAGES[1:])
def test_every_imported_library_is_required(package: str) -> None:
    """Also where another library happens to bring it: that may end."""
    ours = {*PACKAGES, *sys.stdlib_module_names}
    distributions = packages_distributions()
    required = names(PROJECT["project"]["dependencies"])
    # What only measuring needs is an extra; who measures without it is told.
    required |= names(PROJECT["project"]["optional-dependencies"]["measure"])
    for module in sorted(imported(ROOT / package) - ours):
        assert required & {normal(name) for name in distributions[module]}, f"{package} imports {module}"


def test_every_requirement_is_pinned_once() -> None:
    """The constraints hold each library that is asked for, each with one exact version."""
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pins = [line for line in lines if line and not line.startswith("#")]
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.]+", pin) for pin in pins)
    pinned = [normal(pin.split("==")[0]) for pin in pins]
    assert len(set(pinned)) == len(pinned)
    extras = PROJECT["project"]["optional-dependencies"]
    asked = names([*PROJECT["project"]["dependencies"], *(row for extra in extras.values() for row in extra)])
    assert asked <= set(pinned)
