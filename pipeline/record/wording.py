"""How values and places are written in the sentences of a notice."""

from __future__ import annotations

from collections.abc import Iterable

from lexicon import Lexicon
from pipeline.extraction.model import Evidence, Finding, Measurement

_SHOWN_UNITS = {"Cel": "°C", "/min": "per minute", "mm[Hg]": "mmHg", "1": ""}
_SHOWN_COMPARATORS = {"<": "under ", "<=": "at most ", ">": "over ", ">=": "at least ", "~": "about "}


def evidence_of(facts: Iterable[Finding | Measurement]) -> tuple[Evidence, ...]:
    """Collect the evidence of several facts, each piece once."""
    return tuple(dict.fromkeys(evidence for fact in facts for evidence in fact.evidence))


def capital(text: str) -> str:
    """Begin a sentence with a label."""
    return text[:1].upper() + text[1:]


def place_of(finding: Finding) -> str:
    """Say where it is, in brackets: the label alone may be as bare as "pain"."""
    parts = [finding.side if finding.side != "both" else "both sides", finding.structure or finding.system]
    return f" ({', '.join(part.replace('_', ' ') for part in parts if part)})"


def structure_label(finding: Finding, lexicon: Lexicon) -> str:
    """Name a structure with its side: "left ear"."""
    structure = lexicon.structures.get(finding.structure or "")
    label = structure.label if structure is not None else (finding.structure or "").replace("_", " ")
    return f"{finding.side} {label}" if finding.side in ("left", "right") else label


def value_text(measurement: Measurement) -> str:
    """Write a value as a person reads it: "under 2 s", "30 to 36 per minute", "7 of 9"."""
    if not isinstance(measurement.value, float):
        return measurement.value or "not counted"
    number = f"{measurement.value:g}"
    if measurement.value_high is not None:
        number += f" to {measurement.value_high:g}"
    if measurement.out_of is not None:
        number += f" of {measurement.out_of:g}"
    unit = _SHOWN_UNITS.get(measurement.unit or "", measurement.unit or "")
    return f"{_SHOWN_COMPARATORS.get(measurement.comparator or '', '')}{number} {unit}".strip()


def limits_text(low: float | None, high: float | None) -> str:
    """Write the limits of a range as they follow "the reference range"."""
    if low is not None and high is not None:
        return f" of {low:g}" if low == high else f" of {low:g} to {high:g}"
    if high is not None:
        return f" up to {high:g}"
    return f" from {low:g}" if low is not None else ""
