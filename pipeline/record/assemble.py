"""Puts the exam record together from what was understood: pure, the day of the visit is passed in."""

from __future__ import annotations

from lexicon import Lexicon
from pipeline.extraction.model import Statements
from pipeline.record.contradictions import settle_measurements
from pipeline.record.merge import merge_findings, merge_measurements
from pipeline.record.model import ExamRecord, Patient, ReferenceRangeUsed, Visit
from pipeline.record.notices import Material, all_notices
from pipeline.record.problems import problems_of
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
    return assess(
        ExamRecord(
            patient=patient,
            visit=visit,
            transcript=transcript,
            measurements=merge_measurements(statements.measurements),
            findings=merge_findings(statements.findings),
            plan=statements.plan,
            assessments=statements.assessments,
            not_examined=statements.not_examined,
            mentioned=statements.mentioned,
            corrections=statements.corrections,
            clauses=statements.clauses,
            caution=CAUTION,
        ),
        lexicon,
    )


def assess(record: ExamRecord, lexicon: Lexicon) -> ExamRecord:
    """Work out anew what follows from the facts of a record: statuses, ranges, states of systems, problems, notices.

    Assessing twice changes nothing. Facts are kept as they stand and in their order, but for values of one kind
    that exclude each other: of these the last stands.
    """
    said, replaced = settle_measurements(record.measurements, record.corrections, lexicon)
    subject = subject_of(record.patient, record.visit, said, lexicon)
    judgements = tuple(judge(measurement, subject, lexicon) for measurement in said)
    measurements = tuple(judgement.measurement for judgement in judgements)
    assessed = record.model_copy(
        update={
            "measurements": measurements,
            "systems": review_systems(record, measurements, lexicon),
            "ranges": _ranges_used(judgements),
            "problems": problems_of(record, lexicon),
        }
    )
    notices = all_notices(Material(assessed, judgements, replaced, subject), lexicon)
    return assessed.model_copy(update={"notices": notices})


def _ranges_used(judgements: tuple[Judgement, ...]) -> tuple[ReferenceRangeUsed, ...]:
    return tuple(dict.fromkeys(judgement.used for judgement in judgements if judgement.used is not None))
