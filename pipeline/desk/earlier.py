"""A patient's earlier examinations: the one to compare with, and how values went."""

from __future__ import annotations

from dataclasses import dataclass

from lexicon import SYSTEMS
from pipeline.desk.desk import Desk
from pipeline.filing.charts import chart_svg
from pipeline.filing.history import CHARTED, charts_of
from pipeline.filing.language import load_language
from pipeline.record import ExamRecord
from pipeline.record.comparison import Comparison, compare
from pipeline.record.phrases import finding_text
from pipeline.record.wording import capital
from pipeline.store import Actor, PastVisit, RecordLine, signed_version, values_of, visits_of


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier signed examination beside the one of now."""

    visit: PastVisit
    comparison: Comparison


@dataclass(frozen=True, slots=True)
class LastTime:
    """What the last signed examination found wrong, in words."""

    visit: PastVisit
    abnormal: tuple[str, ...]


def last_time(desk: Desk, actor: Actor, patient_id: str) -> LastTime | None:
    """What was abnormal at a patient's last signed examination, nose to tail; null where there is none.

    That it was looked at is kept in the trail.
    """
    visits = visits_of(desk.database, actor, patient_id)
    before = next((one for one in visits if one.version and one.record_id is not None), None)
    if before is None or before.record_id is None:
        return None
    record = signed_version(desk.database, actor, before.record_id, before.version, desk.at()).record
    found = [
        one for one in record.findings if one.counts_as_abnormal and not one.superseded and one.when == "now"
    ]
    found.sort(key=lambda one: SYSTEMS.index(one.system))
    return LastTime(before, tuple(capital(finding_text(one, desk.lexicon)) for one in found))


def last_signed(desk: Desk, actor: Actor, line: RecordLine) -> PastVisit | None:
    """The patient's last visit before this one whose record was signed."""
    visits = visits_of(desk.database, actor, line.patient_id)
    before = (one for one in visits if one.version and one.record_id != line.id and one.on <= line.on)
    return next(before, None)


def compared(desk: Desk, actor: Actor, line: RecordLine, now: ExamRecord) -> Earlier | None:
    """This examination beside the last signed one, null when there is none. That it was looked at is kept in the trail."""
    before = last_signed(desk, actor, line)
    if before is None or before.record_id is None:
        return None
    earlier = signed_version(desk.database, actor, before.record_id, before.version, desk.at())
    return Earlier(before, compare(earlier.record, now, desk.lexicon))


def plots(desk: Desk, actor: Actor, patient_id: str, record: ExamRecord) -> tuple[str, ...]:
    """How the values of a record went over the visits up to it, as pictures (SVG)."""
    past = {kind: values_of(desk.database, actor, patient_id, kind) for kind in CHARTED}
    language = load_language(desk.options.settings.document_words)
    charts = charts_of(record, past, desk.lexicon, language)
    return tuple(chart_svg(chart, language) for chart in charts)
