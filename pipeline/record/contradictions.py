"""Finds statements of one examination that cannot both be right."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from lexicon import Lexicon
from pipeline.extraction.model import Finding, Measurement
from pipeline.record.model import Notice
from pipeline.record.ranges import interval_of
from pipeline.record.systems import is_result
from pipeline.record.wording import capital, evidence_of, place_of, structure_label, value_text

Replaced = tuple[tuple[Measurement, Measurement], ...]


def settle_measurements(
    measurements: tuple[Measurement, ...], lexicon: Lexicon
) -> tuple[tuple[Measurement, ...], Replaced]:
    """Let the last value of a kind stand where several current ones exclude each other.

    Returns the measurements, earlier values marked superseded, and the pairs (earlier, standing).
    """
    settled = list(measurements)
    replaced: list[tuple[Measurement, Measurement]] = []
    standing = [i for i, m in enumerate(settled) if not m.superseded and m.when == "now"]
    for earlier, later in combinations(standing, 2):
        if _exclude_each_other(settled[earlier], settled[later], lexicon):
            replaced.append((settled[earlier], settled[later]))
            settled[earlier] = settled[earlier].model_copy(update={"superseded": True})
    return tuple(settled), tuple(replaced)


def contradictions(findings: tuple[Finding, ...], replaced: Replaced, lexicon: Lexicon) -> Iterator[Notice]:
    """Yield a notice for each pair or group of statements that exclude each other."""
    yield from _contradicting_findings(findings)
    yield from _contradicting_verdicts(findings, lexicon)
    yield from _contradicting_grades(findings)
    yield from _contradicting_values(replaced, lexicon)


def _exclude_each_other(one: Measurement, other: Measurement, lexicon: Lexicon) -> bool:
    if one.kind != other.kind or lexicon.measurements[one.kind].repeats:
        return False
    if any(m.superseded or m.when == "past" or m.value is None for m in (one, other)):
        return False
    mine, theirs = interval_of(one), interval_of(other)
    if mine is None or theirs is None:
        return one.value != other.value
    if one.out_of is not None and other.out_of is not None and one.out_of != other.out_of:
        return False  # the same state on two scales
    return not mine.overlaps(theirs)


def _contradicting_values(replaced: Replaced, lexicon: Lexicon) -> Iterator[Notice]:
    for earlier, later in replaced:
        row = lexicon.measurements[earlier.kind]
        yield Notice(
            kind="contradiction",
            about=earlier.kind,
            severity="warning",
            message=(
                f"{capital(row.label)} was given as {value_text(earlier)} and later as {value_text(later)}."
                " The later value stands; check which one is right."
            ),
            evidence=earlier.evidence + later.evidence,
        )


def _contradicting_findings(findings: tuple[Finding, ...]) -> Iterator[Notice]:
    """Find the same thing present and absent today, both by the vet."""
    results = [finding for finding in findings if is_result(finding)]
    groups: dict[tuple[str, str, str | None], list[Finding]] = {}
    for finding in results:
        groups.setdefault((finding.system, finding.concept, finding.structure), []).append(finding)
    for group in groups.values():
        pairs = [
            (one, other)
            for one, other in combinations(group, 2)
            if {one.assertion, other.assertion} == {"present", "absent"} and _same_side(one, other)
        ]
        if pairs:
            yield Notice(
                kind="contradiction",
                about=group[0].concept,
                severity="warning",
                message=(
                    f"{capital(group[0].label)}{place_of(pairs[0][0])} was said to be present and to"
                    " be absent. Keep the one that is right."
                ),
                evidence=evidence_of(finding for pair in pairs for finding in pair),
            )


def _contradicting_verdicts(findings: tuple[Finding, ...], lexicon: Lexicon) -> Iterator[Notice]:
    """Find a structure called normal as a whole and found abnormal, on the same side."""
    results = [f for f in findings if is_result(f) and f.assertion == "present" and f.structure is not None]
    for verdict in results:
        concept = lexicon.findings.get(verdict.concept)
        if verdict.nature != "normal" or concept is None or not concept.verdict:
            continue
        for finding in results:
            same = (finding.system, finding.structure) == (verdict.system, verdict.structure)
            if finding.counts_as_abnormal and same and _same_side(verdict, finding):
                yield Notice(
                    kind="contradiction",
                    about=finding.concept,
                    severity="info",
                    message=(
                        f"Both {verdict.label!r} and {finding.label!r} were said of the"
                        f" {structure_label(finding, lexicon)}. Check that both are meant."
                    ),
                    evidence=verdict.evidence + finding.evidence,
                )


def _contradicting_grades(findings: tuple[Finding, ...]) -> Iterator[Notice]:
    graded = [f for f in findings if is_result(f) and f.assertion == "present" and f.grade is not None]
    for one, other in combinations(graded, 2):
        same = (one.system, one.concept, one.structure) == (other.system, other.concept, other.structure)
        if not same or not _same_side(one, other) or one.grade is None or other.grade is None:
            continue
        if (one.grade.value, one.grade.out_of) != (other.grade.value, other.grade.out_of):
            yield Notice(
                kind="contradiction",
                about=one.concept,
                severity="warning",
                message=(
                    f"{capital(one.label)}{place_of(one)} was graded as {one.grade.text} and as"
                    f" {other.grade.text}. Keep the one that is right."
                ),
                evidence=one.evidence + other.evidence,
            )


def _same_side(one: Finding, other: Finding) -> bool:
    return one.side == other.side or (
        "both" in (one.side, other.side) and one.side is not None and other.side is not None
    )
