"""The animal, its owner, the practice and who signed, as FHIR resources."""

from __future__ import annotations

from typing import Any

from pipeline.filing.fhir.codes import Release
from pipeline.filing.fhir.parts import (
    URI,
    Part,
    clean,
    coding,
    concept,
    urn_of,
    urn_of_id,
    without_gaps,
)
from pipeline.filing.letterhead import Letterhead
from pipeline.filing.outgoing import Outgoing
from pipeline.record import Patient
from pipeline.store.model import Client

ANIMAL = "http://hl7.org/fhir/StructureDefinition/patient-animal"
_GENDER_STATUS = "http://hl7.org/fhir/animal-genderstatus"
MICROCHIP = "microchip"
REGISTRATION = "registration"


def patient_urn(document: Outgoing) -> str:
    """The animal's address: the same in all its documents when the practice's books know it."""
    return urn_of_id(document.patient_id) if document.patient_id else urn_of(document, "patient")


def patient_resource(document: Outgoing) -> Part:
    """The animal. Species and breed go in words: we have read no published code of them."""
    animal = document.record.patient
    known = {"system": URI, "value": patient_urn(document)} if document.patient_id else None
    chip = clean(animal.microchip) if animal else None
    return without_gaps(
        {
            "resourceType": "Patient",
            "extension": [_animal(animal)] if animal and clean(animal.species) else None,
            "identifier": [
                *([known] if known else []),
                *([{"type": {"text": MICROCHIP}, "value": chip}] if chip else []),
            ],
            "name": [{"text": clean(animal.name)}] if animal and clean(animal.name) else None,
            "gender": (animal.sex if animal else None) or "unknown",
            "birthDate": animal.birth_date.isoformat() if animal and animal.birth_date else None,
        }
    )


def _animal(animal: Patient) -> Part:
    status = {True: "neutered", False: "intact", None: "unknown"}[animal.neutered]
    nested = [{"url": "species", "valueCodeableConcept": concept(animal.species.replace("_", " "))}]
    if clean(animal.breed):
        nested.append({"url": "breed", "valueCodeableConcept": concept(animal.breed)})
    nested.append(
        {
            "url": "genderStatus",
            "valueCodeableConcept": concept(status, [coding(_GENDER_STATUS, status)]),
        }
    )
    return {"url": ANIMAL, "extension": nested}


def owner_resource(client: Client | None, patient: str) -> Part:
    """The owner, or somebody unnamed who told of the animal."""
    return without_gaps(
        {
            "resourceType": "RelatedPerson",
            "identifier": [{"system": URI, "value": urn_of_id(client.id)}] if client else None,
            "patient": {"reference": patient},
            "relationship": [concept("owner")],
            "name": [{"text": clean(client.name)}] if client and clean(client.name) else None,
            "telecom": _telecom(client.phone, client.email) if client else None,
            "address": [{"text": clean(client.address)}] if client and clean(client.address) else None,
        }
    )


def practice_resource(practice: Letterhead, release: Release) -> Part:
    """The practice with what stands on its letterhead, but for the picture."""
    address = clean(practice.address)
    contact = without_gaps(
        {
            "telecom": _telecom(practice.phone, practice.email),
            "address": ({"text": address} if release == "R5" else [{"text": address}]) if address else None,
        }
    )
    registration = clean(practice.registration)
    return without_gaps(
        {
            "resourceType": "Organization",
            "identifier": [{"type": {"text": REGISTRATION}, "value": registration}] if registration else None,
            "name": clean(practice.name),
            **({"contact": [contact] if contact else None} if release == "R5" else contact),
        }
    )


def signer_resource(name: str) -> Part:
    """Who signed."""
    return {"resourceType": "Practitioner", "name": [{"text": clean(name) or "not named"}]}


def signer_urn(document: Outgoing, name: str) -> str:
    """The address of who signed, by name: the document holds no more of them."""
    return urn_of(document, f"signer/{name}")


def _telecom(phone: str | None, email: str | None) -> list[dict[str, Any]]:
    given = (("phone", clean(phone)), ("email", clean(email)))
    return [{"system": system, "value": value} for system, value in given if value]
