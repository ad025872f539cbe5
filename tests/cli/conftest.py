"""Runs the real command, in this process or its own, away from the settings of whoever tests."""

from __future__ import annotations

import os
import subprocess
import sys

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
