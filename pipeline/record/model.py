"""The exam record: the document that is reviewed, signed and filed."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import ConfigDict, Field, model_validator

from lexicon.schema import System
from pipeline.extraction.model import (
    Assessment,
    Clause,
    Correction,
    Evidence,
    Finding,
    Measurement,
    NotExamined,
    PlanItem,
    Side,
)
from pipeline.speech.model import Frozen, Transcript

SCHEMA_VERSION = "1.1"
"""A new minor number adds optional fields: records of lower ones stay readable. 1.1: what the states and notices rest on."""

VisitKind = Literal["health_check", "vaccination", "sick", "recheck", "pre_anaesthetic", "senior"]
SystemState = Literal["normal", "abnormal", "not_examined", "not_mentioned"]
NoticeKind = Literal[
    "missing_system",
    "missing_measurement",
    "out_of_range",
    "implausible",
    "contradiction",
    "correction",
    "low_confidence",
    "side_missing",
    "no_plan",
    "identity",
    "earlier_finding",
]
NoticeSeverity = Literal["info", "warning", "critical"]


# Blanks are no name, and JSON has no infinite number.
_FROM_A_FILE = ConfigDict(str_strip_whitespace=True, allow_inf_nan=False)


class Owner(Frozen):
    """The client. Every field may be missing in an examination away from the practice."""

    model_config = _FROM_A_FILE

    name: str | None = None
    phone: str | None = None
    email: str | None = None
    address: str | None = None


class Patient(Frozen):
    """The animal. `species` is dog, cat, rabbit, ferret, guinea_pig or free text; age in months if no birth date."""

    model_config = _FROM_A_FILE

    name: str = Field(min_length=1)
    species: str = Field(min_length=1)
    breed: str | None = None
    sex: Literal["male", "female"] | None = None
    neutered: bool | None = None
    birth_date: date | None = None
    age_months: int | None = Field(default=None, ge=0, le=1200)
    weight_kg: float | None = Field(
        default=None, gt=0, description="Last known weight, for size-dependent ranges."
    )
    microchip: str | None = None
    owner: Owner | None = None

    @model_validator(mode="after")
    def _one_age(self) -> Patient:
        if self.birth_date is not None and self.age_months is not None:
            raise ValueError("give birth_date or age_months, not both")
        return self


class Visit(Frozen):
    """When and why. The date is passed in: nothing in this stage reads the clock."""

    kind: VisitKind = "health_check"
    on: date | None = Field(default=None, description="Day of the examination; due dates count from it.")


class SystemReview(Frozen):
    """The state of one body system, with the reason when it was not examined."""

    system: System
    state: SystemState
    reason: str | None = None


class Notice(Frozen):
    """Something the reviewer must look at; `about` names the system, measurement kind or concept."""

    kind: NoticeKind
    about: str
    severity: NoticeSeverity
    message: str
    evidence: tuple[Evidence, ...] = ()


class Problem(Frozen):
    """Something the vet found abnormal today; `plan` holds the places, from 0, of the plan's steps that speak of it."""

    finding: int = Field(ge=0, description="Its place in findings, from 0.")
    concept: str
    label: str
    system: System
    structure: str | None = None
    side: Side | None = None
    plan: tuple[int, ...] = ()


class ReferenceRangeUsed(Frozen):
    """The range a measurement was judged by, and where it comes from."""

    kind: str
    low: float | None
    high: float | None
    unit: str | None
    basis: str
    source: str


class ExamRecord(Frozen):
    """One examination as understood, with everything that needs a person's eye."""

    schema_version: str = SCHEMA_VERSION
    patient: Patient | None = None
    visit: Visit = Visit()
    transcript: Transcript
    measurements: tuple[Measurement, ...] = ()
    findings: tuple[Finding, ...] = ()
    systems: tuple[SystemReview, ...] = ()
    plan: tuple[PlanItem, ...] = Field(
        default=(), description="Steps as said; drugs and doses are neither computed nor checked."
    )
    assessments: tuple[Assessment, ...] = Field(
        default=(), description="What the vet takes it to be, as said."
    )
    problems: tuple[Problem, ...] = Field(
        default=(), description="The abnormal findings of today, each with the steps that speak of it."
    )
    notices: tuple[Notice, ...] = ()
    ranges: tuple[ReferenceRangeUsed, ...] = ()
    not_examined: tuple[NotExamined, ...] = Field(
        default=(), description="Systems the vet could not or would not examine, as said."
    )
    mentioned: tuple[System, ...] = Field(default=(), description="Systems named, with or without a finding.")
    corrections: tuple[Correction, ...] = Field(default=(), description="What was taken back aloud.")
    clauses: tuple[Clause, ...] = Field(default=(), description="Every clause with its speech act, in order.")
    caution: str = ""

    def range_of(self, measurement: Measurement) -> ReferenceRangeUsed | None:
        """Give the range that a value of this record was judged by; null where it was judged by none."""
        past = measurement.superseded or measurement.when == "past"
        if past or measurement.status in ("unknown", "implausible"):
            return None
        return next((used for used in self.ranges if used.kind == measurement.kind), None)
