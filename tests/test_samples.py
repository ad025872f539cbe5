"""The bundled dictations against the facts that were written down with them, as text and through the recogniser.

The expected facts stand in audio_samples/NAME.expected.toml; texts, people and animals are invented.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from lexicon import load_lexicon
from pipeline.capture import read_audio
from pipeline.evaluation.gold import FindingFact, Gold
from pipeline.exam import hear, understand
from pipeline.extraction import extract
from pipeline.extraction.model import Finding, Statements
from pipeline.record.model import Patient, Visit
from pipeline.speech import Recogniser
from pipeline.speech.model import Transcript

FOLDER = Path(__file__).parents[1] / "audio_samples"
NAMES = sorted(path.name.partition(".")[0] for path in FOLDER.glob("*.expected.toml"))
SPOKEN = ("dog_chatty", "dog_teaching", "cat_senior")


def expected(name: str) -> dict[str, Any]:
    """Read the facts of a sample."""
    return tomllib.loads((FOLDER / f"{name}.expected.toml").read_text(encoding="utf-8"))


def sample(name: str) -> Gold:
    """Give a sample as an annotated dictation."""
    facts = expected(name)
    known = set(FindingFact.model_fields)
    return Gold(
        name=name,
        style="sample",
        species="any",
        visit=facts["visit"],
        text=(FOLDER / f"{name}.txt").read_text(encoding="utf-8"),
        findings=[{key: value for key, value in row.items() if key in known} for row in facts["finding"]],
        set_aside=[
            {"words": row["words"], "occurrence": row.get("occurrence", 1), "why": row["why"]}
            for row in facts.get("not_present", [])
        ],
    )


def values(statements: Statements) -> set[tuple[object, ...]]:
    """Give the values that stand, of today and of before."""
    return {(m.kind, m.value, m.out_of, m.when) for m in statements.measurements if not m.superseded}


def spoken_values(name: str) -> set[tuple[object, ...]]:
    return {
        (m["kind"], m["value"], m.get("out_of"), m.get("when", "now")) for m in expected(name)["measurement"]
    }


def at(span: tuple[int, int], statements: Statements) -> list[Finding]:
    """Give the standing findings on some words."""
    return [
        f
        for f in statements.findings
        if not f.superseded and any(e.start_char < span[1] and span[0] < e.end_char for e in f.evidence)
    ]


@pytest.mark.parametrize("name", NAMES)
def test_every_spoken_vital_sign_is_exact(name: str) -> None:
    assert values(extract(Transcript.from_text(sample(name).text))) == spoken_values(name)


@pytest.mark.parametrize("name", NAMES)
def test_every_named_negative_is_absent(name: str) -> None:
    gold = sample(name)
    statements = extract(Transcript.from_text(gold.text))
    denied = [f for f in gold.findings if f.assertion == "absent" and f.nature == "abnormal"]
    assert denied
    for fact in denied:
        found = at(gold.span(fact), statements)
        assert any(f.assertion == "absent" for f in found), fact.words


@pytest.mark.parametrize("name", NAMES)
def test_no_finding_is_present_out_of_talk_that_is_none(name: str) -> None:
    gold = sample(name)
    statements = extract(Transcript.from_text(gold.text))
    for aside in gold.set_aside:
        found = at(gold.span(aside), statements)
        assert not [f for f in found if f.counts_as_abnormal and f.reported_by == "vet"], aside.words


@pytest.mark.parametrize("name", NAMES)
def test_every_missing_system_is_told(name: str) -> None:
    """All of them have no result; those that the visit asks for raise a notice."""
    facts, gold = expected(name), sample(name)
    patient = Patient.model_validate(
        json.loads((FOLDER / f"{name}.patient.json").read_text(encoding="utf-8"))
    )
    visit = Visit(kind=facts["visit"])
    record = understand(Transcript.from_text(gold.text), patient, visit)
    states = {review.system: review.state for review in record.systems}
    told = {notice.about for notice in record.notices if notice.kind == "missing_system"}
    asked = {
        system
        for row in load_lexicon().requirements
        if row.visit == visit.kind and row.species in (patient.species, "*")
        for system in row.systems
    }
    for system in facts["missing_systems"]:
        assert states[system] == "not_mentioned", system
        assert system in told or system not in asked, system
    for system in facts.get("not_examined", []):
        assert states[system] == "not_examined", system


@pytest.mark.parametrize("name", SPOKEN)
def test_spoken_aloud_the_vital_signs_are_exact_and_the_negatives_absent(
    name: str, base_recogniser: Recogniser
) -> None:
    """Through the real recogniser; a negative may be misheard and lost, but never turned round."""
    (sound,) = [path for path in FOLDER.glob(f"{name}.*") if path.suffix in (".flac", ".ogg")]
    heard = extract(hear(read_audio(sound), base_recogniser))
    assert values(heard) == spoken_values(name)
    gold = sample(name)
    from_text = extract(Transcript.from_text(gold.text))
    denied = [f for f in gold.findings if f.assertion == "absent" and f.nature == "abnormal"]
    kept = 0
    for fact in denied:
        concepts = {f.concept for f in at(gold.span(fact), from_text)}
        same = [f for f in heard.findings if f.concept in concepts and not f.superseded]
        assert not [f for f in same if f.assertion == "present" and f.side is None], fact.words
        kept += any(f.assertion == "absent" for f in same)
    assert kept >= 0.9 * len(denied)
