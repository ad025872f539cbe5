"""A record as a FHIR document: a Bundle whose first entry, the Composition, leads to all others.

HL7 FHIR R4B (4.3.0) and R5 (5.0.0), "Documents". The record itself goes along as JSON, so that nothing of it is lost to what the
resources cannot say; `reading` takes it back from there and holds it against the resources.
"""

from __future__ import annotations

import base64
import json
from typing import Any

from fhir.resources.bundle import Bundle as BundleR5
from fhir.resources.R4B.bundle import Bundle as BundleR4B
from pydantic import ValidationError

from lexicon import Lexicon
from pipeline.filing.errors import FilingError
from pipeline.filing.fhir.codes import Release, check_codes, load_codes
from pipeline.filing.fhir.observations import Observing, of_today
from pipeline.filing.fhir.parts import (
    URI,
    Part,
    clean,
    coding,
    concept,
    loinc,
    narrative,
    urn_of,
    urn_of_id,
    without_gaps,
)
from pipeline.filing.fhir.people import (
    owner_resource,
    patient_resource,
    patient_urn,
    practice_resource,
    signer_resource,
    signer_urn,
)
from pipeline.filing.fhir.sections import (
    patient_text,
    plan_text,
    section,
    signatures_text,
    system_section,
    told_text,
    values_text,
)
from pipeline.filing.language import Language, load_language
from pipeline.filing.outgoing import Outgoing, Signature
from pipeline.filing.record_content import record_content

_CLASS = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
_ATTESTATION = "http://hl7.org/fhir/composition-attestation-mode"
_BUNDLES: dict[Release, Any] = {"R4B": BundleR4B, "R5": BundleR5}
CHECKSUM = "SHA-256 of the signed version"
DATA = "record.json"


def fhir_document(
    document: Outgoing, release: Release, lexicon: Lexicon, language: Language | None = None
) -> str:
    """Write a record as a FHIR document in JSON; the same input gives the same text.

    It was read by the library's strict models, and its codes held against the published lists. Raises FilingError.
    """
    made = _Document(document, release, lexicon, language or load_language()).bundle()
    parse(made, release)
    return json.dumps(made, ensure_ascii=False, indent=2, allow_nan=False)


def parse(bundle: Part, release: Release) -> None:
    """Hold a bundle against the models and code lists of a release. Raises FilingError with the first fault."""
    try:
        read = _BUNDLES[release].model_validate(bundle)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise FilingError(f"This is no document of FHIR {release}: {place}: {first['msg']}.") from None
    check_codes(read, release)


class _Document:
    def __init__(self, document: Outgoing, release: Release, lexicon: Lexicon, language: Language) -> None:
        self._document = document
        self._record = document.record
        self._release = release
        self._language = language
        self._content = record_content(document.record, document.client, {}, lexicon, language)
        self._at = document.at.isoformat()
        self._patient = patient_urn(document)
        self._visit = urn_of(document, "visit")
        self._owner = urn_of(document, "owner")
        self._practice = urn_of(document, "practice")
        self._composition = urn_of(document, "composition")
        self._entries: dict[str, Part] = {}

    def bundle(self) -> Part:
        """The whole document."""
        document = self._document
        sections = self._sections()
        self._add(self._patient, patient_resource(document))
        self._add(self._visit, self._encounter())
        if document.practice is not None:
            self._add(self._practice, practice_resource(document.practice, self._release))
        for signature in document.signatures:
            self._add(signer_urn(document, signature.signed_by), signer_resource(signature.signed_by))
        entries = {self._composition: self._composed(sections), **self._entries}
        return {
            "resourceType": "Bundle",
            "identifier": {"system": URI, "value": urn_of(document, "document")},
            "type": "document",
            "timestamp": self._at,
            "entry": [{"fullUrl": urn, "resource": resource} for urn, resource in entries.items()],
        }

    def _add(self, urn: str, resource: Part) -> str:
        self._entries[urn] = resource
        return urn

    def _status(self) -> str:
        return ("preliminary", "final")[self._document.version] if self._document.version < 2 else "amended"

    def _composed(self, sections: list[Part]) -> Part:
        document, r5 = self._document, self._release == "R5"
        identifier = {"system": URI, "value": urn_of_id(document.record_id)}
        title = f"{self._content.title}, {self._content.subject}"
        signer = signer_urn(document, document.signed_by) if document.signed_by else None
        author = {"reference": signer} if signer else {"display": "Rostral, a draft that nobody signed"}
        mode = coding(_ATTESTATION, "legal")
        attester = {
            "mode": concept(None, [mode]) if r5 else mode["code"],
            "time": self._at,
            "party": {"reference": signer},
        }
        draft = self._language["record"]["draft_line"]
        return without_gaps(
            {
                "resourceType": "Composition",
                "identifier": [identifier] if r5 else identifier,
                "version": str(document.version) if r5 else None,
                "status": self._status(),
                "type": concept(self._content.title, loinc(load_codes().of_section("document"))),
                "subject": [{"reference": self._patient}] if r5 else {"reference": self._patient},
                "encounter": {"reference": self._visit},
                "date": self._at,
                "author": [author],
                "title": clean(f"{draft}: {title}" if document.is_draft else title),
                "attester": [attester] if signer else None,
                "custodian": {"reference": self._practice} if document.practice else None,
                "relatesTo": self._replaces(),
                "section": sections,
            }
        )

    def _replaces(self) -> list[Part]:
        """An amended document replaces the one before."""
        document = self._document
        if document.version < 2:
            return []
        before = document.model_copy(update={"signatures": document.signatures[:-1]})
        identifier = {"system": URI, "value": urn_of(before, "document")}
        if self._release == "R5":
            return [{"type": "replaces", "resourceReference": {"identifier": identifier}}]
        return [{"code": "replaces", "targetIdentifier": identifier}]

    def _sections(self) -> list[Part]:
        content, words = self._content, self._language["record"]
        document, record = self._document, self._record
        signer = signer_urn(document, document.signed_by) if document.signed_by else None
        observing = Observing(document, self._patient, self._visit, self._owner, signer)
        measurements, findings = of_today(record)
        told = [finding for finding in findings if finding.reported_by == "owner"]
        owner = []
        if document.client is not None or told:
            owner = [self._add(self._owner, owner_resource(document.client, self._patient))]
        heard = [
            self._add(urn_of(document, f"told/{place}"), observing.finding(finding))
            for place, finding in enumerate(told)
        ]
        values = [
            self._add(urn_of(document, f"value/{place}"), observing.measurement(measurement))
            for place, measurement in enumerate(measurements)
        ]
        systems = []
        for review, part in zip(record.systems, content.systems, strict=True):
            here = [f for f in findings if f.system == review.system and f.reported_by == "vet"]
            entries = [
                self._add(urn_of(document, f"finding/{review.system}/{place}"), observing.finding(finding))
                for place, finding in enumerate(here)
            ]
            systems.append(system_section(part, review.system, entries))
        steps = [
            self._add(urn_of(document, f"step/{place}"), observing.step(item, self._at))
            for place, item in enumerate(item for item in record.plan if not item.superseded)
        ]
        signed = [
            self._add(urn_of(document, f"signature/{one.version}"), self._provenance(one))
            for one in document.signatures
        ]
        data = self._add(urn_of(document, "data"), self._data())
        title = self._language["fhir"]
        history = content.told or content.past
        return [
            section(title["patient"], None, patient_text(content), owner),
            *([section(title["told"], None, told_text(content), heard)] if history else []),
            *([section(title["values"], None, values_text(content), values)] if content.values else []),
            section(
                title["findings"],
                "findings",
                narrative(content.states, content.caution),
                inner=systems,
            ),
            *(
                [section(title["assessment"], None, narrative(content.assessments))]
                if content.assessments
                else []
            ),
            *([section(title["plan"], "plan", plan_text(content), steps)] if content.plan else []),
            section(words["version"], None, signatures_text(document, self._language), signed),
            section(title["data"], None, narrative(title["data_why"]), [data]),
        ]

    def _encounter(self) -> Part:
        r5, draft, visit = self._release == "R5", self._document.is_draft, self._record.visit
        ambulatory = coding(_CLASS, "AMB")
        day = visit.on.isoformat() if visit.on else None
        return without_gaps(
            {
                "resourceType": "Encounter",
                "status": "in-progress" if draft else ("completed" if r5 else "finished"),
                "class": [concept(None, [ambulatory])] if r5 else ambulatory,
                "type": [concept(visit.kind.replace("_", " "))],
                "subject": {"reference": self._patient},
                "actualPeriod" if r5 else "period": {"start": day, "end": day} if day else None,
                "serviceProvider": {"reference": self._practice} if self._document.practice else None,
            }
        )

    def _provenance(self, one: Signature) -> Part:
        """Who signed a version, with its checksum; R5 renamed the element of the reason."""
        reason = clean(one.reason)
        because: Part = {}
        if reason is not None:
            because = (
                {"authorization": [{"concept": concept(reason)}]}
                if self._release == "R5"
                else {"reason": [concept(reason)]}
            )
        return {
            "resourceType": "Provenance",
            "target": [{"reference": self._composition}],
            "recorded": one.signed_at.isoformat(),
            **because,
            "activity": concept(f"signature of version {one.version}"),
            "agent": [{"who": {"reference": signer_urn(self._document, one.signed_by)}}],
            "entity": [
                {
                    "role": "source",
                    "what": {"identifier": {"type": {"text": CHECKSUM}, "value": one.sha256}},
                }
            ],
        }

    def _data(self) -> Part:
        data = self._record.model_dump_json().encode()
        attachment = {
            "contentType": "application/json",
            "data": base64.b64encode(data).decode("ascii"),
            "title": DATA,
        }
        return {
            "resourceType": "DocumentReference",
            "status": "current",
            "docStatus": self._status(),
            "type": concept(f"exam record {self._record.schema_version}"),
            "subject": {"reference": self._patient},
            "date": self._at,
            "content": [{"attachment": attachment}],
        }
