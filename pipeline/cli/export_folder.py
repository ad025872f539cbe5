"""The folder of an export: every file whole or not there, and a list of what is done, so that a call after a kill goes on."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType

from pydantic import ValidationError

from pipeline.cli.border import WorkError
from pipeline.speech.model import Frozen

_LIST = "exported.jsonl"
_HALF = ".half"
_JOINED = {"csv": "facts.csv", "jsonl": "facts.jsonl"}


class Done(Frozen):
    """A line of the list: a file that is there whole."""

    record: str
    version: int
    form: str
    file: str
    sha256: str


class ExportFolder:
    """Use it in a `with`: every failure to write becomes one line that says what to do."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._done: dict[tuple[str, int, str], Done] = {}
        self._written = 0
        self._kept = 0

    @property
    def counts(self) -> tuple[int, int]:
        """How many files were written, and how many were there already."""
        return self._written, self._kept

    def __enter__(self) -> ExportFolder:
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            for half in self._folder.glob(f"*{_HALF}"):
                half.unlink()
            self._read()
        except OSError as error:
            raise self._fault(error) from None
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if isinstance(error, OSError):
            raise self._fault(error) from None

    def has(self, record: str, version: int, form: str) -> bool:
        """Tell whether a file is there as it was written."""
        done = self._done.get((record, version, form))
        if done is None:
            return False
        try:
            whole = hashlib.sha256((self._folder / done.file).read_bytes()).hexdigest() == done.sha256
        except FileNotFoundError:
            return False
        self._kept += whole
        return whole

    def put(self, record: str, version: int, form: str, name: str, data: bytes) -> None:
        """Write a file and its line in the list."""
        self.add(name, data)
        done = Done(
            record=record, version=version, form=form, file=name, sha256=hashlib.sha256(data).hexdigest()
        )
        with (self._folder / _LIST).open("ab") as listed:
            listed.write(f"{done.model_dump_json()}\n".encode())
            listed.flush()
            os.fsync(listed.fileno())
        self._done[record, version, form] = done
        self._written += 1

    def add(self, name: str, data: bytes) -> None:
        """Write a file: under another name until it is whole and on the disk."""
        half = self._folder / f"{name}{_HALF}"
        try:
            with half.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            half.replace(self._folder / name)
        except OSError:
            half.unlink(missing_ok=True)
            raise

    def join(self, forms: Sequence[str], records: set[str], csv_head: bytes) -> bool:
        """Make one table of the records' own ones, one file read at a time. Tells whether there was one to make."""
        made = False
        for form, name in _JOINED.items():
            if form not in forms:
                continue
            last: dict[str, Done] = {}
            for done in self._done.values():
                if done.form == form and done.record in records:
                    last[done.record] = max(last.get(done.record, done), done, key=lambda one: one.version)
            half = self._folder / f"{name}{_HALF}"
            with half.open("wb") as file:
                file.write(csv_head if form == "csv" else b"")
                for done in last.values():
                    data = (self._folder / done.file).read_bytes()
                    file.write(data.removeprefix(csv_head) if form == "csv" else data)
                file.flush()
                os.fsync(file.fileno())
            half.replace(self._folder / name)
            made = True
        return made

    def _read(self) -> None:
        """Read the list; a last line that a kill tore is left out, and its file written again."""
        path = self._folder / _LIST
        if not path.exists():
            return
        data = path.read_bytes()
        for line in data.splitlines():
            try:
                done = Done.model_validate(json.loads(line))
            except (ValueError, ValidationError):
                continue
            self._done[done.record, done.version, done.form] = done
        if data and not data.endswith(b"\n"):
            with path.open("ab") as listed:
                listed.write(b"\n")

    def _fault(self, error: OSError) -> WorkError:
        reason = error.strerror or str(error)
        return WorkError(
            f"{error.filename or self._folder} cannot be written: {reason}. What is there is whole; the same command goes"
            " on from there once this is solved."
        )
