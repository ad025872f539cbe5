"""What a reviewer types, made into operations of a review, and the commands that apply them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, get_args

from pydantic import TypeAdapter, ValidationError

from lexicon import load_lexicon
from pipeline.cli.border import CallError
from pipeline.cli.choosing import choose_record
from pipeline.cli.inputs import read_text
from pipeline.cli.keeping import Books, open_books
from pipeline.cli.screen import output, write_json
from pipeline.review import (
    FindingChanges,
    MeasurementChanges,
    Operation,
    PlanChanges,
    current,
    hindrances,
    notice_key,
)
from pipeline.settings import Settings
from pipeline.store import KeptRecord, record_of, review_record
from pipeline.store.errors import NotAllowedError

_OPERATION: TypeAdapter[Operation] = TypeAdapter(Operation)
_OPERATIONS: TypeAdapter[tuple[Operation, ...]] = TypeAdapter(tuple[Operation, ...])
_CORRECTIONS = {"f": "correct_finding", "m": "correct_measurement", "p": "correct_plan_item"}
_ADDITIONS = {
    "finding": ("add_finding", "finding"),
    "measurement": ("add_measurement", "measurement"),
    "plan": ("add_plan_item", "item"),
}
_FIELDS = {
    "finding": tuple(FindingChanges.model_fields),
    "measurement": tuple(MeasurementChanges.model_fields),
    "plan": tuple(PlanChanges.model_fields),
}
_MOST_EXPLAINED = 3


def do(settings: Settings, which: str, given: Sequence[dict[str, Any]], *, as_json: bool) -> None:
    """Apply operations to a draft, all or none, and say what is still to be answered."""
    operations = tuple(_operation(one) for one in given)
    with open_books(settings) as books:
        _apply(books, which, operations, as_json=as_json)


def apply_file(settings: Settings, which: str, source: str, revision: int | None, *, as_json: bool) -> None:
    """Apply the operations of a JSON file; with `revision` only if nobody changed the draft since."""
    text = read_text(source)
    try:
        operations = _OPERATIONS.validate_json(text if text.lstrip().startswith("[") else f"[{text}]")
    except ValidationError as error:
        raise CallError(f"{source}: {_fault(error)}") from None
    with open_books(settings) as books:
        _apply(books, which, operations, revision=revision, as_json=as_json)


def acknowledge(
    settings: Settings, which: str, notices: Sequence[str], reason: str, *, as_json: bool
) -> None:
    """Answer notices, named by their keys or the beginnings of them, with a reason."""
    with open_books(settings) as books:
        kept = record_of(books.database, books.actor, choose_record(books, which))
        if kept.review is None:
            raise NotAllowedError(f"This record is {kept.state} and cannot be changed: amend it.")
        known = [notice_key(notice) for notice in current(kept.review, load_lexicon()).notices]
        keys = [_whole_key(beginning, known, kept.id) for beginning in notices]
        operations = tuple(
            _operation({"do": "acknowledge", "notice": key, "reason": reason}) for key in dict.fromkeys(keys)
        )
        _write(books, kept, operations, as_json=as_json)


def correction(fact: str, words: Sequence[str]) -> dict[str, Any]:
    """The operation that sets fields of a fact: `correct f1 side=right severity=`. Raises CallError."""
    kind = {"f": "finding", "m": "measurement", "p": "plan"}.get(fact[:1])
    if kind is None:
        raise CallError(f"{fact!r} is no fact: they are called f1, m1 or p1, see: rostral record facts")
    return {"do": _CORRECTIONS[fact[0]], "fact": fact, "changes": changes_of(kind, words)}


def addition(kind: str, words: Sequence[str]) -> dict[str, Any]:
    """The operation that adds a fact by hand. Raises CallError."""
    if kind not in _ADDITIONS:
        raise CallError(f"There is no fact of kind {kind!r}: give one of {', '.join(_ADDITIONS)}.")
    name, field = _ADDITIONS[kind]
    return {"do": name, field: changes_of(kind, words)}


def changes_of(kind: str, words: Sequence[str]) -> dict[str, Any]:
    """Fields to set, from words like side=right; nothing after the sign empties the field. Raises CallError."""
    changes: dict[str, Any] = {}
    for word in words:
        name, sign, value = word.partition("=")
        name = name.strip().lower()
        if not sign:
            raise CallError(f"{word!r} sets nothing: write FIELD=VALUE. The fields are {_fields(kind)}.")
        if name not in _FIELDS[kind]:
            raise CallError(f"A {kind} has no field {name!r}. The fields are {_fields(kind)}.")
        if name in changes:
            raise CallError(f"{name} is given twice.")
        changes[name] = _value(name, value.strip())
    if not changes:
        raise CallError(f"Say what to set: FIELD=VALUE. The fields are {_fields(kind)}.")
    return changes


def waiting_line(kept: KeptRecord) -> str:
    """What still keeps a vet from signing a draft, in one line."""
    assert kept.review is not None  # noqa: S101 — only drafts are asked
    waiting = len(hindrances(current(kept.review, load_lexicon())))
    if not waiting:
        return f"Nothing is left to answer. A vet can sign it: rostral record sign {kept.id}"
    things = "notice is" if waiting == 1 else "notices are"
    return f"{waiting} {things} to be answered before it can be signed: rostral record facts {kept.id}"


def _apply(
    books: Books,
    which: str,
    operations: tuple[Operation, ...],
    *,
    as_json: bool,
    revision: int | None = None,
) -> None:
    kept = record_of(books.database, books.actor, choose_record(books, which))
    if revision is not None:
        kept = kept.model_copy(update={"revision": revision})
    _write(books, kept, operations, as_json=as_json)


def _write(books: Books, kept: KeptRecord, operations: tuple[Operation, ...], *, as_json: bool) -> None:
    done = review_record(books.database, books.actor, kept, operations, load_lexicon(), books.at())
    if as_json:
        write_json(done.model_dump(mode="json"))
        return
    count = len(operations)
    console = output()
    console.print(f"{count} change{'' if count == 1 else 's'} written. {waiting_line(done)}", soft_wrap=True)


def _operation(given: dict[str, Any]) -> Operation:
    try:
        return _OPERATION.validate_python(given)
    except ValidationError as error:
        raise CallError(_fault(error)) from None


def _fault(error: ValidationError) -> str:
    """The first faults of an operation in one line, each with its field."""
    told = []
    for problem in error.errors()[:_MOST_EXPLAINED]:
        field = ".".join(str(part) for part in problem["loc"] if part not in _DOINGS)
        value = json.dumps(problem["input"], ensure_ascii=False, default=str)
        told.append(f"{field or 'the operation'} cannot be {value[:60]}: {problem['msg']}")
    return f"{'; '.join(told)}."


_DOINGS = frozenset(str(kind.model_fields["do"].default) for kind in get_args(get_args(Operation)[0]))


def _value(name: str, value: str) -> Any:
    if not value:
        return None
    if name == "grade":
        grade, _, out_of = value.partition("/")
        return {"value": grade.strip(), "out_of": out_of.strip() or None, "text": value}
    if name == "modifiers":
        return [part.strip() for part in value.split(",")]
    if name == "value":
        try:
            return float(value)
        except ValueError:
            return value
    return value


def _fields(kind: str) -> str:
    return ", ".join(_FIELDS[kind])


def _whole_key(beginning: str, known: Sequence[str], record_id: str) -> str:
    found = [key for key in known if key.startswith(beginning.strip().lower()) and beginning.strip()]
    if len(found) == 1:
        return found[0]
    what = "No notice" if not found else "More than one notice"
    raise CallError(
        f"{what} of this record has a key that begins with {beginning!r}: rostral record facts {record_id}"
    )
