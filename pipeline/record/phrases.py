"""How a finding is said in clinical words: what, how surely, where and how much."""

from __future__ import annotations

import re
from collections.abc import Sequence

from lexicon import Lexicon
from lexicon.loader import plural
from pipeline.extraction.model import SURE_ENOUGH, Finding

RANK_OF_ABSENCE = 3
"""Findings of a lower rank were found, those of a higher one are told, past or withdrawn."""


def rank(finding: Finding) -> int:
    """Give its place in a list: abnormal, possible, normal, absent, told by the owner, past, withdrawn; 0 to 6."""
    if finding.superseded:
        return 6
    if finding.when == "past":
        return 5
    if finding.reported_by == "owner":
        return 4
    if finding.counts_as_abnormal:
        return 0 if finding.assertion == "present" else 1
    return 2 if finding.assertion != "absent" else RANK_OF_ABSENCE


def is_plain_absence(finding: Finding, lexicon: Lexicon) -> bool:
    """Tell whether a finding can stand in one list with others that are not there."""
    plain = (
        finding.nature != "normal" and not details_of(finding, lexicon) and finding.confidence > SURE_ENOUGH
    )
    return plain and rank(finding) == RANK_OF_ABSENCE and ": " not in finding.label


def finding_text(finding: Finding, lexicon: Lexicon) -> str:
    """Say a finding with its assertion and details: "possible cataract (left lens, mild)"."""
    details = details_of(finding, lexicon)
    return _with_assertion(finding) + (f" ({', '.join(details)})" if details else "")


def details_of(finding: Finding, lexicon: Lexicon) -> list[str]:
    """List where it is and how much: place, severity, grade, size, qualities."""
    grade = finding.grade
    out_of = f" of {grade.out_of:g}" if grade is not None and grade.out_of is not None else ""
    size = f"{finding.size_mm:g} mm" if finding.size_mm is not None else finding.size_text
    parts = [
        _place(finding, lexicon),
        finding.severity,
        f"grade {grade.value:g}{out_of}" if grade is not None else None,
        size,
        *finding.modifiers,
    ]
    return [part for part in parts if part]


def listing(labels: Sequence[str], last: str = "or") -> str:
    """Write a list as it is said: "a, b or c"."""
    return f" {last} ".join([", ".join(labels[:-1]), labels[-1]] if len(labels) > 1 else labels)


def _place(finding: Finding, lexicon: Lexicon) -> str:
    """Say where: "left hip", "both lenses", "right"; the structure where the label leaves it open."""
    structure = _structure(finding, lexicon)
    if finding.side == "both":
        return f"both {plural(structure)}" if structure else "both sides"
    return " ".join(part for part in (finding.side, structure) if part)


def _structure(finding: Finding, lexicon: Lexicon) -> str | None:
    """Name the structure unless the label says it, it goes without saying, or all is well there."""
    structure = lexicon.structures.get(finding.structure or "")
    concept = lexicon.findings.get(finding.concept)
    if structure is None or (concept is not None and concept.structure == structure.id):
        return None
    if finding.nature == "normal" and finding.side is None:
        return None
    words = set(re.findall(r"\w+", finding.label.lower()))
    return None if set(structure.label.lower().split()) <= words else structure.label


def _with_assertion(finding: Finding) -> str:
    """Put the assertion before the label: "no lameness", "possible cataract", "elbow: no swelling"."""
    place, colon, label = finding.label.rpartition(": ")
    word = {"present": "", "possible": "possible ", "absent": "no "}[finding.assertion]
    if finding.assertion == "absent" and finding.nature == "normal":
        word = "not found: "
    return f"{place}{colon}{word}{label}"
