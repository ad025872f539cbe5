"""Finds statements of one examination that cannot both be right."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator
from itertools import combinations

from lexicon import Lexicon
from pipeline.extraction.model import Correction, Evidence, Finding, Measurement
from pipeline.record.model import Notice
from pipeline.record.ranges import interval_of
from pipeline.record.systems import is_result
from pipeline.record.wording import capital, evidence_of, place_of, structure_label, value_text

Replaced = tuple[tuple[Measurement, Measurement], ...]


def settle_measurements(
    measurements: tuple[Measurement, ...], corrections: tuple[Correction, ...], lexicon: Lexicon
) -> tuple[tuple[Measurement, ...], Replaced]:
    """Let the last value of a kind stand where several current ones exclude each other.

    Returns the measurements, earlier values marked superseded, and the pairs (earlier, standing): those settled
    now, and those that an earlier settling left, which no spoken correction explains.
    """
    explained = _taken_back(measurements, corrections)
    settled = list(measurements)
    replaced: list[tuple[Measurement, Measurement]] = []
    standing: dict[str, list[Measurement]] = defaultdict(list)
    for place in reversed(range(len(settled))):
        value = settled[place]
        if value.superseded and place in explained:
            continue
        was = value.model_copy(update={"superseded": False})
        later = next((m for m in standing[value.kind] if _exclude_each_other(was, m, lexicon)), None)
        if later is not None:
            replaced.append((was, later))
            settled[place] = value.model_copy(update={"superseded": True})
        elif not value.superseded:
            standing[value.kind].append(value)
    return tuple(settled), tuple(reversed(replaced))


def _taken_back(measurements: tuple[Measurement, ...], corrections: tuple[Correction, ...]) -> set[int]:
    """Places of the values that a spoken correction stands on, or that came last before a "scratch that" about them."""
    withdrawn: dict[str, list[int]] = defaultdict(list)
    by_words: dict[tuple[str, tuple[Evidence, ...]], list[int]] = defaultdict(list)
    for place, value in enumerate(measurements):
        if value.superseded:
            withdrawn[value.kind].append(place)
            by_words[value.kind, value.evidence].append(place)
    places: set[int] = set()
    for correction in corrections:
        named = by_words.get((correction.about, correction.evidence))
        if named is None:
            of_kind = withdrawn.get(correction.about, [])
            before = bisect_left(
                of_kind, _first(correction.evidence), key=lambda i: _first(measurements[i].evidence)
            )
            named = of_kind[before - 1 : before] if before else []
        places.update(named)
    return places


def _first(evidence: tuple[Evidence, ...]) -> int:
    return min((piece.start_char for piece in evidence), default=0)


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
