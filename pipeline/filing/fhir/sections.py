"""The sections of the document: what a person reads, each with the resources that say the same to programs."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.filing.fhir.codes import load_codes
from pipeline.filing.fhir.parts import Part, concept, loinc, narrative, without_gaps
from pipeline.filing.language import Language
from pipeline.filing.outgoing import Outgoing
from pipeline.filing.record_content import RecordContent, Stated, Step, SystemPart, Value


def section(
    title: str, name: str | None, text: Part, entries: Sequence[str] = (), inner: Sequence[Part] = ()
) -> Part:
    """A section with its words, its code where there is a published one, its resources and its own sections."""
    return without_gaps(
        {
            "title": title,
            "code": concept(title, loinc(load_codes().of_section(name) if name else None)),
            "text": text,
            "entry": [{"reference": urn} for urn in entries],
            "section": list(inner),
        }
    )


def patient_text(content: RecordContent) -> Part:
    """Who the patient, the owner and what the visit is."""
    lines = [f"{field.name} {field.text}".strip() for field in content.patient]
    owner = ", ".join(field.text for field in content.owner)
    return narrative(content.patient_name, content.subject, lines, owner)


def told_text(content: RecordContent) -> Part:
    """What the owner told, and what was said of earlier days."""
    return narrative([_stated(one) for one in (*content.told, *content.past)])


def values_text(content: RecordContent) -> Part:
    """The values with their ranges, where these come from, and that they replace nobody's judgement."""
    return narrative([_value(value) for value in content.values], content.sources, content.caution)


def system_section(part: SystemPart, system: str, entries: Sequence[str]) -> Part:
    """One body system: its state, what was found, what is named as not there, why it was not examined."""
    words = [part.state_name, part.reason, *(_stated(one) for one in part.findings), part.absent]
    made = section(part.name, system, narrative([word for word in words if word]), entries)
    if part.state == "not_examined" and not entries:
        made["emptyReason"] = concept(part.reason or part.state_name)
    return made


def plan_text(content: RecordContent) -> Part:
    """The steps in their order."""
    return narrative([_step(step) for step in content.plan])


def signatures_text(document: Outgoing, language: Language) -> Part:
    """Who signed which version, when, and why it was amended; of a draft that nobody did."""
    words = language["record"]
    if document.is_draft:
        return narrative(words["draft_line"])
    return narrative(
        [
            f"{words['version']} {one.version}: {one.signed_by}, {language.time(one.signed_at)}"
            + (f". {one.reason}" if one.reason else "")
            for one in document.signatures
        ]
    )


def _stated(stated: Stated) -> str:
    return f"{stated.text} ({'; '.join(stated.notes)})" if stated.notes else stated.text


def _value(value: Value) -> str:
    parts = (value.flag, value.limits, *value.notes)
    return f"{value.name} {value.text} ({'; '.join(part for part in parts if part)})"


def _step(step: Step) -> str:
    parts = (step.kind, step.state, step.due, *step.notes)
    return f"{step.text} ({'; '.join(part for part in parts if part)})"
