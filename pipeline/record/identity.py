"""Notices that ask whether this is the right patient."""

from __future__ import annotations

from collections.abc import Iterator

from lexicon import Lexicon
from pipeline.extraction.model import Evidence, Finding
from pipeline.record.model import ExamRecord, Notice, Patient
from pipeline.record.ranges import Subject
from pipeline.record.wording import capital, place_of


def identity_notices(record: ExamRecord, subject: Subject, lexicon: Lexicon) -> Iterator[Notice]:
    """Yield a notice where the file is missing, or where what was said does not fit the patient on file."""
    patient = record.patient
    if patient is None:
        yield _identity_notice(
            "patient",
            "No patient was given. The record belongs to nobody yet, and no value was compared with a"
            " reference range.",
        )
        return
    if (
        patient.birth_date is not None
        and record.visit.on is not None
        and record.visit.on < patient.birth_date
    ):
        yield _identity_notice(
            "birth_date",
            f"The birth date of {patient.name} ({patient.birth_date}) lies after the visit"
            f" ({record.visit.on}). Correct one of them.",
        )
    if subject.species not in {reference.species for reference in lexicon.ranges} and record.measurements:
        yield _identity_notice(
            "species",
            f"No reference ranges are held for the species {patient.species!r}: no value was compared with"
            " one.",
        )
    for finding in record.findings:
        if not finding.superseded and finding.assertion != "absent":
            yield from _misplaced(finding, patient, subject, lexicon)


def _misplaced(finding: Finding, patient: Patient, subject: Subject, lexicon: Lexicon) -> Iterator[Notice]:
    """Yield a notice where the sex or the species on file does not allow a finding."""
    sexes, species = _allowed(finding, lexicon)
    if patient.sex is not None and sexes and patient.sex not in sexes:
        yield _identity_notice(
            finding.concept,
            f"{capital(finding.label)}{place_of(finding)} does not fit a {patient.sex} patient, as"
            f" {patient.name} is on file. Check that this is the right patient and the sex on file.",
            finding.evidence,
        )
    if any(subject.species not in group for group in species):
        yield _identity_notice(
            finding.concept,
            f"{capital(finding.label)}{place_of(finding)} does not fit the species on file for {patient.name}"
            f" ({patient.species}). Check that this is the right patient and the right word.",
            finding.evidence,
        )


def _allowed(finding: Finding, lexicon: Lexicon) -> tuple[set[str], list[tuple[str, ...]]]:
    """Look up the sex and the species that the concept and its structure belong to."""
    concept = lexicon.findings.get(finding.concept)
    place = finding.structure or (concept.structure if concept is not None else None)
    structure = lexicon.structures.get(place or "")
    sexes: set[str] = {row.sex for row in (concept, structure) if row is not None and row.sex is not None}
    species = [row.species for row in (concept, structure) if row is not None and row.species]
    return sexes, species


def _identity_notice(about: str, message: str, evidence: tuple[Evidence, ...] = ()) -> Notice:
    return Notice(kind="identity", about=about, severity="warning", message=message, evidence=evidence)
