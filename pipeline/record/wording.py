"""How values, places, ages, days and sources are written for people."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date

from lexicon import Lexicon
from pipeline.extraction.model import Evidence, Finding, Measurement

_SHOWN_UNITS = {"Cel": "°C", "/min": "per minute", "mm[Hg]": "mmHg", "1": ""}
_SHOWN_COMPARATORS = {"<": "under ", "<=": "at most ", ">": "over ", ">=": "at least ", "~": "about "}
_LONGEST_SOURCE = 40


def one_line(text: str) -> str:
    """Write words that were said or typed over several lines on one."""
    return " ".join(text.split())


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
    shown = f"{_SHOWN_COMPARATORS.get(measurement.comparator or '', '')}{number}"
    return f"{shown} {unit_text(measurement.unit)}".strip()


def unit_text(unit: str | None) -> str:
    """Write a unit as it is printed: "°C" for Cel; nothing for a score."""
    return _SHOWN_UNITS.get(unit or "", unit or "")


def limits_text(low: float | None, high: float | None) -> str:
    """Write the limits of a range as they follow "the reference range"."""
    if low is not None and high is not None:
        return f" of {low:g}" if low == high else f" of {low:g} to {high:g}"
    if high is not None:
        return f" up to {high:g}"
    return f" from {low:g}" if low is not None else ""


def age_text(months: int) -> str:
    """Write an age: "7 months", "5 years 1 month"."""
    if months < 24:
        return f"{months} month{'s' if months != 1 else ''}"
    years, rest = divmod(months, 12)
    return f"{years} years" + (f" {rest} month{'s' if rest != 1 else ''}" if rest else "")


def day_text(day: date) -> str:
    """Write a day so that no country reads another: "4 March 2026"."""
    return f"{day.day} {day:%B} {day.year}"


def short_source(source: str) -> str:
    """Cut a source down to its first author or body and the year; the JSON has it in full."""
    first = source.split(";", maxsplit=1)[0]
    name = re.split(r"[,:(]", first, maxsplit=1)[0].strip()
    if len(name) > _LONGEST_SOURCE:
        name = f"{name[:_LONGEST_SOURCE].rsplit(' ', 1)[0]} …"
    # The last one: the number of a page may look like a year, and the year stands at the end.
    years = re.findall(r"\b(?:19|20)\d\d\b", first)
    memory = ", from memory" if "from memory" in first else ""
    return f"{name}{f' {years[-1]}' if years else ''}{memory}"
