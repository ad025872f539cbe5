"""FHIR documents: read by others, coded as published, safe to read alone, and taken back whole."""

from __future__ import annotations

import importlib
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from signed import AT, DOG, LEXICON, OWNER, PRACTICE, RECORD_ID, SAMPLES, amended, sample, signed

from pipeline.exam import understand
from pipeline.extraction.model import Finding, Grade, Measurement
from pipeline.filing import FilingError, Letterhead
from pipeline.filing.fhir import Release, fhir_document, read_fhir_document
from pipeline.filing.fhir.bundle import parse
from pipeline.filing.outgoing import Outgoing, Signature, outgoing, outgoing_draft
from pipeline.record import ExamRecord, Patient, Visit
from pipeline.review import CorrectFinding, FindingChanges
from pipeline.speech.model import Transcript
from pipeline.store import Client

RELEASES: tuple[Release, ...] = ("R4B", "R5")
SAID = (
    "Owner says he is drinking more. Left ear red, no ear discharge. Temperature forty point one rectally. Heart rate one twenty."
    " Capillary refill under two seconds. Weight twelve kilos, it was eleven point five last year. Body condition seven out of"
    " nine. Grade two out of six heart murmur. Recheck in ten days."
)


def made(release: Release, said: str = SAID) -> dict[str, Any]:
    document = outgoing([signed(said)], client=OWNER, practice=PRACTICE, patient_id="ab" * 16)
    bundle: dict[str, Any] = json.loads(fhir_document(document, release, LEXICON))
    return bundle


def resources(bundle: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    found = [entry["resource"] for entry in bundle["entry"]]
    return [resource for resource in found if resource["resourceType"] == kind]


@pytest.mark.parametrize("release", RELEASES)
@pytest.mark.parametrize("name", sorted(file.name.split(".")[0] for file in SAMPLES.glob("*.patient.json")))
def test_a_second_reader_takes_every_document(name: str, release: Release) -> None:
    """fhirpy-types, generated from HL7's own definitions by other hands, and strict about unknown and missing elements."""
    models = importlib.import_module(f"fhirpy_types_{release.lower()}")
    document = outgoing([sample(name)], client=OWNER, practice=PRACTICE)
    bundle = json.loads(fhir_document(document, release, LEXICON))
    models.Bundle.model_validate(bundle)
    for entry in bundle["entry"]:
        resource = entry["resource"]
        getattr(models, resource["resourceType"]).model_validate(resource)


@pytest.mark.parametrize("release", RELEASES)
def test_the_second_reader_would_complain(release: Release) -> None:
    models = importlib.import_module(f"fhirpy_types_{release.lower()}")
    composition = resources(made(release), "Composition")[0]
    with pytest.raises(ValueError, match="status"):
        models.Composition.model_validate(
            {name: composition[name] for name in composition if name != "status"}
        )


@pytest.mark.parametrize("release", RELEASES)
def test_a_document_is_what_the_standard_asks(release: Release) -> None:
    """HL7, FHIR documents: a Composition first, an identifier, a time not before its date; all references lead to an entry."""
    bundle = made(release)
    composition = bundle["entry"][0]["resource"]
    assert bundle["type"] == "document"
    assert bundle["identifier"]["value"].startswith("urn:uuid:")
    assert "total" not in bundle
    assert composition["resourceType"] == "Composition"
    assert bundle["timestamp"] >= composition["date"]
    held = {entry["fullUrl"] for entry in bundle["entry"]}
    named = set(references(bundle))
    assert named <= held
    assert held - named == {bundle["entry"][0]["fullUrl"]} - named


def references(part: Any) -> Iterator[str]:
    if isinstance(part, dict):
        if isinstance(part.get("reference"), str):
            yield part["reference"]
        for value in part.values():
            yield from references(value)
    elif isinstance(part, list):
        for one in part:
            yield from references(one)


@pytest.mark.parametrize("release", RELEASES)
def test_values_carry_code_unit_and_range(release: Release) -> None:
    """LOINC and UCUM as HL7's vital signs have them: 8310-5 for any body temperature, 8332-9 beside it for a rectal one."""
    by_code = {}
    for one in resources(made(release), "Observation"):
        for coding in one["code"].get("coding", ()):
            by_code[coding["code"]] = one
    temperature = by_code["8310-5"]
    assert temperature is by_code["8332-9"]
    assert temperature["valueQuantity"]["code"] == "Cel"
    assert temperature["valueQuantity"]["value"] == 40.1
    assert temperature["interpretation"][0]["coding"][0]["code"] == "H"
    assert temperature["referenceRange"][0]["high"]["value"] == 39.5
    assert by_code["8867-4"]["valueQuantity"]["value"] == 120
    assert by_code["44963-7"]["valueQuantity"]["comparator"] == "<"
    assert by_code["44963-7"]["bodySite"]["text"] == "gum"
    assert by_code["29463-7"]["valueQuantity"]["value"] == 12


@pytest.mark.parametrize("release", RELEASES)
def test_nothing_withdrawn_or_past_is_an_observation(release: Release) -> None:
    """Last year's weight stands in the words alone: who reads only Observations would take it for today's."""
    bundle = made(release, f"{SAID} Right ear red. Scratch that.")
    weights = [o for o in resources(bundle, "Observation") if o["code"]["text"] == "weight"]
    assert [one["valueQuantity"]["value"] for one in weights] == [12]
    assert "11.5" in json.dumps(bundle["entry"][0]["resource"])
    sides = [
        o["bodySite"]["text"] for o in resources(bundle, "Observation") if "redness" in o["code"]["text"]
    ]
    assert len(sides) == 1
    assert sides[0].startswith("left")


@pytest.mark.parametrize("release", RELEASES)
def test_negatives_and_the_owners_words_stay_what_they_are(release: Release) -> None:
    found = {o["code"]["text"]: o for o in resources(made(release), "Observation")}
    assert found["ear discharge"]["valueCodeableConcept"]["text"] == "absent"
    told = found["polydipsia"]
    owner = next(
        e["fullUrl"] for e in made(release)["entry"] if e["resource"]["resourceType"] == "RelatedPerson"
    )
    assert told["performer"] == [{"reference": owner}]
    assert "coding" not in told["code"]


@pytest.mark.parametrize("release", RELEASES)
def test_a_draft_says_so(release: Release) -> None:
    record = understand(Transcript.from_text(SAID), DOG, Visit(on=AT.date()))
    bundle = json.loads(fhir_document(outgoing_draft(record, AT), release, LEXICON))
    composition = bundle["entry"][0]["resource"]
    assert composition["status"] == "preliminary"
    assert {one["status"] for one in resources(bundle, "Observation")} == {"preliminary"}
    assert "attester" not in composition
    assert resources(bundle, "Practitioner") == resources(bundle, "Provenance") == []
    assert read_fhir_document(json.dumps(bundle), LEXICON)[0].is_draft


@pytest.mark.parametrize("release", RELEASES)
def test_an_amended_document_replaces_the_one_before(release: Release) -> None:
    first = signed("Left ear red.")
    versions = amended(
        [first], "The other ear.", [CorrectFinding(fact="f1", changes=FindingChanges(side="right"))]
    )
    one, two = (json.loads(fhir_document(outgoing(v), release, LEXICON)) for v in ([first], versions))
    composition = two["entry"][0]["resource"]
    assert composition["status"] == "amended"
    assert one["identifier"]["value"] in json.dumps(composition["relatesTo"])
    assert one["identifier"] != two["identifier"]
    assert len(resources(two, "Provenance")) == 2


@pytest.mark.parametrize("release", RELEASES)
def test_codes_that_no_list_holds_are_refused(release: Release) -> None:
    """The library itself takes any."""
    bundle = made(release)
    observation = resources(bundle, "Observation")[0]
    observation["status"] = "nonsense"
    with pytest.raises(FilingError, match=r"Observation.status of FHIR .* cannot be 'nonsense'"):
        parse(bundle, release)
    observation["status"] = "final"
    observation["code"]["coding"] = [{"system": "http://loinc.org", "code": "8332-1"}]
    with pytest.raises(FilingError, match="8332-1"):
        parse(bundle, release)


@pytest.mark.parametrize("release", RELEASES)
def test_a_changed_document_is_not_taken(release: Release) -> None:
    bundle = made(release)
    for value in resources(bundle, "Observation"):
        if "valueQuantity" in value:
            value["valueQuantity"]["value"] += 1
            break
    with pytest.raises(FilingError, match="says two things: its Observation"):
        read_fhir_document(json.dumps(bundle), LEXICON)


@pytest.mark.parametrize("release", RELEASES)
def test_a_second_entry_of_one_address_is_not_taken(release: Release) -> None:
    """Of the two another reader may show the one that is not held against the record."""
    bundle = made(release)
    entry = next(one for one in bundle["entry"] if one["resource"]["resourceType"] == "Observation")
    forged = json.loads(json.dumps(entry))
    forged["resource"]["code"]["text"] = "Something else"
    bundle["entry"].insert(1, forged)
    with pytest.raises(FilingError, match="the same fullUrl"):
        read_fhir_document(json.dumps(bundle), LEXICON)


@pytest.mark.parametrize(
    "text",
    [
        "1" * 5000,
        "",
        "{",
        "[]",
        "null",
        '{"resourceType": "Bundle"}',
        '{"resourceType": "Bundle", "entry": [{}]}',
        "[" * 100_000,
    ],
)
def test_rubbish_is_refused_in_words(text: str) -> None:
    with pytest.raises(FilingError):
        read_fhir_document(text, LEXICON)


WORDS = (
    st.text(st.characters(exclude_categories=("Cs", "Cc", "Cn")), min_size=1, max_size=40)
    .map(str.strip)
    .filter(bool)
)
MAYBE = st.none() | WORDS
NUMBERS = st.floats(0.1, 1000, allow_nan=False).map(lambda value: round(value, 3))
IDS = st.uuids().map(lambda one: one.hex)
TIMES = st.datetimes(datetime(2000, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC))
PATIENTS = st.builds(
    Patient,
    name=WORDS,
    species=WORDS,
    breed=MAYBE,
    sex=st.sampled_from(["male", "female", None]),
    neutered=st.sampled_from([True, False, None]),
    birth_date=st.none() | st.dates(),
    age_months=st.none(),
    weight_kg=st.none() | NUMBERS,
    microchip=MAYBE,
    owner=st.none(),
)
FINDINGS = st.builds(
    Finding,
    system=st.sampled_from(["ears", "skin", "eyes"]),
    concept=WORDS,
    label=WORDS,
    nature=st.sampled_from(["abnormal", "normal", "neutral"]),
    structure=MAYBE,
    assertion=st.sampled_from(["present", "absent", "possible"]),
    side=st.sampled_from(["left", "right", "both", None]),
    severity=MAYBE,
    grade=st.none() | st.builds(Grade, value=NUMBERS, out_of=st.none() | NUMBERS, text=WORDS),
    size_mm=st.none() | NUMBERS,
    modifiers=st.lists(WORDS, max_size=2).map(tuple),
    reported_by=st.sampled_from(["vet", "owner"]),
    when=st.sampled_from(["now", "past"]),
    superseded=st.booleans(),
)
MEASUREMENTS = st.builds(
    Measurement,
    kind=st.sampled_from(sorted(LEXICON.measurements)),
    value=st.none() | NUMBERS | WORDS,
    value_high=st.none() | NUMBERS,
    unit=st.sampled_from(["Cel", "/min", "kg", None]),
    comparator=st.sampled_from(["<", "<=", ">", ">=", "~", None]),
    out_of=st.none() | NUMBERS,
    method=MAYBE,
    when=st.sampled_from(["now", "past"]),
    status=st.sampled_from(["normal", "low", "high", "implausible", "unknown"]),
    superseded=st.booleans(),
)
RECORDS = st.builds(
    ExamRecord,
    patient=st.none() | PATIENTS,
    visit=st.builds(Visit, on=st.none() | st.dates()),
    transcript=st.just(Transcript.from_text("")),
    measurements=st.lists(MEASUREMENTS, max_size=4).map(tuple),
    findings=st.lists(FINDINGS, max_size=4).map(tuple),
    systems=st.just(understand(Transcript.from_text("Ears clean."), None, Visit()).systems),
)
OWNERS = st.builds(Client, id=IDS, name=MAYBE, phone=MAYBE, email=MAYBE, address=MAYBE, erased=st.just(False))
PRACTICES = st.builds(
    Letterhead, name=WORDS, address=MAYBE, phone=MAYBE, email=MAYBE, registration=MAYBE, logo=st.none()
)


@st.composite
def documents(draw: st.DrawFn) -> Outgoing:
    count = draw(st.integers(0, 3))
    signatures = tuple(
        Signature(
            version=number, sha256="0" * 64, signed_by=draw(WORDS), signed_at=draw(TIMES), reason=draw(MAYBE)
        )
        for number in range(1, count + 1)
    )
    return Outgoing(
        record_id=RECORD_ID,
        record=draw(RECORDS),
        at=signatures[-1].signed_at if signatures else draw(TIMES),
        signatures=signatures,
        patient_id=draw(st.none() | IDS),
        client=draw(st.none() | OWNERS),
        practice=draw(st.none() | PRACTICES),
    )


@settings(max_examples=60, deadline=None)
@given(documents(), st.sampled_from(RELEASES))
def test_whatever_is_written_is_taken_back(document: Outgoing, release: Release) -> None:
    text = fhir_document(document, release, LEXICON)
    assert read_fhir_document(text, LEXICON) == (document, release)


def test_every_coded_element_has_a_list() -> None:
    """No coded element goes out unchecked: the check refuses one that the table has no row for."""
    bundle = made("R4B")
    resources(bundle, "Patient")[0]["language"] = "en"
    with pytest.raises(FilingError, match=r"Patient\.language"):
        parse(bundle, "R4B")
