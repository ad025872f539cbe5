"""A record that holds one of everything that the terminal view can show. All of it is invented."""

from __future__ import annotations

from datetime import date
from typing import Any

from lexicon.schema import System
from pipeline.extraction.model import (
    Clause,
    Evidence,
    Finding,
    Grade,
    Measurement,
    PlanItem,
    SpeechAct,
)
from pipeline.record import CAUTION, ExamRecord, Notice, Owner, Patient, SystemReview, Visit
from pipeline.record.model import ReferenceRangeUsed, SystemState
from pipeline.speech.model import Dropped, Transcript, Utterance

TEXT = (
    "Good girl. Ears next, the right one is red, brown wax in it, I'm not sure about polyps. Left ear clean. "
    "No lumps, no, scratch that. Owner says she sneezes. Temp a hundred and four. Heart rate one twelve. "
    "Weight ten pounds, last time nine. Some hounds get bloat. Recheck in ten days."
)


def shown_record() -> ExamRecord:
    """Build the record; times count five characters a second."""
    return ExamRecord(
        patient=Patient(
            name="Fennel",
            species="dog",
            breed="Standard Schnauzer",
            sex="female",
            neutered=True,
            birth_date=date(2020, 11, 2),
            microchip="900000000000199",
            owner=Owner(name="Ms Quill"),
        ),
        visit=Visit(kind="sick", on=date(2026, 3, 2)),
        transcript=Transcript(
            text=TEXT,
            utterances=(Utterance(start_char=0, end_char=len(TEXT), start_s=0.0, end_s=60.0),),
            model="base",
            duration_s=75.0,
            dropped=(Dropped(text="Thank you.", start_s=61.0, end_s=63.0, reason="no speech"),),
        ),
        measurements=_measurements(),
        findings=_findings(),
        systems=_systems(),
        plan=(
            PlanItem(
                text="Recheck in ten days",
                kind="recheck",
                due="2026-03-12",
                due_text="in ten days",
                evidence=_said("Recheck in ten days"),
            ),
            PlanItem(text="call on Friday", kind="advice", superseded=True),
        ),
        notices=_notices(),
        ranges=(
            ReferenceRangeUsed(
                kind="temperature",
                low=37.5,
                high=39.2,
                unit="Cel",
                basis="invented for this test",
                source="Quill, Ink: A study of 1970 dogs, J Inv 3:1-2, 2019; Another body, 2001",
            ),
            ReferenceRangeUsed(
                kind="heart_rate",
                low=60.0,
                high=140.0,
                unit="/min",
                basis="invented for this test",
                source="A body with a name so long that nobody reads all of it, 2020 (from memory, not read)",
            ),
        ),
        clauses=(
            _clause("Good girl", SpeechAct.CHATTER),
            _clause("Left ear clean", SpeechAct.OBSERVATION),
            _clause("Some hounds get bloat", SpeechAct.TEACHING),
            _clause("Recheck in ten days", SpeechAct.PLAN),
        ),
        caution=CAUTION,
    )


def _said(words: str) -> tuple[Evidence, ...]:
    start = TEXT.index(words)
    end = start + len(words)
    return (Evidence(text=words, start_char=start, end_char=end, start_s=start / 5, end_s=end / 5),)


def _clause(words: str, act: SpeechAct) -> Clause:
    (evidence,) = _said(words)
    return Clause(act=act, start_char=evidence.start_char, end_char=evidence.end_char)


def _finding(system: System, concept: str, label: str, words: str, **more: Any) -> Finding:
    return Finding(system=system, concept=concept, label=label, evidence=_said(words), **more)


def _findings() -> tuple[Finding, ...]:
    red = _finding(
        "ears", "ear_redness", "redness of the ear", "red", structure="ear", side="right", severity="mild"
    )
    return (
        _finding("nose", "sneezing", "sneezing", "sneezes", reported_by="owner"),
        _finding("ears", "clean_ears", "clean ears", "clean", structure="ear", side="left", nature="normal"),
        red,
        _finding(
            "ears", "ear_wax", "ear wax", "brown wax", structure="ear_canal", side="right", confidence=0.41
        ),
        _finding("ears", "aural_polyp", "ear polyp", "polyps", side="both", assertion="possible"),
        _finding(
            "cardiovascular",
            "heart_murmur",
            "heart murmur",
            "Heart",
            grade=Grade(value=2, out_of=6, text="two of six"),
        ),
        _finding(
            "cardiovascular", "strong_pulse", "strong pulse", "rate", nature="normal", assertion="absent"
        ),
        _finding("skin", "skin_mass", "skin mass", "lumps", assertion="absent", superseded=True),
        _finding("skin", "fleas", "fleas", "No", assertion="absent"),
        _finding("skin", "tick", "tick", "No", assertion="absent"),
        _finding(
            "skin", "lipoma", "lipoma", "lumps", when="past", size_mm=20.0, modifiers=("soft", "mobile")
        ),
        _finding(
            "musculoskeletal", "swelling", "elbow: swelling", "No", structure="elbow", assertion="absent"
        ),
    )


def _measurements() -> tuple[Measurement, ...]:
    return (
        Measurement(
            kind="temperature",
            value=40.0,
            unit="Cel",
            method="said in degrees Fahrenheit",
            unit_inferred=True,
            status="high",
            evidence=_said("Temp a hundred and four"),
        ),
        Measurement(
            kind="heart_rate",
            value=112.0,
            unit="/min",
            status="normal",
            evidence=_said("Heart rate one twelve"),
        ),
        Measurement(kind="heart_rate", value=120.0, unit="/min", superseded=True),
        Measurement(
            kind="respiratory_rate", value=30.0, value_high=36.0, unit="/min", comparator="~", confidence=0.5
        ),
        Measurement(
            kind="weight", value=4.54, unit="kg", method="said in pounds", evidence=_said("Weight ten pounds")
        ),
        Measurement(kind="weight", value=4.08, unit="kg", when="past", evidence=_said("last time nine")),
        Measurement(kind="capillary_refill_time", value=55.0, unit="s", comparator="<", status="implausible"),
        Measurement(kind="muscle_condition_score", value="mild loss", status="low"),
    )


def _systems() -> tuple[SystemReview, ...]:
    states: tuple[tuple[System, SystemState, str | None], ...] = (
        ("general", "not_examined", "only measured: temperature"),
        ("nose", "not_examined", "only reported by the owner"),
        ("mouth", "not_examined", "she would not let me look in there today, and I did not want to force it"),
        ("eyes", "not_mentioned", None),
        ("ears", "abnormal", None),
        ("lymph_nodes", "not_mentioned", "named, but no result was said"),
        ("cardiovascular", "abnormal", None),
        ("respiratory", "not_mentioned", None),
        ("abdomen", "not_mentioned", None),
        ("urogenital", "not_mentioned", None),
        ("skin", "normal", None),
        ("musculoskeletal", "normal", None),
        ("neurological", "not_mentioned", None),
    )
    return tuple(SystemReview(system=system, state=state, reason=reason) for system, state, reason in states)


def _notices() -> tuple[Notice, ...]:
    return (
        Notice(
            kind="implausible",
            about="capillary_refill_time",
            severity="critical",
            message="Capillary refill time under 55 s cannot be right. Correct it or strike it out.",
        ),
        Notice(
            kind="out_of_range", about="temperature", severity="warning", message="Shown by its flag only."
        ),
        Notice(kind="missing_system", about="eyes", severity="warning", message="Shown as missing."),
        Notice(kind="missing_system", about="lymph_nodes", severity="warning", message="Shown as missing."),
        Notice(
            kind="missing_measurement",
            about="body_condition_score",
            severity="warning",
            message="Shown as missing.",
        ),
        Notice(
            kind="low_confidence",
            about="ear_wax",
            severity="warning",
            message="Ear wax was not heard with certainty. Compare it with the words.",
            evidence=_said("brown wax"),
        ),
        Notice(
            kind="correction",
            about="skin_mass",
            severity="info",
            message="'lumps' was taken back.",
            evidence=_said("scratch that"),
        ),
    )
