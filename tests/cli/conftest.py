"""Runs the real command, in this process or its own, away from the settings of whoever tests."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from commands import ROOT, Process, Run
from typer.testing import CliRunner, Result

from pipeline.cli import app


@pytest.fixture(autouse=True)
def _own_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in list(os.environ):
        # The folder of joined models is kept: joining them anew would take a minute and test nothing here.
        if name.startswith("ROSTRAL_") and name != "ROSTRAL_CACHE":
            monkeypatch.delenv(name)
    for name in ("NO_COLOR", "FORCE_COLOR", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture
def run() -> Run:
    """Run the command in this process."""

    def invoke(*arguments: object, given: str | bytes | None = None) -> Result:
        return CliRunner().invoke(app, [str(argument) for argument in arguments], input=given)

    return invoke


@pytest.fixture
def process() -> Process:
    """Run the command as a process of its own; keyword arguments are environment variables."""

    def start(*arguments: object, **variables: str) -> subprocess.CompletedProcess[bytes]:
        command = [sys.executable, "-m", "pipeline.cli", *map(str, arguments)]
        environment = {**os.environ, **variables}
        return subprocess.run(command, capture_output=True, check=False, cwd=ROOT, env=environment)

    return start


PATIENT = {
    "name": "Juniper",
    "species": "cat",
    "birth_date": "2023-03-20",
    "microchip": "840000000000103",
    "owner": {"name": "Dana Whitlock", "phone": "555 0142"},
}


@pytest.fixture
def books(monkeypatch: pytest.MonkeyPatch, address: str | Path, run: Run) -> str | Path:
    """A practice of three people in an empty database."""
    monkeypatch.setenv("ROSTRAL_DATABASE", str(address))
    assert run("practice", "begin", "Alder Lane Surgery", "--manager", "Odile Farran").exit_code == 0
    for name, role in (("Ines Halloran", "vet"), ("Tobin Marsh", "nurse")):
        assert run("people", "add", name, "--role", role, "--as", "Odile Farran").exit_code == 0
    return address


@pytest.fixture
def juniper(tmp_path: Path, books: str | Path, run: Run) -> str:
    """The identifier of a kept patient."""
    file = tmp_path / "juniper.json"
    file.write_text(json.dumps(PATIENT), encoding="utf-8")
    added = run("patient", "add", file, "--as", "tobin marsh")
    assert added.exit_code == 0, added.stderr
    return added.stdout.split()[-1]
