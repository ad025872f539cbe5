"""The problems of a visit, and which steps of the plan speak of each.

A problem is what the vet found abnormal today. A step speaks of it when its words name the finding, its part or its body system, or
point back at it ("take that off"). A step that names nothing at all ("drops twice daily", "recheck in ten days") may be meant for
any problem, so it counts for each; vaccinations, parasite control and certificates answer none by themselves.
"""

from __future__ import annotations

from lexicon import Lexicon
from pipeline.extraction.model import Finding, PlanItem, PlanKind
from pipeline.record.model import ExamRecord, Problem
from pipeline.record.systems import is_result

_ROUTINE = frozenset((PlanKind.VACCINATION, PlanKind.PARASITE_CONTROL, PlanKind.CERTIFICATE))


def problems_of(record: ExamRecord, lexicon: Lexicon) -> tuple[Problem, ...]:
    """The problems in the order of the findings, each with the places in `plan` of the steps that speak of it."""
    steps = [(at, item) for at, item in enumerate(record.plan) if not item.superseded]
    return tuple(
        Problem(
            finding=place,
            concept=finding.concept,
            label=finding.label,
            system=finding.system,
            structure=finding.structure,
            side=finding.side,
            plan=tuple(at for at, item in steps if _speaks_of(item, finding, lexicon)),
        )
        for place, finding in enumerate(record.findings)
        if is_result(finding) and finding.counts_as_abnormal
    )


def _speaks_of(item: PlanItem, finding: Finding, lexicon: Lexicon) -> bool:
    if not item.about:
        return item.kind not in _ROUTINE
    return any(
        name in (finding.concept, finding.structure, finding.system)
        or ((structure := lexicon.structures.get(name)) is not None and structure.system == finding.system)
        or ((concept := lexicon.findings.get(name)) is not None and concept.system == finding.system)
        for name in item.about
    )
