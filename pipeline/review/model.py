"""A review: every fact as it was understood and as it stands now, who decided so and when."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Generic, Literal, TypeVar

from pydantic import AwareDatetime, Field

from lexicon.schema import System
from pipeline.extraction.model import Finding, Measurement, PlanItem
from pipeline.record.model import ExamRecord
from pipeline.speech.model import Frozen

Fact = TypeVar("Fact", Finding, Measurement, PlanItem)
FactId = Annotated[str, Field(pattern=r"^[fmp][1-9][0-9]*$")]
"""Identifier of a fact within its review: f for findings, m for measurements, p for plan items, and a number."""

Standing = Literal["open", "accepted", "corrected", "rejected", "added", "replaced"]
"""`open`: nobody decided. `replaced`: split or merged, other facts stand for it. Rejected and replaced ones are kept here and
do not stand in the record."""


class Mark(Frozen):
    """Who did it, and when (with time zone)."""

    by: str = Field(min_length=1, description="Name of the person as the record shows it.")
    at: AwareDatetime


class Reviewed(Frozen, Generic[Fact]):
    """One fact under review.

    `said` is what was understood from the words, null for a fact that a person brought in; `value` is what stands.
    `confirmed` says that a person looked at the value as it stands and took responsibility for it.
    """

    id: FactId
    said: Fact | None
    value: Fact
    standing: Standing = "open"
    confirmed: bool = False
    mark: Mark | None = None
    reason: str | None = None
    made_from: tuple[FactId, ...] = Field(default=(), description="Facts that were split or merged into it.")

    @property
    def stands(self) -> bool:
        """Whether the fact is part of the record."""
        return self.standing not in ("rejected", "replaced")


class SystemDecision(Frozen):
    """A person's word that a system was not examined, and why."""

    system: System
    reason: str = Field(min_length=1)
    mark: Mark


class Acknowledgement(Frozen):
    """A notice that a person saw and left as it is, with the reason."""

    notice: str = Field(description="Key of the notice: see `notice_key`.")
    message: str
    reason: str = Field(min_length=1)
    mark: Mark


class LastExam(Frozen):
    """What was found abnormal at the patient's last signed examination, which this one is held against."""

    on: date | None
    findings: tuple[Finding, ...]


class Review(Frozen):
    """The state of a review. `original` is the machine's record and never changes; `last` is null at a first examination."""

    original: ExamRecord
    findings: tuple[Reviewed[Finding], ...] = ()
    measurements: tuple[Reviewed[Measurement], ...] = ()
    plan: tuple[Reviewed[PlanItem], ...] = ()
    not_examined: tuple[SystemDecision, ...] = ()
    acknowledged: tuple[Acknowledgement, ...] = ()
    last: LastExam | None = None

    @property
    def facts(self) -> tuple[Reviewed[Finding] | Reviewed[Measurement] | Reviewed[PlanItem], ...]:
        """Findings, measurements and plan items, in this order."""
        return (*self.findings, *self.measurements, *self.plan)
