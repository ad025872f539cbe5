"""Forms of facts: what a fact's fields are in a form, and what a filled form changes. Only what differs is changed.

Pure. Whether the values can be is decided by `review`.
"""

from __future__ import annotations

from typing import Any, cast

from pydantic import TypeAdapter, ValidationError

from lexicon import Lexicon
from pipeline.desk.texts import say
from pipeline.extraction.model import Finding, Measurement, PlanItem
from pipeline.review import Operation, Reviewed, ReviewError
from pipeline.review.apply import UNLISTED

_OPERATION: TypeAdapter[Operation] = TypeAdapter(Operation)

FINDING = (
    "system", "concept", "label", "nature", "structure", "assertion", "side", "severity", "grade_value",
    "grade_out_of", "size_mm", "size_text", "modifiers", "reported_by", "when",
)  # fmt: skip
MEASUREMENT = ("kind", "value", "value_high", "comparator", "out_of", "method", "when")
PLAN = ("text", "kind", "due", "due_text")
FIELDS = {"finding": FINDING, "measurement": MEASUREMENT, "plan": PLAN}

_CORRECT = {"finding": "correct_finding", "measurement": "correct_measurement", "plan": "correct_plan_item"}
_ADD = {
    "finding": ("add_finding", "finding"),
    "measurement": ("add_measurement", "measurement"),
    "plan": ("add_plan_item", "item"),
}


def form_of(value: Finding | Measurement | PlanItem) -> dict[str, str]:
    """A fact as the fields of its form, empty where it says nothing."""
    if isinstance(value, Finding):
        grade = value.grade
        return {
            **_plain(value, FINDING),
            "grade_value": _written(grade.value if grade is not None else None),
            "grade_out_of": _written(grade.out_of if grade is not None else None),
            "modifiers": ", ".join(value.modifiers),
        }
    return _plain(value, MEASUREMENT if isinstance(value, Measurement) else PLAN)


def empty_form(kind: str, **given: str) -> dict[str, str]:
    """The form of a new fact, with what is known of it."""
    usual = {"assertion": "present", "reported_by": "vet", "when": "now", "nature": "abnormal"}
    fields = FIELDS[kind]
    return dict.fromkeys(fields, "") | {n: v for n, v in (usual | given).items() if n in fields}


def correction(
    fact: Reviewed[Finding] | Reviewed[Measurement] | Reviewed[PlanItem],
    form: dict[str, str],
    lexicon: Lexicon,
) -> Operation:
    """The operation that a filled form asks for. Raises ReviewError for a field that cannot be, or when none differs."""
    kind = kind_of(fact.value)
    before = form_of(fact.value)
    given = {name: form.get(name, before[name]) for name in FIELDS[kind]}
    changes = _changes(kind, given, before, lexicon)
    if not changes:
        raise ReviewError(say("edit.same"))
    return _checked({"do": _CORRECT[kind], "fact": fact.id, "changes": changes})


def addition(kind: str, form: dict[str, str], lexicon: Lexicon) -> Operation:
    """The operation that adds a fact by hand. Raises ReviewError."""
    before = dict.fromkeys(FIELDS[kind], "")
    given = {name: form.get(name, "") for name in FIELDS[kind]}
    name, field = _ADD[kind]
    return _checked({"do": name, field: _changes(kind, given, before, lexicon)})


def kind_of(value: Finding | Measurement | PlanItem) -> str:
    """By which name the forms call the kind of a fact."""
    if isinstance(value, Finding):
        return "finding"
    return "measurement" if isinstance(value, Measurement) else "plan"


def _changes(kind: str, given: dict[str, str], before: dict[str, str], lexicon: Lexicon) -> dict[str, Any]:
    different = {name: value for name, value in given.items() if value.strip() != before[name].strip()}
    changes: dict[str, Any] = {name: value or None for name, value in different.items()}
    if kind == "measurement":
        return _of_measurement(changes, given, lexicon)
    if kind == "plan":
        return changes
    return _of_finding(changes, given, different)


def _of_finding(changes: dict[str, Any], given: dict[str, str], different: dict[str, str]) -> dict[str, Any]:
    if {"grade_value", "grade_out_of"} & different.keys():
        changes["grade"] = _grade(given)
    for name in ("grade_value", "grade_out_of"):
        changes.pop(name, None)
    if "modifiers" in changes:
        changes["modifiers"] = [part.strip() for part in given["modifiers"].split(",") if part.strip()]
    if given["concept"] == UNLISTED:
        # Its name and nature are the reviewer's own; those of a listed finding are the lexicon's.
        changes |= {"label": given["label"], "nature": given["nature"] or "abnormal"}
    else:
        changes.pop("label", None)
        changes.pop("nature", None)
    return changes


def _grade(given: dict[str, str]) -> dict[str, Any] | None:
    value, out_of = given["grade_value"].strip(), given["grade_out_of"].strip()
    if not value:
        return None
    return {"value": value, "out_of": out_of or None, "text": f"{value}/{out_of}" if out_of else value}


def _of_measurement(changes: dict[str, Any], given: dict[str, str], lexicon: Lexicon) -> dict[str, Any]:
    value = changes.get("value")
    row = lexicon.measurements.get(given["kind"])
    if isinstance(value, str) and row is not None and (row.unit is not None or row.out_of):
        try:
            changes["value"] = float(value.replace(",", "."))
        except ValueError:
            raise ReviewError(say("edit.number", label=row.label, given=value)) from None
    return changes


def _checked(given: dict[str, Any]) -> Operation:
    try:
        return _OPERATION.validate_python(given)
    except ValidationError as error:
        first = error.errors()[0]
        field = str(next((part for part in reversed(first["loc"]) if isinstance(part, str)), ""))
        raise ReviewError(
            say("edit.field", field=field.replace("_", " "), given=first["input"], why=first["msg"])
        ) from None


def _plain(value: Finding | Measurement | PlanItem, names: tuple[str, ...]) -> dict[str, str]:
    return {name: _written(cast("object", getattr(value, name, None))) for name in names}


def _written(value: object) -> str:
    if value is None or isinstance(value, tuple):
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)
