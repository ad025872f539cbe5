"""What the reviewer must look at, as complete sentences. They state and ask; they never advise on treatment.

Choices made for quiet: a notice that comes at every visit teaches people to look past all of them.
- `no_plan` comes once: as a warning when something abnormal was found and no plan was said at all, as
  information when steps were said and none of them can be meant for a problem (problems.py). Slight and mild
  problems are not asked for then: at every second visit there is a bit of tartar.
- A verdict ("fine") against an abnormality counts as a contradiction only on the same structure and side, and
  as `info`.
- `identity` does not compare the spoken name with the file: a patient has many names on the table.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from lexicon import Lexicon
from lexicon.schema import MeasurementName, Requirement
from pipeline.extraction.model import SURE_ENOUGH, Correction, Evidence, Finding, Measurement
from pipeline.record.contradictions import Replaced, contradictions
from pipeline.record.identity import identity_notices
from pipeline.record.model import ExamRecord, Notice, SystemReview
from pipeline.record.ranges import Judgement, Subject
from pipeline.record.systems import is_result
from pipeline.record.wording import capital, evidence_of, limits_text, place_of, value_text

_SLIGHT = ("trace", "mild")
_SEVERITIES = ("critical", "warning", "info")


@dataclass(frozen=True, slots=True)
class Material:
    """A record without notices, and what its assembly knew beyond it."""

    record: ExamRecord
    judgements: tuple[Judgement, ...]
    replaced: Replaced
    subject: Subject


def all_notices(material: Material, lexicon: Lexicon) -> tuple[Notice, ...]:
    """Collect every notice of a record, the gravest first."""
    record = material.record
    notices = [
        *_implausible(material.judgements, lexicon),
        *_out_of_range(material.judgements, lexicon),
        *identity_notices(record, material.subject, lexicon),
        *contradictions(record.findings, material.replaced, lexicon),
        *_side_missing(record.findings, lexicon),
        *_doubtful_findings(record.findings),
        *_doubtful_values(material.judgements, lexicon),
        *_missing(record, material.subject, lexicon),
        *_no_plan(record),
        *_corrected(record.corrections),
    ]
    return tuple(sorted(notices, key=lambda notice: _SEVERITIES.index(notice.severity)))


def _implausible(judgements: Iterable[Judgement], lexicon: Lexicon) -> Iterator[Notice]:
    for judgement in judgements:
        if judgement.reach is None:
            continue
        measurement = judgement.measurement
        row = lexicon.measurements[measurement.kind]
        low, high = judgement.reach
        yield Notice(
            kind="implausible",
            about=measurement.kind,
            severity="critical",
            message=(
                f"{capital(row.label)} {value_text(measurement)} cannot be right: possible values reach from"
                f" {low:g} to {high:g}. It is kept as it was heard; correct it or strike it out."
            ),
            evidence=measurement.evidence,
        )


def _out_of_range(judgements: Iterable[Judgement], lexicon: Lexicon) -> Iterator[Notice]:
    for judgement in judgements:
        measurement, used = judgement.measurement, judgement.used
        if used is None or measurement.status not in ("low", "high"):
            continue
        row = lexicon.measurements[measurement.kind]
        where = "above" if measurement.status == "high" else "below"
        far = "far " if judgement.far_out else ""
        yield Notice(
            kind="out_of_range",
            about=measurement.kind,
            severity="critical" if judgement.far_out else "warning",
            message=(
                f"{capital(row.label)} {value_text(measurement)} is {far}{where} the reference range"
                f"{limits_text(used.low, used.high)} ({used.basis}; {used.source}). Check the value and"
                " the words it came from."
            ),
            evidence=measurement.evidence,
        )


def _side_missing(findings: tuple[Finding, ...], lexicon: Lexicon) -> Iterator[Notice]:
    for finding in findings:
        abnormal = is_result(finding) and finding.counts_as_abnormal and finding.assertion == "present"
        if abnormal and finding.side is None and _sided(finding, lexicon):
            yield Notice(
                kind="side_missing",
                about=finding.concept,
                severity="warning",
                message=f"No side was said for {finding.label}{place_of(finding)}. Give left, right or both.",
                evidence=finding.evidence,
            )


def _sided(finding: Finding, lexicon: Lexicon) -> bool:
    """Tell whether the concept expects a side, or fits any place and sits on a paired structure."""
    concept = lexicon.findings.get(finding.concept)
    if concept is None:
        return False
    structure = lexicon.structures.get(finding.structure or "")
    return concept.sided or (concept.system == "any" and structure is not None and structure.paired)


def _doubtful_findings(findings: tuple[Finding, ...]) -> Iterator[Notice]:
    for finding in findings:
        if finding.confidence <= SURE_ENOUGH and not finding.superseded:
            yield _doubt(
                finding.concept,
                f"{capital(finding.label)}{place_of(finding)} was not heard or understood with certainty.",
                finding.evidence,
            )


def _doubtful_values(judgements: Iterable[Judgement], lexicon: Lexicon) -> Iterator[Notice]:
    for judgement in judgements:
        measurement = judgement.measurement
        row = lexicon.measurements[measurement.kind]
        if measurement.superseded or measurement.when == "past":
            continue
        if measurement.confidence <= SURE_ENOUGH:
            how = f" ({measurement.method})" if measurement.method else ""
            sentence = f"{capital(row.label)} {value_text(measurement)}{how} is uncertain."
            yield _doubt(measurement.kind, sentence, measurement.evidence)
        elif judgement.scale_missing:
            scales = " or ".join(f"{scale:g}" for scale in row.out_of if _fits_scale(measurement, scale))
            yield _doubt(
                measurement.kind,
                f"{capital(row.label)} {value_text(measurement)} was said without its scale: it may be out"
                f" of {scales}.",
                measurement.evidence,
            )
        elif _converted_unasked(measurement, row, lexicon):
            yield Notice(
                kind="low_confidence",
                about=measurement.kind,
                severity="info",
                message=(
                    f"{capital(row.label)} was said without a unit. It was converted to"
                    f" {value_text(measurement)}, as the bare number did not fit. Check that this was meant."
                ),
                evidence=measurement.evidence,
            )


def _doubt(about: str, sentence: str, evidence: tuple[Evidence, ...]) -> Notice:
    return Notice(
        kind="low_confidence",
        about=about,
        severity="warning",
        message=f"{sentence} Compare it with the words and confirm or correct it.",
        evidence=evidence,
    )


def _fits_scale(measurement: Measurement, scale: float) -> bool:
    return isinstance(measurement.value, float) and measurement.value <= scale


def _converted_unasked(measurement: Measurement, row: MeasurementName, lexicon: Lexicon) -> bool:
    """Tell whether no unit was said and the value was taken to be in another one than the stored."""
    if not measurement.unit_inferred or measurement.method is None:
        return False
    method = measurement.method.lower()
    return any(
        re.search(rf"\b{re.escape(term)}\b", method)
        for unit in lexicon.units
        if unit.to == row.unit and (unit.factor, unit.offset) != (1.0, 0.0)
        for term in unit.terms
        if len(term) > 3
    )


def _missing(record: ExamRecord, subject: Subject, lexicon: Lexicon) -> Iterator[Notice]:
    requirement = _requirement(record.visit.kind, subject, lexicon)
    if requirement is None:
        return
    for review in record.systems:
        if review.state == "not_mentioned" and review.system in requirement.systems:
            yield _missing_system(review)
    taken: set[str] = {m.kind for m in record.measurements if m.when == "now" and not m.superseded}
    taken |= {row.judged_as for kind in taken if (row := lexicon.measurements[kind]).judged_as is not None}
    for kind in requirement.measurements:
        if kind not in taken:
            yield Notice(
                kind="missing_measurement",
                about=kind,
                severity="warning",
                message=f"No {lexicon.measurements[kind].label} was said. Add it, or note why it is missing.",
            )


def _requirement(visit: str, subject: Subject, lexicon: Lexicon) -> Requirement | None:
    """Pick the row of the species before that for any other, then the highest minimum age reached."""
    fitting = [
        requirement
        for requirement in lexicon.requirements
        if requirement.visit == visit
        and requirement.species in (subject.species, "*")
        and requirement.min_age_months <= (subject.age_months or 0)
    ]
    return max(fitting, key=lambda r: (r.species != "*", r.min_age_months), default=None)


def _missing_system(review: SystemReview) -> Notice:
    said = f" ({review.reason})" if review.reason else ""
    return Notice(
        kind="missing_system",
        about=review.system,
        severity="warning",
        message=(
            f"No result was said for: {review.system.replace('_', ' ')}{said}. Say or type what was found, or"
            " that it was not examined."
        ),
    )


def _no_plan(record: ExamRecord) -> Iterator[Notice]:
    found = [record.findings[problem.finding] for problem in record.problems]
    if found and all(item.superseded for item in record.plan):
        what = "Abnormal findings were" if len(found) > 1 else "An abnormal finding was"
        yield Notice(
            kind="no_plan",
            about="plan",
            severity="warning",
            message=f"{what} recorded and no plan was said. Add what happens next, also if that is nothing.",
            evidence=evidence_of(found),
        )
        return
    left = [
        finding
        for problem, finding in zip(record.problems, found, strict=True)
        if not problem.plan and finding.severity not in _SLIGHT
    ]
    if left:
        names = ", ".join(dict.fromkeys(f"{finding.label}{place_of(finding)}" for finding in left))
        yield Notice(
            kind="no_plan",
            about="plan",
            severity="info",
            message=f"No step of the plan speaks of: {names}. Add what happens next, also if that is nothing.",
            evidence=evidence_of(left),
        )


def _corrected(corrections: tuple[Correction, ...]) -> Iterator[Notice]:
    for correction in corrections:
        yield Notice(
            kind="correction",
            about=correction.about,
            severity="info",
            message=correction.message,
            evidence=correction.evidence,
        )
