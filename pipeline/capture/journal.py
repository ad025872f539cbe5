"""A file that only grows, one JSON object a line, each with a checksum.

What a torn or damaged line said is lost, and nothing else.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_CHECKSUM = "crc32"


@dataclass(frozen=True)
class JournalLines:
    """What a journal holds: the whole lines in order, and how many are torn or damaged."""

    lines: tuple[dict[str, Any], ...]
    damaged: int


class Journal:
    """Adds lines at the end of a file; each is on the disk when `add` returns.

    A line that was torn when the machine stopped is never touched: the next one begins behind it.
    Raises OSError as the disk gives it.
    """

    def __init__(self, path: Path) -> None:
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0), 0o600)
        # Also what another program left without its end.
        self._torn = not _ends_with_line_break(path)

    def add(self, line: Mapping[str, Any]) -> None:
        """Write one object."""
        text = ("\n" if self._torn else "") + _with_checksum(line) + "\n"
        self._torn = True
        write_all(self._file, text.encode())
        os.fsync(self._file)
        self._torn = False

    def close(self) -> None:
        """Let go of the file."""
        os.close(self._file)


def read_journal(path: Path) -> JournalLines:
    """Read the lines whose checksum is right. A file that is not there has none. Raises OSError."""
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        return JournalLines((), 0)
    found = [_checked(line) for line in raw.split(b"\n") if line.strip()]
    whole = tuple(line for line in found if line is not None)
    return JournalLines(whole, len(found) - len(whole))


def write_all(file: int, data: bytes) -> None:
    """Write to an open file until all is written, as one call may write less. Raises OSError."""
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(file, rest) :]


def _ends_with_line_break(path: Path) -> bool:
    with path.open("rb") as file:
        if not file.seek(0, os.SEEK_END):
            return True
        file.seek(-1, os.SEEK_END)
        return file.read() == b"\n"


def _with_checksum(line: Mapping[str, Any]) -> str:
    return _written({**line, _CHECKSUM: _checksum(line)})


def _checked(raw: bytes) -> dict[str, Any] | None:
    try:
        line = json.loads(raw)
    except (ValueError, RecursionError):
        return None
    if not isinstance(line, dict):
        return None
    checksum = line.pop(_CHECKSUM, None)
    return line if checksum == _checksum(line) else None


def _checksum(line: Mapping[str, Any]) -> str:
    return f"{zlib.crc32(_written(line).encode()):08x}"


def _written(line: Mapping[str, Any]) -> str:
    return json.dumps(line, sort_keys=True, separators=(",", ":"))
