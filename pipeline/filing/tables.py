"""Values and findings as tables for analysis: CSV after RFC 4180, JSON Lines, and the dictionary of their columns.

One row for each fact. Neither the patient's name nor the owner stands in them.
"""

from __future__ import annotations

import csv
import io
import json
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, Literal

from pipeline.extraction.model import Finding, Measurement
from pipeline.filing.outgoing import Outgoing
from pipeline.record import ExamRecord
from pipeline.speech.model import Frozen

_TABLE = Path(__file__).parent / "columns.toml"
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""Beginnings that spreadsheets take for a formula (OWASP, CSV injection); an apostrophe before them makes them text."""


class Column(Frozen):
    """A column of the tables."""

    name: str
    type: Literal["text", "number", "date", "time", "yes_no"]
    meaning: str


@cache
def columns() -> tuple[Column, ...]:
    """Give the columns in their order."""
    read = tomllib.loads(_TABLE.read_text(encoding="utf-8"))
    return tuple(Column.model_validate(row) for row in read["column"])


def data_dictionary() -> str:
    """Write what each column means, as a CSV of its own."""
    return _csv(("column", "type", "meaning"), ([c.name, c.type, c.meaning] for c in columns()))


def csv_head() -> str:
    """Write the first line of a CSV: the names of the columns."""
    return _csv([column.name for column in columns()], ())


def csv_rows(document: Outgoing) -> str:
    """Write the rows of a record. A text that a spreadsheet would take for a formula has an apostrophe before it."""
    names = [column.name for column in columns()]
    rows = ([_cell(row.get(name)) for name in names] for row in fact_rows(document))
    return _csv(None, rows)


def json_lines(document: Outgoing) -> str:
    """Write the rows of a record as JSON Lines: a line for each, without the columns that do not apply."""
    return "".join(
        json.dumps({name: value for name, value in row.items() if value is not None}, ensure_ascii=False)
        + "\n"
        for row in fact_rows(document)
    )


def fact_rows(document: Outgoing) -> Iterator[dict[str, Any]]:
    """Give the facts of a record by column; null where a column does not apply."""
    record, patient = document.record, document.record.patient
    head = {
        "record": document.record_id,
        "version": document.version,
        "signed_at": None if document.is_draft else document.at.isoformat(),
        "visit_on": record.visit.on.isoformat() if record.visit.on else None,
        "visit_kind": record.visit.kind,
        "patient": document.patient_id,
        "species": patient.species if patient else None,
        "breed": patient.breed if patient else None,
        "sex": patient.sex if patient else None,
        "neutered": patient.neutered if patient else None,
        "birth_date": patient.birth_date.isoformat() if patient and patient.birth_date else None,
    }
    for place, measurement in enumerate(record.measurements, start=1):
        yield {**head, "fact": "measurement", "place": place, **_measured(record, measurement)}
    for place, finding in enumerate(record.findings, start=1):
        yield {**head, "fact": "finding", "place": place, **_found(finding)}


def _measured(record: ExamRecord, measurement: Measurement) -> dict[str, Any]:
    used = record.range_of(measurement)
    value = measurement.value
    return {
        "name": measurement.kind,
        "value": value if isinstance(value, float) else None,
        "value_high": measurement.value_high,
        "value_text": value if isinstance(value, str) else None,
        "unit": measurement.unit,
        "comparator": measurement.comparator,
        "out_of": measurement.out_of,
        "method": measurement.method,
        "status": measurement.status,
        "range_low": used.low if used else None,
        "range_high": used.high if used else None,
        "range_source": used.source if used else None,
        "when": measurement.when,
        "withdrawn": measurement.superseded,
        "confidence": measurement.confidence,
    }


def _found(finding: Finding) -> dict[str, Any]:
    grade = finding.grade
    return {
        "system": finding.system,
        "name": finding.concept,
        "label": finding.label,
        "assertion": finding.assertion,
        "nature": finding.nature,
        "structure": finding.structure,
        "side": finding.side,
        "severity": finding.severity,
        "grade": grade.value if grade else None,
        "grade_out_of": grade.out_of if grade else None,
        "size_mm": finding.size_mm,
        "qualities": "; ".join(finding.modifiers) or None,
        "reported_by": finding.reported_by,
        "when": finding.when,
        "withdrawn": finding.superseded,
        "confidence": finding.confidence,
    }


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return repr(value)


def _csv(head: list[str] | tuple[str, ...] | None, rows: Iterator[list[str]] | tuple[()]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    if head is not None:
        writer.writerow(head)
    writer.writerows(rows)
    return text.getvalue()
