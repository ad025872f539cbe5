"""What the user hands over: patient files, visits, days, texts. A wrong one is a wrong call."""

from __future__ import annotations

import difflib
import json
import re
import sys
from datetime import date
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError

from pipeline.capture import is_recording
from pipeline.cli.border import CallError, WorkError
from pipeline.record import Patient, Visit
from pipeline.record.model import VisitKind

STANDARD_INPUT = "-"

MOST_CHARACTERS = 2_000_000
"""Longest text that is read: about forty hours of talk."""

_LONGEST_VALUE = 60


def read_patient(file: Path | None) -> Patient | None:
    """Read a patient file. Raises CallError that names the file and the field."""
    if file is None:
        return None
    text = _read_utf8(file, "patient file")
    if not isinstance(_parsed(text, file), dict):
        raise CallError(f'The patient file {file} has to hold one object: {{"name": …, "species": …}}.')
    try:
        # Strictly, as the file says who the patient is: "60" is no number and "yes" is not true.
        return Patient.model_validate_json(text, strict=True)
    except ValidationError as error:
        # A field that is not known first: it is often the one that another misses.
        problems = sorted(error.errors(), key=lambda problem: problem["type"] != "extra_forbidden")
        more = f" ({len(problems) - 1} more to mend after that)" if len(problems) > 1 else ""
        raise CallError(f"The patient file {file} is wrong: {field_fault(problems[0])}.{more}") from None


def _parsed(text: str, file: Path) -> object:
    """Parse the JSON of a patient file, in which no field may be given twice."""

    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        fields = dict(pairs)
        if len(fields) < len(pairs):
            names = [name for name, _ in pairs]
            twice = next(name for name in fields if names.count(name) > 1)
            raise CallError(f"The patient file {file} gives the field {twice!r} twice. Keep the right one.")
        return fields

    try:
        return json.loads(text, object_pairs_hook=once)
    except json.JSONDecodeError as error:
        raise CallError(
            f"The patient file {file} is no JSON: {error.msg} (line {error.lineno}, column {error.colno})."
        ) from None
    except (RecursionError, ValueError):
        # Thousands of nested brackets, thousands of digits.
        raise CallError(
            f"The patient file {file} cannot be read: it is nested too deep or holds a number too long."
            " Give one object with the patient's fields."
        ) from None


def read_visit(kind: str | None, day: str | None) -> Visit:
    """Make the visit of the options --visit and --date (a health check, today). Raises CallError."""
    kind = kind or "health_check"
    kinds: tuple[VisitKind, ...] = get_args(VisitKind)
    wanted = kind.strip().lower().replace("-", "_").replace(" ", "_")
    for known in kinds:
        if known == wanted:
            return Visit(kind=known, on=date.today() if day is None else read_day(day, "--date"))
    raise CallError(f"There is no kind of visit {kind!r}. Give --visit one of: {', '.join(kinds)}.")


def read_text(source: str) -> str:
    """Read a text file, or standard input for '-', exactly as it is: offsets must fit the caller's own copy.

    Raises CallError for a missing file, WorkError for one that is no UTF-8 text or far too long.
    """
    if source == STANDARD_INPUT:
        data, name = sys.stdin.buffer.read(), "standard input"
    else:
        data, name = read_file(Path(source), "text file"), source
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise WorkError(
            f"{name} is no UTF-8 text. Save it as UTF-8; a recording goes to 'rostral exam'."
        ) from None
    if len(text) > MOST_CHARACTERS:
        raise WorkError(
            f"{name} is longer than {MOST_CHARACTERS:,} characters. Give one examination at a time."
        )
    return text


def require_file(file: Path) -> None:
    """Refuse what is no sound file at all: that is a wrong call, not failed work. Raises CallError."""
    if not file.exists():
        raise CallError(f"There is no file {file}. Check the name and the folder.")
    if file.is_dir() and not is_recording(file):
        raise CallError(f"{file} is a folder. Give one sound file, or the folder of a recording.")


def read_day(day: str, option: str) -> date:
    """Read a day, year-month-day. Raises CallError that names the option."""
    try:
        # Of the forms of ISO 8601 one is enough: in "20260302" a slip goes unseen.
        found = date.fromisoformat(day) if re.fullmatch(r"\d{4}-\d\d-\d\d", day, re.ASCII) else None
    except ValueError:
        found = None
    if found is None:
        raise CallError(f"{day!r} is no date. Give {option} as YYYY-MM-DD.")
    return found


def _read_utf8(file: Path, what: str) -> str:
    try:
        return read_file(file, what).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise CallError(f"The {what} {file} is no UTF-8 text. Save it as UTF-8.") from None


def read_file(file: Path, what: str) -> bytes:
    """Read a file whole. Raises CallError that names it."""
    try:
        return file.read_bytes()
    except FileNotFoundError:
        raise CallError(f"There is no {what} {file}. Check the name and the folder.") from None
    except IsADirectoryError:
        raise CallError(f"{file} is a folder. Give one {what}.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise CallError(f"The {what} {file} cannot be read: {reason}.") from None


def field_fault(problem: Any) -> str:
    """Say in words what is wrong with a field, and what would be right."""
    names = [str(part) for part in problem["loc"]]
    field = ".".join(names)
    match problem["type"]:
        case "extra_forbidden":
            known = _fields_beside(names)
            near = difflib.get_close_matches(names[-1], known, n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            return f"there is no field {field!r}; {hint}The fields are {', '.join(known)}"
        case "missing":
            return f"the field {field!r} is missing"
        case "value_error":
            return str(problem["ctx"]["error"])
        case "json_invalid":  # a character that is half of one, say, which Python's own reader lets pass
            return f"it is no JSON: {problem['ctx']['error']}"
    message = f"{problem['msg'][:1].lower()}{problem['msg'][1:]}"
    value = json.dumps(problem["input"], ensure_ascii=False)
    if len(value) > _LONGEST_VALUE:
        value = f"{value[:_LONGEST_VALUE]} …"
    return f"the field {field!r} cannot be {value}: {message}"


def _fields_beside(names: list[str]) -> list[str]:
    """List the fields that the object with this field has: the patient's or the owner's."""
    schema = Patient.model_json_schema()
    owner = len(names) > 1
    return list(schema["$defs"]["Owner"]["properties"] if owner else schema["properties"])
