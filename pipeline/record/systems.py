"""Works out the state of every body system, and keeps apart: normal, abnormal, not examined, not mentioned.

What makes a state:
- Only what the vet says of today counts. The owner's words stay in the record, but make a system neither
  normal nor abnormal.
- One abnormal finding, certain or possible, makes a system abnormal.
- A neutral fact ("microchip found") and a fact of the past are no result of an examination.
- A measurement makes a system (`system` in lexicon/measurements.toml) neither normal nor abnormal: a heart
  rate tells nothing of murmurs. A value out of range is a notice, alone as well as beside findings. Only the
  systems of `values_suffice` in lexicon/words.toml (general: weight, temperature, condition) are examined by
  their values alone.
- What was not spoken of is normal where the vet said so of the rest ("everything else unremarkable"; concepts with
  `covers_rest`); the reason holds these words.
- `not_examined` is only what the vet said could not be examined. Where something is on record but no result
  of the vet's (the owner's words, "neutered", a value in or out of its range), the state is `not_mentioned`, the
  reason says what there is, and the notice of a missing system asks for the result.
"""

from __future__ import annotations

from typing import get_args

from lexicon import Lexicon
from lexicon.schema import System
from pipeline.extraction.model import Finding, Measurement, RangeStatus
from pipeline.record.model import ExamRecord, SystemReview, SystemState

_STATUS_WORDS: dict[RangeStatus, str] = {
    "normal": "in range",
    "low": "low",
    "high": "high",
    "implausible": "implausible",
    "unknown": "not judged",
}


def review_systems(
    record: ExamRecord, measurements: tuple[Measurement, ...], lexicon: Lexicon
) -> tuple[SystemReview, ...]:
    """Work out the state of all systems, nose to tail; `measurements` are the record's with their status."""
    reviews: list[SystemReview] = []
    rest = _said_of_the_rest(record, lexicon)
    for system in get_args(System):
        of_system = [f for f in record.findings if f.system == system and not f.superseded]
        declined = "; ".join(dict.fromkeys(n.reason for n in record.not_examined if n.system == system))
        values = [
            m
            for m in measurements
            if lexicon.measurements[m.kind].system == system and m.when == "now" and not m.superseded
        ]
        results = [finding for finding in of_system if is_result(finding)]
        if results:
            review = _by_results(system, results, declined)
        elif declined:
            review = SystemReview(system=system, state="not_examined", reason=declined)
        elif rest is not None:
            review = SystemReview(system=system, state="normal", reason=rest)
        elif values:
            review = _by_values(system, values, lexicon)
        else:
            review = _without_result(system, of_system, named=system in record.mentioned)
        reviews.append(review)
    return tuple(reviews)


def _said_of_the_rest(record: ExamRecord, lexicon: Lexicon) -> str | None:
    """The vet's words for all that was not spoken of ("rest of exam unremarkable"), as a reason; None without them."""
    for finding in record.findings:
        covered = (
            lexicon.findings[finding.concept].covers_rest if finding.concept in lexicon.findings else None
        )
        if is_result(finding) and finding.assertion == covered:
            said = finding.evidence[0].text if finding.evidence else finding.label
            return f"said of all that was not spoken of: {said}"
    return None


def is_result(finding: Finding) -> bool:
    """Tell whether this is what the vet found today, normal or not."""
    standing = not finding.superseded and finding.when == "now" and finding.reported_by == "vet"
    return standing and finding.nature != "neutral"


def _by_results(system: System, results: list[Finding], declined: str) -> SystemReview:
    abnormal = any(finding.counts_as_abnormal for finding in results)
    reason = f"not complete: {declined}" if declined else None
    return SystemReview(system=system, state="abnormal" if abnormal else "normal", reason=reason)


def _without_result(system: System, findings: list[Finding], *, named: bool) -> SystemReview:
    """Tell apart what the owner said, what was only noted, what is past, and silence."""
    today = [finding for finding in findings if finding.when == "now"]
    if any(finding.reported_by == "owner" for finding in today):
        return SystemReview(system=system, state="not_mentioned", reason="only reported by the owner")
    if today:
        noted = ", ".join(dict.fromkeys(finding.label for finding in today))
        return SystemReview(system=system, state="not_mentioned", reason=f"only noted: {noted}")
    reason = "only spoken of as past" if findings else "named, but no result was said" if named else None
    return SystemReview(system=system, state="not_mentioned", reason=reason)


def _by_values(system: System, values: list[Measurement], lexicon: Lexicon) -> SystemReview:
    statuses = {value.status for value in values}
    state: SystemState = "not_mentioned"
    if system in lexicon.words["record"]["values_suffice"]:
        state = "abnormal" if statuses & {"low", "high", "implausible"} else "normal"
    measured = (f"{lexicon.measurements[v.kind].label} ({_STATUS_WORDS[v.status]})" for v in values)
    reason = f"only measured: {', '.join(dict.fromkeys(measured))}"
    return SystemReview(system=system, state=state, reason=reason)
