"""An exam record in, a reviewed one out: a person accepts, corrects, rejects and adds; the machine's original stays beside.

Pure: operations are values, their time and author are passed in. Never changes a fact that nobody asked to change.
"""

from pipeline.review.apply import ReviewError, apply
from pipeline.review.model import Mark, Review, Reviewed
from pipeline.review.operations import (
    Accept,
    AcceptCertain,
    Acknowledge,
    AddFinding,
    AddMeasurement,
    AddPlanItem,
    CorrectFinding,
    CorrectMeasurement,
    CorrectPlanItem,
    FindingChanges,
    MarkNormal,
    MarkNotExamined,
    MeasurementChanges,
    Merge,
    Operation,
    PlanChanges,
    Reject,
    Restore,
    Split,
)
from pipeline.review.standing import current, hindrances, notice_key, open_review

__all__ = [
    "Accept",
    "AcceptCertain",
    "Acknowledge",
    "AddFinding",
    "AddMeasurement",
    "AddPlanItem",
    "CorrectFinding",
    "CorrectMeasurement",
    "CorrectPlanItem",
    "FindingChanges",
    "Mark",
    "MarkNormal",
    "MarkNotExamined",
    "MeasurementChanges",
    "Merge",
    "Operation",
    "PlanChanges",
    "Reject",
    "Restore",
    "Review",
    "ReviewError",
    "Reviewed",
    "Split",
    "apply",
    "current",
    "hindrances",
    "notice_key",
    "open_review",
]
