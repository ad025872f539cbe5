"""Values and findings of today as Observations, steps of the plan as CarePlans.

What was withdrawn, and what was said of earlier days, is no Observation: who reads only these would take it for today's. It stands
in the words of the document, and in the record that goes along. Nothing here is taken from tables of words, so that the same
record gives the same resources years later.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.extraction.model import Evidence, Finding, Measurement, PlanItem
from pipeline.filing.fhir.codes import load_codes
from pipeline.filing.fhir.parts import Part, clean, coding, concept, loinc, quantity, without_gaps
from pipeline.filing.outgoing import Outgoing
from pipeline.record import ExamRecord

_CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
_INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
_FLAGS = {"low": "L", "normal": "N", "high": "H"}
_PUBLISHED_COMPARATORS = ("<", "<=", ">", ">=")
_SCORE = "{score}"
_UNITS = {
    "Cel": "degrees Celsius",
    "/min": "per minute",
    "mm[Hg]": "mmHg",
    "kg": "kg",
    "s": "s",
    "%": "%",
}


class Observing:
    """Makes the Observations of one document. `patient`, `visit`, `owner` and `signer` are addresses in it."""

    def __init__(self, document: Outgoing, patient: str, visit: str, owner: str, signer: str | None) -> None:
        self._record: ExamRecord = document.record
        self._status = "preliminary" if document.is_draft else "final"
        self._patient, self._visit, self._owner, self._signer = patient, visit, owner, signer

    def measurement(self, measurement: Measurement) -> Part:
        """A value with its unit, how it was judged and by which range."""
        rows = load_codes().of_measurement(measurement)
        vital = any(row.vital for row in rows)
        site = next((row.site for row in rows if row.site), None)
        name = measurement.kind.replace("_", " ")
        return without_gaps(
            self._head("vital-signs" if vital else "exam", self._signer)
            | {
                "code": concept(name, loinc(*(code for row in rows for code in row.loinc))),
                **_value(measurement),
                "bodySite": concept(site) if site else None,
                "method": concept(measurement.method) if clean(measurement.method) else None,
                "interpretation": _interpretation(measurement),
                "referenceRange": self._range(measurement),
                "component": _scale(measurement),
                "note": _notes(_about(measurement), measurement.evidence),
            }
        )

    def finding(self, finding: Finding) -> Part:
        """A finding: what, whether it is there, where and how much."""
        place = [finding.side, finding.structure or finding.system]
        words = " ".join(part.replace("_", " ") for part in place if part and part != "both")
        told = finding.reported_by == "owner"
        return without_gaps(
            self._head("exam", self._owner if told else self._signer)
            | {
                "code": concept(finding.label or finding.concept.replace("_", " ")),
                "valueCodeableConcept": concept(finding.assertion),
                "bodySite": concept(f"{words}, both sides" if finding.side == "both" else words),
                "component": list(_details(finding)),
                "note": _notes("Told by the owner." if told else None, finding.evidence),
            }
        )

    def step(self, item: PlanItem, when: str) -> Part:
        """A step of the plan, in the words that were said, until when it is due."""
        status = {"to_do": "active", "done": "completed", "declined": "revoked"}[item.state]
        declined = "Declined by the owner." if item.state == "declined" else None
        return without_gaps(
            {
                "resourceType": "CarePlan",
                "status": status,
                "intent": "proposal" if self._status == "preliminary" else "plan",
                "category": [concept(item.kind.value.replace("_", " "))],
                "title": clean(item.text) or "not said",
                "subject": {"reference": self._patient},
                "encounter": {"reference": self._visit},
                "period": {"end": item.due} if item.due else None,
                "created": when,
                "note": _notes(declined, item.evidence, clean(item.due_text)),
            }
        )

    def _head(self, category: str, performer: str | None) -> Part:
        on = self._record.visit.on
        return {
            "resourceType": "Observation",
            "status": self._status,
            "category": [concept(None, [coding(_CATEGORY, category)])],
            "subject": {"reference": self._patient},
            "encounter": {"reference": self._visit},
            "effectiveDateTime": on.isoformat() if on else None,
            "performer": [{"reference": performer}] if performer else None,
        }

    def _range(self, measurement: Measurement) -> list[Part]:
        used = self._record.range_of(measurement)
        if used is None:
            return []
        limits = without_gaps(
            {
                "low": _quantity(used.low, measurement) if used.low is not None else None,
                "high": _quantity(used.high, measurement) if used.high is not None else None,
            }
        )
        return [limits | {"text": clean(f"{used.basis}. Source: {used.source}")}] if limits else []


def of_today(record: ExamRecord) -> tuple[tuple[Measurement, ...], tuple[Finding, ...]]:
    """The values and findings that stand, of the day of the visit."""
    measurements = tuple(m for m in record.measurements if not m.superseded and m.when == "now")
    findings = tuple(f for f in record.findings if not f.superseded and f.when == "now")
    return measurements, findings


def _value(measurement: Measurement) -> Part:
    """The value as FHIR has it: a quantity, a range, words, or why there is none."""
    value, high = measurement.value, measurement.value_high
    if isinstance(value, float):
        if high is not None:
            return {
                "valueRange": {"low": _quantity(value, measurement), "high": _quantity(high, measurement)}
            }
        comparator = measurement.comparator if measurement.comparator in _PUBLISHED_COMPARATORS else None
        return {"valueQuantity": _quantity(value, measurement, comparator)}
    text = clean(value)
    if text is not None:
        return {"valueString": text}
    return {"dataAbsentReason": concept(measurement.method or "not counted")}


def _quantity(value: float, measurement: Measurement, comparator: str | None = None) -> Part:
    if measurement.out_of is not None:
        return quantity(value, _SCORE, f"of {measurement.out_of:g}", comparator)
    unit = measurement.unit if measurement.unit not in (None, "1") else _SCORE
    return quantity(value, unit, _UNITS.get(unit or ""), comparator)


def _scale(measurement: Measurement) -> list[Part]:
    if measurement.out_of is None:
        return []
    return [_component("highest value of the scale", {"valueQuantity": quantity(measurement.out_of, _SCORE)})]


def _interpretation(measurement: Measurement) -> list[Part]:
    if measurement.status in _FLAGS:
        return [concept(measurement.status, [coding(_INTERPRETATION, _FLAGS[measurement.status])])]
    return [concept("implausible")] if measurement.status == "implausible" else []


def _about(measurement: Measurement) -> str | None:
    return "An approximate value." if measurement.comparator == "~" else None


def _details(finding: Finding) -> Iterator[Part]:
    if clean(finding.severity):
        yield _component("severity", {"valueString": clean(finding.severity)})
    if finding.grade is not None:
        scale = f"of {finding.grade.out_of:g}" if finding.grade.out_of is not None else None
        yield _component("grade", {"valueQuantity": quantity(finding.grade.value, _SCORE, scale)})
    if finding.size_mm is not None:
        yield _component("largest dimension", {"valueQuantity": quantity(finding.size_mm, "mm")})
    if clean(finding.size_text):
        yield _component("size", {"valueString": clean(finding.size_text)})
    for modifier in finding.modifiers:
        if clean(modifier):
            yield _component("quality", {"valueString": clean(modifier)})


def _component(name: str, value: Part) -> Part:
    return {"code": concept(name), **value}


def _notes(first: str | None, evidence: tuple[Evidence, ...], second: str | None = None) -> list[Part]:
    """What is to be added, and the words it was read from."""
    said = "; ".join(text for text in (clean(one.text) for one in evidence) if text)
    texts = (first, f"When: {second}" if second else None, f"Said: {said}" if said else None)
    return [{"text": text} for text in texts if text]
