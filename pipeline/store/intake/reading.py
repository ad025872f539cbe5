"""Bytes of a list in, rows with the program's names of columns out: which encoding, which mark between columns, which heading."""

from __future__ import annotations

import codecs
import csv
import io
import re
import tomllib
import unicodedata
from functools import cache
from importlib import resources
from typing import Any

from pydantic import Field

from pipeline.speech.model import Frozen
from pipeline.store.errors import EntryError

_DELIMITERS = ",;\t|"
_BEFORE_UNICODE = "cp1252"
"""What spreadsheets of western countries write when they do not write Unicode."""

_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
MOST_ROWS = 200_000
MOST_CHARACTERS_OF_A_CELL = 2_000


class Row(Frozen):
    """A row that is not empty: the line of the file that it begins on, and its cells by our names of columns."""

    line: int
    cells: dict[str, str]
    fault: str | None = None


class Sheet(Frozen):
    """A list that was read. `ignored` are headings that the program has no place for."""

    encoding: str
    delimiter: str
    columns: tuple[str, ...]
    ignored: tuple[str, ...] = Field(description="As they stand in the file.")
    rows: tuple[Row, ...]


def plain(word: str) -> str:
    """A word as it is compared: small letters and digits without accents, parted by single blanks."""
    letters = unicodedata.normalize("NFKD", word.casefold())
    bare = "".join(character for character in letters if not unicodedata.combining(character))
    return " ".join(re.findall(r"[^\W_]+", bare))


@cache
def words(table: str) -> dict[str, str]:
    """What may stand for what: of columns, species, sex or neutered; plain word to our name."""
    text = resources.files(__package__).joinpath("words.toml").read_text(encoding="utf-8")
    names: dict[str, Any] = tomllib.loads(text)[table]
    return {plain(word): name for name, given in names.items() for word in (*given, name)}


def read_sheet(data: bytes, encoding: str | None = None, delimiter: str | None = None) -> Sheet:
    """Read a list; what is not given is found out. Raises EntryError that says what is wrong with the whole of it."""
    text, encoding = _decoded(data, encoding)
    if "\0" in text:
        raise EntryError("The list holds characters that no text has: save it as CSV, UTF-8.")
    lines = list(
        io.StringIO(text, newline="")
    )  # parted as CSV has it: other signs of a line's end stand within cells
    first = next((number for number, line in enumerate(lines) if line.strip()), None)
    if first is None:
        raise EntryError("The list is empty.")
    if (
        told := re.fullmatch(r"sep=(.)\s*", lines[first])
    ) is not None:  # spreadsheets write it for each other
        delimiter, first = delimiter or told[1], first + 1
    chosen = delimiter or max(_DELIMITERS, key=lambda mark: _known_columns(lines[first:], mark))
    if len(chosen) != 1 or chosen in '"\r\n':
        raise EntryError("The mark between columns is one character: give , or ; or a tab.")
    parsed = csv.reader(lines[first:], delimiter=chosen, strict=True)
    heading = _next(parsed, first)
    if heading is None:
        raise EntryError("The list has no heading.")
    names = [words("columns").get(plain(cell)) for cell in heading]
    _check(heading, names)
    return Sheet(
        encoding=encoding,
        delimiter=chosen,
        columns=tuple(name for name in names if name is not None),
        ignored=tuple(
            cell for cell, name in zip(heading, names, strict=True) if name is None and cell.strip()
        ),
        rows=tuple(_rows(parsed, names, first)),
    )


def _rows(parsed: Any, names: list[str | None], first: int) -> list[Row]:
    rows: list[Row] = []
    while True:
        line = first + parsed.line_num + 1
        cells = _next(parsed, first)
        if cells is None:
            return rows
        if not any(cell.strip() for cell in cells):
            continue
        if len(rows) == MOST_ROWS:
            raise EntryError(f"The list has more than {MOST_ROWS:,} rows: split it.")
        fault = None
        if len(cells) != len(names):
            fault = (
                f"has {len(cells)} columns, and the heading has {len(names)}: is a quotation mark missing?"
            )
        elif any(len(cell) > MOST_CHARACTERS_OF_A_CELL for cell in cells):
            fault = f"holds a cell of more than {MOST_CHARACTERS_OF_A_CELL:,} characters"
        named = {
            name: " ".join(cell.split()) for name, cell in zip(names, cells, strict=False) if name is not None
        }
        rows.append(
            Row(
                line=line,
                cells={} if fault else {name: cell for name, cell in named.items() if cell},
                fault=fault,
            )
        )


def _next(parsed: Any, first: int) -> list[str] | None:
    try:
        return next(parsed, None)
    except csv.Error as error:
        raise EntryError(
            f"Line {first + parsed.line_num} of the list cannot be read as CSV: {error}. Look at its quotation marks."
        ) from None


def _decoded(data: bytes, encoding: str | None) -> tuple[str, str]:
    if encoding is not None:
        try:
            return data.decode(encoding), encoding
        except LookupError:
            raise EntryError(f"There is no encoding {encoding!r}: give utf-8 or cp1252, say.") from None
        except UnicodeDecodeError as error:
            raise EntryError(f"The list is not {encoding}: byte {error.start + 1} does not fit.") from None
    marked = next((name for mark, name in _MARKS if data.startswith(mark)), None)
    for name in [marked] if marked else ["utf-8", _BEFORE_UNICODE]:
        try:
            return data.decode(name), name.removesuffix("-sig")
        except UnicodeDecodeError:
            continue
    raise EntryError("The list is in no encoding that could be found out: save it as CSV, UTF-8.")


def _known_columns(lines: list[str], delimiter: str) -> int:
    """How many columns of the heading are known when they are parted by that mark."""
    try:
        heading = next(csv.reader(lines, delimiter=delimiter), [])
    except csv.Error:
        return 0
    return sum(plain(cell) in words("columns") for cell in heading)


def _check(heading: list[str], names: list[str | None]) -> None:
    """Refuse a heading that says nothing, or one thing twice."""
    found = [name for name in names if name is not None]
    twice = next((name for name in found if found.count(name) > 1), None)
    if twice is not None:
        double = [cell for cell, name in zip(heading, names, strict=True) if name == twice]
        raise EntryError(f"The columns {' and '.join(double)} mean the same: keep one of them.")
    patients, owners = {"name", "species"} <= set(found), any(name.startswith("owner_") for name in found)
    if patients or (owners and not {"name", "species"} & set(found)):
        return
    missing = [name for name in ("name", "species") if name not in found]
    raise EntryError(
        f"The heading of the list has no column for {' and '.join(missing)} of the patient. It reads:"
        f" {', '.join(heading)}. Name the columns as they are named here: {', '.join(_shown())}."
    )


def _shown() -> list[str]:
    return [name.replace("_", " ") for name in dict.fromkeys(words("columns").values())]
