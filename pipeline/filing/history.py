"""Values of earlier visits beside those of a record, as charts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from lexicon import Lexicon
from pipeline.extraction.model import Measurement
from pipeline.filing.charts import Chart, Limits
from pipeline.filing.language import Language, number
from pipeline.record import ExamRecord
from pipeline.record.wording import capital
from pipeline.store.model import PastValue

CHARTED = ("weight", "temperature", "heart_rate", "respiratory_rate", "body_condition_score")
"""Kinds that are drawn, in this order."""


def charts_of(
    record: ExamRecord,
    past: Mapping[str, Sequence[PastValue]],
    lexicon: Lexicon,
    language: Language,
    kinds: Sequence[str] = CHARTED,
) -> tuple[Chart, ...]:
    """Give the charts of all kinds with at least two values: earlier ones and the record's own.

    `past` holds values of signed records by kind, this record's and later ones too if the caller has them: only those of days
    before the visit are drawn, so that a document printed again years later is the same. The range is the record's own.
    """
    charts = []
    for kind in kinds:
        values = values_until(record, kind, past.get(kind, ()))
        if len(values) < 2:
            continue
        used = next((used for used in record.ranges if used.kind == kind), None)
        last = values[-1]
        unit = (
            language["values"]["scale"].format(out_of=number(last.out_of))
            if last.out_of
            else language.unit(last.unit)
        )
        charts.append(
            Chart(
                title=capital(lexicon.measurements[kind].label),
                unit=unit,
                values=values,
                limits=Limits(low=used.low, high=used.high) if used is not None else None,
            )
        )
    return tuple(charts)


def values_until(record: ExamRecord, kind: str, past: Sequence[PastValue]) -> tuple[PastValue, ...]:
    """Give the values of one kind up to a record's visit, the first measured first. A visit without a day has no place here."""
    on = record.visit.on
    if on is None:
        return ()
    earlier = sorted((value for value in past if value.on < on), key=lambda value: value.on)
    today = [_of_today(m, on) for m in record.measurements if m.kind == kind and _counts(m)]
    return (*earlier, *(value for value in today[-1:] if value is not None))


def _counts(measurement: Measurement) -> bool:
    return measurement.when == "now" and not measurement.superseded and measurement.status != "implausible"


def _of_today(measurement: Measurement, on: date) -> PastValue | None:
    if not isinstance(measurement.value, float):
        return None
    return PastValue(on=on, value=measurement.value, unit=measurement.unit, out_of=measurement.out_of)
