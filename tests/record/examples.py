"""Short ways to build statements for the tests of this stage."""

from __future__ import annotations

from datetime import date
from typing import Any

from lexicon import Lexicon, load_lexicon
from pipeline.extraction.model import Evidence, Finding, Measurement, Statements
from pipeline.record import ExamRecord, Notice, Patient, Visit, assemble
from pipeline.speech.model import Transcript

LEXICON: Lexicon = load_lexicon()
TODAY = date(2025, 6, 16)
DOG = Patient(name="Bramley", species="dog", age_months=60, weight_kg=20, sex="male")
CAT = Patient(name="Mopsy", species="cat", age_months=60, weight_kg=4, sex="female")


def heard(start: int = 0, text: str = "x") -> tuple[Evidence, ...]:
    """Evidence at a place of the transcript."""
    return (Evidence(text=text, start_char=start, end_char=start + len(text)),)


def finding(concept: str, **values: Any) -> Finding:
    """Build a finding of a lexicon concept; system, nature and structure are the lexicon's unless given."""
    row = LEXICON.findings[concept]
    system = row.home if row.system == "any" else row.system
    known = {"system": system, "label": row.label, "nature": row.nature, "structure": row.structure}
    return Finding(concept=concept, **{**known, "evidence": heard(), **values})


def measured(kind: str, value: float | str | None, **values: Any) -> Measurement:
    """Build a measurement in the stored unit of its kind."""
    row = LEXICON.measurements[kind]
    unit = None if row.out_of else row.unit
    return Measurement(kind=kind, value=value, **{"unit": unit, "evidence": heard(), **values})


def record_of(
    *facts: Finding | Measurement,
    patient: Patient | None = DOG,
    visit: str = "recheck",
    **others: Any,
) -> ExamRecord:
    """Assemble a record; a recheck asks for the fewest things, so that notices of interest stand alone."""
    statements = Statements(
        findings=tuple(fact for fact in facts if isinstance(fact, Finding)),
        measurements=tuple(fact for fact in facts if isinstance(fact, Measurement)),
        **others,
    )
    day = Visit.model_validate({"kind": visit, "on": TODAY})
    return assemble(statements, Transcript.from_text("x" * 40), patient, day, LEXICON)


def notices(record: ExamRecord, kind: str) -> list[Notice]:
    """Give the notices of one kind."""
    return [notice for notice in record.notices if notice.kind == kind]


def state(record: ExamRecord, system: str) -> str:
    """Give the state of one system."""
    return next(review.state for review in record.systems if review.system == system)
