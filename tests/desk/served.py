"""`rostral serve` as a process of its own, with whatever options."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from desks import Practice

ROOT = Path(__file__).parents[2]
_ENDS_AFTER_S = 120


@dataclass(frozen=True, slots=True)
class Served:
    """A desk that answers at `address`; `told` is what was said beside it to whoever started it."""

    address: str
    told: str


@contextmanager
def serve(practice: Practice, *options: object) -> Iterator[Served]:
    """The desk of a practice, on a free port, until the block ends."""
    with tempfile.TemporaryFile("w+") as told:
        process = subprocess.Popen(
            _call(*options), cwd=ROOT, env=_settings(practice), stdout=subprocess.PIPE, stderr=told, text=True
        )
        try:
            yield Served(_address(process), _so_far(told.fileno()))
        finally:
            process.terminate()
            process.communicate(timeout=_ENDS_AFTER_S)


def _call(*options: object) -> list[str]:
    return [sys.executable, "-m", "pipeline.cli", "serve", "--port", "0", *map(str, options)]


def _settings(practice: Practice) -> dict[str, str]:
    options = practice.desk.options
    return {
        **os.environ,
        "ROSTRAL_DATABASE": practice.database.shown,
        "ROSTRAL_RECORDINGS": str(options.recordings),
        "ROSTRAL_MODEL": options.settings.model,
        "COLUMNS": "400",
    }


def _address(process: subprocess.Popen[str]) -> str:
    """Where it answers: it says so once the port is open, and that is all it writes to its output before requests come."""
    assert process.stdout is not None
    for line in process.stdout:
        if found := re.search(r"https?://\S+", line):
            for more in process.stdout:
                if "Ctrl-C" in more:
                    break
            return found[0]
    raise AssertionError(f"the desk ended with {process.wait()} before it said where it is")


def _so_far(file: int) -> str:
    return os.pread(file, 100_000, 0).decode()
