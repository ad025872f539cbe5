"""Judges measurements: out of the reach of physiology, below, within or above a published range.

A range depends on species, age, weight and place, so a `Subject` is worked out first. Nothing is judged
for a patient of unknown species: `unknown` is an honest answer, a range of another species is not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Literal

from lexicon import Lexicon
from lexicon.schema import MeasurementName, ReferenceRange
from pipeline.extraction.model import Measurement, RangeStatus
from pipeline.record.model import Patient, ReferenceRangeUsed, Visit

Place = Literal["clinic", "home"]


@dataclass(frozen=True, slots=True)
class Subject:
    """What a reference range depends on; null where it is not known.

    `age_months` are full months, `weight_kg` is in kilograms.
    """

    species: str | None = None
    age_months: int | None = None
    weight_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Interval:
    """The values a spoken number leaves possible: "under two" is everything below 2, without 2 itself."""

    low: float
    high: float
    low_open: bool = False
    high_open: bool = False

    def overlaps(self, other: Interval) -> bool:
        """Tell whether one value could be meant by both."""
        low, high = max(self.low, other.low), min(self.high, other.high)
        if low != high:
            return low < high
        return not (self.excludes(low) or other.excludes(low))

    def excludes(self, value: float) -> bool:
        """Tell whether `value` lies outside, or on an end that does not belong to the interval."""
        if value == self.low:
            return self.low_open
        if value == self.high:
            return self.high_open
        return not self.low < value < self.high


@dataclass(frozen=True, slots=True)
class Judgement:
    """A measurement with its status, and what it was judged by.

    `reach` are the limits it broke when implausible, `far_out` marks a value far beyond its range,
    `scale_missing` a score that could belong to several scales.
    """

    measurement: Measurement
    used: ReferenceRangeUsed | None = None
    reach: tuple[float, float] | None = None
    far_out: bool = False
    scale_missing: bool = False


def age_in_months(patient: Patient | None, on: date | None) -> int | None:
    """Count full months of age on the day of the visit; null when unknown or born after it."""
    if patient is None:
        return None
    born = patient.birth_date
    if born is None:
        return patient.age_months
    if on is None or on < born:
        return None
    return (on.year - born.year) * 12 + on.month - born.month - (on.day < born.day)


def species_id(patient: Patient | None) -> str | None:
    """Write the species as the tables do: "Guinea pig" → "guinea_pig"."""
    return "_".join(patient.species.lower().replace("_", " ").split()) if patient is not None else None


def subject_of(
    patient: Patient | None, visit: Visit, measurements: tuple[Measurement, ...], lexicon: Lexicon
) -> Subject:
    """Find species, age and weight; a plausible weight of today counts before the one on file."""
    species = species_id(patient)
    weight = patient.weight_kg if patient is not None else None
    for measurement in measurements:
        row = lexicon.measurements[measurement.kind]
        standing = measurement.when == "now" and not measurement.superseded
        if not standing or row.unit != "kg" or not isinstance(measurement.value, float):
            continue
        if _broken_reach(measurement, row, species) is None:
            weight = measurement.value
    return Subject(species, age_in_months(patient, visit.on), weight)


def interval_of(measurement: Measurement) -> Interval | None:
    """Give the values that were said to be possible; null for words and for what was not counted."""
    value = measurement.value
    if value is None or isinstance(value, str):
        return None
    other = measurement.value_high if measurement.value_high is not None else value
    low, high = min(value, other), max(value, other)
    match measurement.comparator:
        case "<":
            return Interval(-math.inf, high, high_open=True)
        case "<=":
            return Interval(-math.inf, high)
        case ">":
            return Interval(low, math.inf, low_open=True)
        case ">=":
            return Interval(low, math.inf)
    return Interval(low, high)


def judge(measurement: Measurement, subject: Subject, lexicon: Lexicon, place: Place = "clinic") -> Judgement:
    """Give a measurement its status. Values of the past and withdrawn ones stay `unknown`."""
    row = lexicon.measurements[measurement.kind]
    if measurement.when == "past" or measurement.superseded or measurement.value is None:
        return _with_status(measurement, "unknown")
    reach = _broken_reach(measurement, row, subject.species)
    if reach is not None:
        return Judgement(measurement.model_copy(update={"status": "implausible"}), reach=reach)
    scale = _scale(measurement, row)
    scale_missing = bool(row.out_of) and scale is None and measurement.out_of is None
    reference = _reference(row, subject, scale, lexicon, place)
    if reference is None or scale_missing:
        judged = _with_status(measurement, "unknown")
        return Judgement(judged.measurement, scale_missing=scale_missing)
    status = _status(measurement, reference)
    return Judgement(
        measurement.model_copy(update={"status": status}),
        used=_used(measurement, reference),
        far_out=_far_out(measurement, status, reference, row),
    )


def _with_status(measurement: Measurement, status: RangeStatus) -> Judgement:
    return Judgement(measurement.model_copy(update={"status": status}))


def _broken_reach(
    measurement: Measurement, row: MeasurementName, species: str | None
) -> tuple[float, float] | None:
    """Give the limits of physiology (or of its scale) that a spoken number breaks."""
    spoken = [n for n in (measurement.value, measurement.value_high) if isinstance(n, float)]
    reach = row.plausible_in.get(species or "", row.plausible)
    if reach is None:
        return None
    if row.out_of and measurement.out_of is not None:
        reach = reach[0], measurement.out_of
    # Written so that a number that is none (nan) breaks the reach too.
    return None if all(reach[0] <= number <= reach[1] for number in spoken) else reach


def _scale(measurement: Measurement, row: MeasurementName) -> float | None:
    """Find the maximum of a score: as said, or the only scale that is long enough."""
    if measurement.out_of is not None or not isinstance(measurement.value, float):
        return measurement.out_of
    value = max(measurement.value, measurement.value_high or measurement.value)
    fitting = [scale for scale in row.out_of if value <= scale]
    return float(fitting[0]) if len(fitting) == 1 else None


def _reference(
    row: MeasurementName, subject: Subject, scale: float | None, lexicon: Lexicon, place: Place
) -> ReferenceRange | None:
    """Find the range that fits best: the place asked for before "any", a weight band before none."""
    kind = row.judged_as or row.kind
    fitting = [
        reference
        for reference in lexicon.ranges
        if reference.kind == kind
        and reference.species == subject.species
        and reference.place in (place, "any")
        and _age_fits(reference, subject.age_months)
        and _weight_fits(reference, subject.weight_kg)
    ]
    fitting.sort(key=lambda r: (r.place == "any", r.min_weight_kg is None and r.max_weight_kg is None))
    if scale is None:
        return next((reference for reference in fitting if reference.out_of is None), None)
    same = next((reference for reference in fitting if reference.out_of == scale), None)
    if same is not None or not row.linear_scales or scale not in row.out_of:
        return same
    other = next((reference for reference in fitting if reference.out_of in row.out_of), None)
    return _rescaled(other, scale) if other is not None else None


def _age_fits(reference: ReferenceRange, age: int | None) -> bool:
    """Judge a patient of unknown age as an adult: by the rows without an upper age."""
    if age is None:
        return reference.max_age_months is None
    return reference.min_age_months <= age and (
        reference.max_age_months is None or age < reference.max_age_months
    )


def _weight_fits(reference: ReferenceRange, weight: float | None) -> bool:
    low, high = reference.min_weight_kg, reference.max_weight_kg
    if weight is None:
        return low is None and high is None
    return (low is None or low <= weight) and (high is None or weight < high)


def _rescaled(reference: ReferenceRange, scale: float) -> ReferenceRange:
    """Convert the range to another scale that also starts at 1: 4 to 5 of 9 is 2.5 to 3 of 5."""
    step = (scale - 1) / ((reference.out_of or scale) - 1)

    def convert(score: float | None) -> float | None:
        return None if score is None else 1 + (score - 1) * step

    return reference.model_copy(
        update={
            "low": convert(reference.low),
            "high": convert(reference.high),
            "out_of": int(scale),
            "basis": f"{reference.basis}, converted to the scale of {scale:g}",
        }
    )


def _status(measurement: Measurement, reference: ReferenceRange) -> RangeStatus:
    if isinstance(measurement.value, str):
        if not reference.normal_words:
            return "unknown"
        return "normal" if measurement.value in reference.normal_words else "low"
    interval = interval_of(measurement)
    return "unknown" if interval is None or reference.normal_words else _compare(interval, reference)


def _compare(said: Interval, reference: ReferenceRange) -> RangeStatus:
    """Place what was said against the limits; of a spoken range both ends have to be within."""
    within = Interval(_low(reference), _high(reference), high_open=reference.high_open)
    if not said.overlaps(within):
        return "high" if said.low >= within.high else "low"
    too_low = said.low < within.low
    too_high = said.high > within.high or (
        said.high == within.high and within.high_open and not said.high_open
    )
    if not (too_low or too_high):
        return "normal"
    if math.isinf(said.low) or math.isinf(said.high):
        # "Over 100" with a limit of 140 can be either: only a number would tell.
        return "unknown"
    return "high" if too_high else "low"


def _low(reference: ReferenceRange) -> float:
    return -math.inf if reference.low is None else reference.low


def _high(reference: ReferenceRange) -> float:
    return math.inf if reference.high is None else reference.high


def _far_out(
    measurement: Measurement, status: RangeStatus, reference: ReferenceRange, row: MeasurementName
) -> bool:
    """Beyond the limit by more than the margin of lexicon/measurements.toml."""
    interval = interval_of(measurement)
    limit = reference.high if status == "high" else reference.low
    if status not in ("low", "high") or interval is None or limit is None:
        return False
    ends = [end for end in (interval.low, interval.high) if math.isfinite(end)]
    beyond = max(ends) - limit if status == "high" else limit - min(ends)
    margin = row.far_out if row.far_out is not None else (row.far_out_share or math.inf) * abs(limit)
    return beyond > margin or math.isclose(beyond, margin)


def _used(measurement: Measurement, reference: ReferenceRange) -> ReferenceRangeUsed:
    source = reference.source if reference.year is None else f"{reference.source}, {reference.year}"
    return ReferenceRangeUsed(
        kind=measurement.kind,
        low=reference.low,
        high=reference.high,
        unit=reference.unit,
        basis=reference.basis,
        source=source if reference.read else f"{source} (from memory, not read)",
    )
