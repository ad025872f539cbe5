"""Short ways to dictate to the extraction and to read its answer, for the tests of this stage."""

from __future__ import annotations

import re

from pipeline.extraction import extract
from pipeline.extraction.model import Evidence, Measurement, Statements
from pipeline.speech.model import Transcript

_MARKS = re.compile(r"[!?;:\u2013\u2014]|[.,](?!\d)")


def hear(text: str) -> Statements:
    """Extract from a typed dictation; every piece of evidence must be the slice it claims to be."""
    statements = extract(Transcript.from_text(text))
    for piece in evidence_of(statements):
        assert text[piece.start_char : piece.end_char] == piece.text
        assert piece.text
    return statements


def evidence_of(statements: Statements) -> list[Evidence]:
    """Every piece of evidence of every statement."""
    return [
        *(piece for finding in statements.findings for piece in finding.evidence),
        *(piece for measurement in statements.measurements for piece in measurement.evidence),
        *(piece for refusal in statements.not_examined for piece in refusal.evidence),
        *(piece for item in statements.plan for piece in item.evidence),
        *(piece for correction in statements.corrections for piece in correction.evidence),
    ]


def unpunctuated(text: str) -> str:
    """Write the words as a recogniser without punctuation does: lower case, marks as blanks, places kept."""
    return _MARKS.sub(" ", text).lower()


def in_words(measurement: Measurement) -> str:
    """Write a measurement as one line: "weight 11.8 kg past", "heart_rate 120 /min withdrawn"."""
    value = "-" if measurement.value is None else measurement.value
    number = f"{value:g}" if isinstance(value, float) else str(value)
    if measurement.value_high is not None:
        number += f"..{measurement.value_high:g}"
    parts = [measurement.kind, (measurement.comparator or "") + number]
    if measurement.unit is not None:
        parts.append(measurement.unit)
    if measurement.out_of is not None:
        parts.append(f"of {measurement.out_of:g}")
    if measurement.when == "past":
        parts.append("past")
    if measurement.superseded:
        parts.append("withdrawn")
    return " ".join(parts)
