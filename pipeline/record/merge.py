"""Brings together what was said twice: one fact, the evidence of both, the best detail kept."""

from __future__ import annotations

from typing import TypeVar

from lexicon import SYSTEMS
from pipeline.extraction.model import Finding, Measurement

_DETAILS = ("severity", "grade", "size_mm", "size_text")
T = TypeVar("T")


def merge_findings(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Keep one finding for each fact, in record order: system nose to tail, then as first said.

    Facts are the same when system, concept, structure, side, assertion, time and reporter agree and no detail
    differs: two lumps of 1 cm and 3 cm in one place stay two. Withdrawn findings stay as they are.
    """
    merged: list[Finding] = []
    for finding in findings:
        at = next((i for i, earlier in enumerate(merged) if _same_fact(earlier, finding)), None)
        if at is None:
            merged.append(finding)
        else:
            merged[at] = _joined(merged[at], finding)
    return tuple(sorted(merged, key=lambda finding: SYSTEMS.index(finding.system)))


def merge_measurements(measurements: tuple[Measurement, ...]) -> tuple[Measurement, ...]:
    """Keep one measurement for each value that was said more than once, in the order first said."""
    merged: list[Measurement] = []
    for measurement in measurements:
        at = next((i for i, earlier in enumerate(merged) if _same_value(earlier, measurement)), None)
        if at is None:
            merged.append(measurement)
        else:
            earlier = merged[at]
            merged[at] = earlier.model_copy(
                update={
                    "method": earlier.method or measurement.method,
                    # Said with its unit once, it is no longer inferred.
                    "unit_inferred": earlier.unit_inferred and measurement.unit_inferred,
                    "confidence": max(earlier.confidence, measurement.confidence),
                    "evidence": _union(earlier.evidence, measurement.evidence),
                }
            )
    return tuple(merged)


def _identity(finding: Finding) -> tuple[object, ...]:
    return (
        finding.system,
        finding.concept,
        finding.structure,
        finding.side,
        finding.assertion,
        finding.when,
        finding.reported_by,
        finding.nature,
    )


def _same_fact(one: Finding, other: Finding) -> bool:
    if one.superseded or other.superseded or _identity(one) != _identity(other):
        return False
    pairs = ((getattr(one, name), getattr(other, name)) for name in _DETAILS)
    return all(mine is None or theirs is None or mine == theirs for mine, theirs in pairs)


def _joined(one: Finding, other: Finding) -> Finding:
    """Add to the earlier finding what the later one brings; it is as sure as the surer of both."""
    update: dict[str, object] = {
        name: getattr(other, name) for name in _DETAILS if getattr(one, name) is None
    }
    update["plain"] = one.plain or other.plain
    update["modifiers"] = _union(one.modifiers, other.modifiers)
    update["confidence"] = max(one.confidence, other.confidence)
    update["evidence"] = _union(one.evidence, other.evidence)
    return one.model_copy(update=update)


def _same_value(one: Measurement, other: Measurement) -> bool:
    if one.superseded or other.superseded:
        return False
    names = ("kind", "value", "value_high", "unit", "comparator", "out_of", "when")
    return all(getattr(one, name) == getattr(other, name) for name in names)


def _union(one: tuple[T, ...], other: tuple[T, ...]) -> tuple[T, ...]:
    return one + tuple(item for item in other if item not in one)
