"""Puts the exam record together from what was understood: pure, the day of the visit is passed in."""

from __future__ import annotations

from lexicon import Lexicon
from pipeline.extraction.model import Statements
from pipeline.record.contradictions import settle_measurements
from pipeline.record.merge import merge_findings, merge_measurements
from pipeline.record.model import ExamRecord, Patient, ReferenceRangeUsed, Visit
from pipeline.record.notices import Material, all_notices
from pipeline.record.ranges import Judgement, judge, subject_of
from pipeline.record.systems import review_systems
from pipeline.speech.model import Transcript

CAUTION = (
    "This record writes down what was said. Flags, states and reference ranges support the clinician's"
    " judgement and local rules and do not replace them. Drugs and doses are kept as said and were not"
    " checked."
)


def assemble(
    statements: Statements,
    transcript: Transcript,
    patient: Patient | None,
    visit: Visit,
    lexicon: Lexicon,
) -> ExamRecord:
    """Build the record of one examination, with every system's state and all that needs a person's eye.

    Of several current values of one kind the last stands and the others are marked superseded, with a notice.
    Nothing that was said is dropped.
    """
    findings = merge_findings(statements.findings)
    said, replaced = settle_measurements(merge_measurements(statements.measurements), lexicon)
    subject = subject_of(patient, visit, said, lexicon)
    judgements = tuple(judge(measurement, subject, lexicon) for measurement in said)
    measurements = tuple(judgement.measurement for judgement in judgements)
    systems = review_systems(statements, findings, measurements, lexicon)
    record = ExamRecord(
        patient=patient,
        visit=visit,
        transcript=transcript,
        measurements=measurements,
        findings=findings,
        systems=systems,
        plan=statements.plan,
        ranges=_ranges_used(judgements),
        clauses=statements.clauses,
        caution=CAUTION,
    )
    material = Material(record, judgements, replaced, statements.corrections, subject)
    notices = all_notices(material, lexicon)
    return record.model_copy(update={"notices": notices})


def _ranges_used(judgements: tuple[Judgement, ...]) -> tuple[ReferenceRangeUsed, ...]:
    return tuple(dict.fromkeys(judgement.used for judgement in judgements if judgement.used is not None))
