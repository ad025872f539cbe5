"""Takes a record back from a FHIR document of ours, and refuses one whose resources say another thing than its record."""

from __future__ import annotations

import base64
import binascii
import json
from datetime import datetime
from typing import Any

from pydantic import ValidationError

from lexicon import Lexicon
from pipeline.filing.errors import FilingError
from pipeline.filing.fhir.bundle import DATA, fhir_document, parse
from pipeline.filing.fhir.codes import Release
from pipeline.filing.fhir.parts import Part, id_of_urn
from pipeline.filing.letterhead import Letterhead
from pipeline.filing.outgoing import Outgoing, Signature
from pipeline.record import ExamRecord
from pipeline.store.model import Client

_NOT_OURS = "It is no document that Rostral wrote, or a part of it was taken out"


def read_fhir_document(text: str, lexicon: Lexicon) -> tuple[Outgoing, Release]:
    """Give what `fhir_document` was given, the practice's logo excepted, and the release it is of.

    Words for readers (narratives) may have changed since; every other element must be what is made of the record that goes
    along. Raises FilingError.
    """
    try:
        bundle = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise FilingError(f"This is no FHIR document in JSON: {error}.") from None
    if not isinstance(bundle, dict) or bundle.get("resourceType") != "Bundle":
        raise FilingError("This is no FHIR document: it has to be one Bundle.")
    try:
        release: Release = "R5" if "version" in bundle["entry"][0]["resource"] else "R4B"
        parse(bundle, release)
        document = _taken(_resources(bundle), bundle["entry"][0]["resource"], release)
    except (KeyError, IndexError, TypeError, ValueError, AttributeError) as error:
        what = (str(error).strip().splitlines() or ["nothing more is known"])[0]
        raise FilingError(f"{_NOT_OURS}: {what}. Ask for it again.") from None
    _compare(bundle, json.loads(fhir_document(document, release, lexicon)))
    return document, release


def _resources(bundle: Part) -> dict[str, Part]:
    resources = {entry["fullUrl"]: entry["resource"] for entry in bundle["entry"]}
    if len(resources) != len(bundle["entry"]):
        # Of two under one address other readers may show either.
        raise ValueError("two entries have the same fullUrl")
    return resources


def _taken(resources: dict[str, Part], composition: Part, release: Release) -> Outgoing:
    of_kind: dict[str, list[Part]] = {}
    for resource in resources.values():
        of_kind.setdefault(resource["resourceType"], []).append(resource)
    identifier = composition["identifier"][0] if release == "R5" else composition["identifier"]
    patient_urn = composition["encounter"]["reference"]
    patient_urn = resources[patient_urn]["subject"]["reference"]
    known = any("system" in one for one in resources[patient_urn].get("identifier", ()))
    owner = next((one for one in of_kind.get("RelatedPerson", ()) if "identifier" in one), None)
    practice = next(iter(of_kind.get("Organization", ())), None)
    return Outgoing(
        record_id=id_of_urn(identifier["value"]),
        record=_record(of_kind["DocumentReference"]),
        at=datetime.fromisoformat(composition["date"]),
        signatures=tuple(_signature(one, resources) for one in of_kind.get("Provenance", ())),
        patient_id=id_of_urn(patient_urn) if known else None,
        client=_client(owner) if owner is not None else None,
        practice=_practice(practice, release) if practice is not None else None,
    )


def _record(references: list[Part]) -> ExamRecord:
    attachments = [content["attachment"] for one in references for content in one["content"]]
    data = next(one["data"] for one in attachments if one["title"] == DATA)
    try:
        return ExamRecord.model_validate_json(base64.b64decode(data, validate=True))
    except (binascii.Error, ValidationError):
        raise FilingError(
            "The record that goes along with the document is damaged: ask for it again."
        ) from None


def _signature(provenance: Part, resources: dict[str, Part]) -> Signature:
    because = provenance.get("reason") or [one["concept"] for one in provenance.get("authorization", ())]
    return Signature(
        version=int(provenance["activity"]["text"].rpartition(" ")[2]),
        sha256=provenance["entity"][0]["what"]["identifier"]["value"],
        signed_by=resources[provenance["agent"][0]["who"]["reference"]]["name"][0]["text"],
        signed_at=datetime.fromisoformat(provenance["recorded"]),
        reason=because[0]["text"] if because else None,
    )


def _client(owner: Part) -> Client:
    return Client(
        id=id_of_urn(owner["identifier"][0]["value"]),
        name=owner["name"][0]["text"] if "name" in owner else None,
        address=owner["address"][0]["text"] if "address" in owner else None,
        phone=_telecom(owner).get("phone"),
        email=_telecom(owner).get("email"),
    )


def _practice(organization: Part, release: Release) -> Letterhead:
    contact = organization.get("contact", [{}])[0] if release == "R5" else organization
    address: Any = contact.get("address")
    if isinstance(address, list):
        address = address[0]
    registration = organization.get("identifier")
    return Letterhead(
        name=organization["name"],
        address=address["text"] if address else None,
        registration=registration[0]["value"] if registration else None,
        phone=_telecom(contact).get("phone"),
        email=_telecom(contact).get("email"),
    )


def _telecom(part: Part) -> dict[str, str]:
    return {one["system"]: one["value"] for one in part.get("telecom", ())}


def _compare(given: Part, made: Part) -> None:
    """Hold the document against what its record gives."""
    theirs, ours = _resources(given), _resources(made)
    for urn in ours.keys() | theirs.keys():
        one, other = theirs.get(urn), ours.get(urn)
        kind = (one or other or {})["resourceType"]
        same = _without_words(one) == _without_words(other) if kind == "Composition" else one == other
        if not same:
            raise FilingError(
                f"The document says two things: its {kind} {urn} is not what its record gives. It was changed"
                " after it was made; ask for it again."
            )
    if {**given, "entry": None} != {**made, "entry": None}:
        raise FilingError(
            "The document's own identifier or time is not that of its record: ask for it again."
        )


def _without_words(part: Any) -> Any:
    """A composition without what is written for readers, in the words of the day it was made."""
    if isinstance(part, dict):
        return {name: _without_words(value) for name, value in part.items() if name not in _FOR_READERS}
    return [_without_words(one) for one in part] if isinstance(part, list) else part


_FOR_READERS = ("text", "title", "emptyReason")
