"""Brings together what was said twice: one fact, the evidence of both, the best detail kept."""

from __future__ import annotations

from dataclasses import dataclass, field

from lexicon import SYSTEMS
from pipeline.extraction.model import Finding, Measurement
from pipeline.record.wording import evidence_of

_DETAILS = ("severity", "grade", "size_mm", "size_text")


def merge_findings(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Keep one finding for each fact, in record order: system nose to tail, then as first said.

    Facts are the same when system, concept, structure, side, assertion, time and reporter agree and no detail
    differs: two lumps of 1 cm and 3 cm in one place stay two. Withdrawn findings stay as they are.
    """
    facts: list[_Fact] = []
    alike: dict[tuple[object, ...], list[_Fact]] = {}
    for finding in findings:
        candidates = [] if finding.superseded else alike.setdefault(_identity(finding), [])
        fact = next((known for known in candidates if known.allows(finding)), None)
        if fact is None:
            fact = _Fact()
            facts.append(fact)
            candidates.append(fact)
        fact.add(finding)
    return tuple(sorted((fact.joined() for fact in facts), key=lambda finding: SYSTEMS.index(finding.system)))


def merge_measurements(measurements: tuple[Measurement, ...]) -> tuple[Measurement, ...]:
    """Keep one measurement for each value that was said more than once, in the order first said."""
    groups: dict[tuple[object, ...], list[Measurement]] = {}
    for place, measurement in enumerate(measurements):
        # Withdrawn ones stay as they are: the place makes each a group of its own.
        key = (place,) if measurement.superseded else _value(measurement)
        groups.setdefault(key, []).append(measurement)
    return tuple(_joined_values(group) for group in groups.values())


@dataclass(slots=True)
class _Fact:
    """One fact as it was said so far. Joined once at the end, so that a thousand repeats take no longer each."""

    said: list[Finding] = field(default_factory=list)
    details: dict[str, object] = field(default_factory=dict)

    def allows(self, finding: Finding) -> bool:
        """Tell whether no detail of the finding differs from what is known."""
        pairs = ((self.details[name], getattr(finding, name)) for name in _DETAILS)
        return all(mine is None or theirs is None or mine == theirs for mine, theirs in pairs)

    def add(self, finding: Finding) -> None:
        """Take in the finding, and those of its details that were not known."""
        self.said.append(finding)
        for name in _DETAILS:
            if self.details.get(name) is None:
                self.details[name] = getattr(finding, name)

    def joined(self) -> Finding:
        """Add to the first finding what the later ones brought; it is as sure as the surest."""
        first = self.said[0]
        if len(self.said) == 1:
            return first
        update: dict[str, object] = {
            **self.details,
            "plain": next((finding.plain for finding in self.said if finding.plain), ""),
            "modifiers": tuple(dict.fromkeys(word for finding in self.said for word in finding.modifiers)),
            "confidence": max(finding.confidence for finding in self.said),
            "evidence": evidence_of(self.said),
        }
        return first.model_copy(update=update)


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


def _value(measurement: Measurement) -> tuple[object, ...]:
    names = ("kind", "value", "value_high", "unit", "comparator", "out_of", "when")
    return tuple(getattr(measurement, name) for name in names)


def _joined_values(group: list[Measurement]) -> Measurement:
    if len(group) == 1:
        return group[0]
    update: dict[str, object] = {
        "method": next((measurement.method for measurement in group if measurement.method), None),
        # Said with its unit once, it is no longer inferred.
        "unit_inferred": all(measurement.unit_inferred for measurement in group),
        "confidence": max(measurement.confidence for measurement in group),
        "evidence": evidence_of(group),
    }
    return group[0].model_copy(update=update)
