"""What the tests of the command line share: types of the runners, folders, and the reading of one-line errors."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

from typer.testing import Result

Run = Callable[..., Result]
Process = Callable[..., "subprocess.CompletedProcess[bytes]"]

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "audio_samples"


def one_line(text: str) -> str:
    """Give the only line of a text; anything else fails the test that asks."""
    lines = text.splitlines()
    assert len(lines) == 1, lines
    assert "Traceback" not in text
    return lines[0]
