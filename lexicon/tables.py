"""Reads TOML tables and checks each row against its shape; an error names file, row and column."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from lexicon.schema import Row

R = TypeVar("R", bound=Row)


class LexiconError(ValueError):
    """A table cannot be used: the message names the file, the row and the column, and what would be right."""


def read_table(table: Traversable | Path) -> dict[str, Any]:
    """The content of one TOML file.

    Raises LexiconError for one that is missing, closed to us, garbled or wrongly encoded.
    """
    try:
        return tomllib.loads(table.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise LexiconError(f"{table} is missing. Put the table back or reinstall the program.") from error
    except tomllib.TOMLDecodeError as error:
        raise LexiconError(f"{table} is not valid TOML: {error}. Mend the file at that line.") from error
    except UnicodeDecodeError as error:
        raise LexiconError(f"{table} is not UTF-8 text: {error}. Save it as UTF-8.") from error
    except OSError as error:
        raise LexiconError(f"{table} cannot be read: {error.strerror or error}. Make it readable.") from error


def rows_of(table: Traversable | Path, key: str, shape: type[R]) -> Iterator[tuple[str, R]]:
    """Yield (place, row) of a table that holds rows of one kind only; the place is what an error shows.

    Raises LexiconError for a bad table or row.
    """
    data = read_table(table)
    unknown = set(data) - {key}
    if unknown:
        raise LexiconError(f"{table}: unknown table {sorted(unknown)[0]!r}; only [[{key}]] stands here.")
    yield from check_rows(str(table), data, key, shape)


def check_rows(name: str, data: dict[str, Any], key: str, shape: type[R]) -> Iterator[tuple[str, R]]:
    """Yield (place, row) for the rows of one kind in the content of the file `name`.

    Raises LexiconError for a bad row.
    """
    rows = data.get(key, [])
    if not isinstance(rows, list) or not all(isinstance(raw, dict) for raw in rows):
        raise LexiconError(f"{name}: {key} is no row. Begin each row with [[{key}]] on a line of its own.")
    for number, raw in enumerate(rows, start=1):
        place = f"{name}, {key} {number} ({raw.get('id') or raw.get('of') or raw.get('kind') or 'no id'})"
        try:
            yield place, shape.model_validate(raw)
        except ValidationError as error:
            first = error.errors()[0]
            column = ".".join(str(part) for part in first["loc"]) or "row"
            fault = _FAULTS.get(first["type"], f"{first['msg']} (got {first.get('input')!r})")
            raise LexiconError(f"{place}: {column}: {fault.format(got=repr(first.get('input')))}.") from error


_FAULTS = {
    "missing": "Field required: this column is missing",
    "extra_forbidden": "Extra inputs are not permitted: there is no such column (got {got})",
    "string_pattern_mismatch": "{got} holds what no term can: write lower-case letters, digits, blanks, ' / . and -",
}
