"""Compares an examination with an earlier one: what is new, gone, changed, the same, and what nobody looked at again.

Pure. It states what two records say and judges no course of a disease.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Literal

from pydantic import Field

from lexicon import SYSTEMS, Lexicon
from lexicon.schema import System
from pipeline.extraction.model import Finding, Measurement, MeasurementKind
from pipeline.record.model import ExamRecord, Notice
from pipeline.record.systems import is_result
from pipeline.record.wording import capital, place_of
from pipeline.speech.model import Frozen

Course = Literal["new", "resolved", "changed", "unchanged", "not_named"]
"""`resolved`: said to be absent, or its part to be normal. `not_named`: nothing was said of it this time."""

_DETAILS = ("side", "severity", "grade", "size_mm", "size_text")


class FindingCourse(Frozen):
    """One abnormal finding over two examinations; `earlier` or `now` is null where it was not found."""

    course: Course
    system: System
    label: str
    earlier: Finding | None = None
    now: Finding | None = None
    details: tuple[str, ...] = Field(
        default=(), description="Names of the fields that differ: side, severity, grade, size."
    )


class ValueCourse(Frozen):
    """One kind of value over two examinations. `change` is in `unit`; `percent` of the earlier value, for weight only."""

    kind: MeasurementKind
    label: str
    unit: str | None
    earlier: Measurement
    now: Measurement
    change: float
    percent: float | None = None


class Comparison(Frozen):
    """Two examinations of one patient, findings in the order of the systems."""

    findings: tuple[FindingCourse, ...] = ()
    values: tuple[ValueCourse, ...] = ()


def compare(earlier: ExamRecord, now: ExamRecord, lexicon: Lexicon) -> Comparison:
    """Compare what the vets found on two days. What the owner told and what was past then is left out."""
    return Comparison(
        findings=courses_of(abnormal_findings(earlier), now, lexicon),
        values=tuple(_value_courses(earlier, now, lexicon)),
    )


def abnormal_findings(record: ExamRecord) -> tuple[Finding, ...]:
    """What the vet found abnormal that day: what a later examination is held against."""
    return tuple(f for f in record.findings if is_result(f) and f.counts_as_abnormal)


def courses_of(earlier: Iterable[Finding], now: ExamRecord, lexicon: Lexicon) -> tuple[FindingCourse, ...]:
    """What became of earlier abnormal findings, and which are new, in the order of the systems."""
    return tuple(sorted(_courses(earlier, now, lexicon), key=lambda course: SYSTEMS.index(course.system)))


def follow_up_notices(courses: Iterable[FindingCourse], now: ExamRecord) -> tuple[Notice, ...]:
    """One notice for each finding that was abnormal the last time and that nobody spoke of this time.

    A system that was not examined, with its reason, is told already.
    """
    told = {review.system for review in now.systems if review.state == "not_examined"}
    return tuple(
        Notice(
            kind="earlier_finding",
            about=course.earlier.concept,
            severity="warning",
            message=(
                f"{capital(course.label)}{place_of(course.earlier)} was found at the last examination and"
                " nothing was said of it this time. Say or type what is found now, or that it was not examined."
            ),
        )
        for course in courses
        if course.course == "not_named" and course.earlier is not None and course.system not in told
    )


def _courses(earlier: Iterable[Finding], now: ExamRecord, lexicon: Lexicon) -> Iterator[FindingCourse]:
    today = list(abnormal_findings(now))
    for old in earlier:
        match = _closest(old, today)
        if match is None:
            gone = _said_gone(old, now, lexicon)
            yield FindingCourse(
                course="resolved" if gone else "not_named", system=old.system, label=old.label, earlier=old
            )
            continue
        today.remove(match)
        details = tuple(name for name in _DETAILS if _differs(getattr(old, name), getattr(match, name)))
        yield FindingCourse(
            course="changed" if details else "unchanged",
            system=match.system,
            label=match.label,
            earlier=old,
            now=match,
            details=details,
        )
    for new in today:
        yield FindingCourse(course="new", system=new.system, label=new.label, now=new)


def _closest(old: Finding, candidates: Iterable[Finding]) -> Finding | None:
    """The same finding this time: on the same side before any, on the same part before another one of its system."""
    same = [f for f in candidates if (f.system, f.concept) == (old.system, old.concept) and _may_be(old, f)]
    return max(same, key=lambda f: (f.side == old.side, f.structure == old.structure), default=None)


def _may_be(old: Finding, new: Finding) -> bool:
    """Whether both can be one thing: left and right are two, as are two parts that were both named."""
    elsewhere = None not in (old.structure, new.structure) and old.structure != new.structure
    return not _opposite(old, new) and not elsewhere


def _opposite(one: Finding, other: Finding) -> bool:
    return {one.side, other.side} == {"left", "right"}


def _said_gone(old: Finding, now: ExamRecord, lexicon: Lexicon) -> bool:
    verdicts = _verdicts(lexicon)
    places = {None, *_with_wholes(old.structure, lexicon)}
    for finding in now.findings:
        if not is_result(finding) or finding.system != old.system or _opposite(old, finding):
            continue
        denied = finding.assertion == "absent" and finding.concept == old.concept and _may_be(old, finding)
        approved = finding.assertion == "present" and finding.concept in verdicts
        if denied or (approved and finding.structure in places):
            return True
    return False


def _verdicts(lexicon: Lexicon) -> frozenset[str]:
    """Concepts that call a part normal as a whole, alone or composed with the part."""
    alone = {concept.id for concept in lexicon.findings.values() if concept.verdict}
    return frozenset(alone | {made for (_, general), made in lexicon.composed.items() if general in alone})


def _with_wholes(structure: str | None, lexicon: Lexicon) -> Iterator[str]:
    """A structure and all that it is part of: who calls the heart normal speaks of its valves too."""
    while structure is not None:
        yield structure
        known = lexicon.structures.get(structure)
        structure = known.part_of if known is not None else None


def _differs(one: object, other: object) -> bool:
    """A detail that was not said on one of the days is no difference."""
    return one is not None and other is not None and one != other


def _value_courses(earlier: ExamRecord, now: ExamRecord, lexicon: Lexicon) -> Iterator[ValueCourse]:
    before = {m.kind: m for m in _current(earlier)}
    for value in {m.kind: m for m in _current(now)}.values():
        old = before.get(value.kind)
        if old is None or (old.unit, old.out_of) != (value.unit, value.out_of):
            continue
        if not isinstance(old.value, float) or not isinstance(value.value, float):
            continue
        change = round(value.value - old.value, 3)
        percent = round(100 * change / old.value, 1) if value.kind == "weight" and old.value else None
        yield ValueCourse(
            kind=value.kind,
            label=lexicon.measurements[value.kind].label,
            unit=value.unit,
            earlier=old,
            now=value,
            change=change,
            percent=percent,
        )


def _current(record: ExamRecord) -> Iterator[Measurement]:
    return (m for m in record.measurements if m.when == "now" and not m.superseded)
