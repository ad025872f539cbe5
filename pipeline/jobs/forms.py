"""Makes the forms in which a record leaves the practice: documents, and exchange files. The same papers give the same bytes."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, tzinfo
from pathlib import Path
from typing import Literal, get_args

from lexicon import load_lexicon
from pipeline.filing import (
    FilingError,
    Letterhead,
    PaperName,
    clinical_record_pdf,
    draft_pdf,
    load_language,
    take_home_sheet_pdf,
    with_logo,
)
from pipeline.filing.calendar import calendar
from pipeline.filing.fhir import Release, fhir_document
from pipeline.filing.outgoing import Outgoing
from pipeline.filing.tables import csv_head, csv_rows, json_lines
from pipeline.jobs.papers import Papers
from pipeline.settings import Settings

Form = Literal["pdf", "sheet", "fhir", "json", "csv", "jsonl", "ics"]
FORMS: tuple[Form, ...] = get_args(Form)
PRINTED: tuple[Form, ...] = ("pdf", "sheet")
"""Those for people to read; all others are for programs."""

ENDINGS: dict[Form, str] = {
    "pdf": ".pdf",
    "sheet": ".sheet.pdf",
    "fhir": ".fhir.json",
    "json": ".json",
    "csv": ".csv",
    "jsonl": ".jsonl",
    "ics": ".ics",
}
"""How the names of their files end."""

UNSIGNED = "Nobody signed this record: it is a draft."


@dataclass(frozen=True, slots=True)
class Look:
    """How forms are made: paper, wording, zone (null: this machine's own) and logo of documents, and the release of FHIR."""

    paper: PaperName = "a4"
    words: Path | None = None
    zone: tzinfo | None = UTC
    logo: Path | None = None
    release: Release = "R4B"


def look_of(settings: Settings, release: Release = "R4B") -> Look:
    """The look that the settings ask for."""
    return Look(
        paper=settings.paper,
        words=settings.document_words,
        zone=settings.time_zone,
        logo=settings.logo,
        release=release,
    )


@dataclass(frozen=True, slots=True)
class Made:
    """A finished file's bytes, and what the person who asked must look at, in whole sentences."""

    data: bytes
    warnings: tuple[str, ...] = ()


def form_of(papers: Papers, form: Form, look: Look) -> Made:
    """Make a form of a signed record. Raises FilingError."""
    if form in PRINTED:
        return _printed(papers, form, look)
    if form == "json":
        last = papers.versions[-1].model_dump(mode="json")
        return Made(_json({"state": "signed", **last}))
    return Made(_exchanged(papers.outgoing, form, look))


def draft_form_of(draft: Outgoing, form: Form, look: Look) -> Made:
    """Make a form of a record that nobody signed, which says so. Raises FilingError; there is no sheet of a draft."""
    if form == "sheet":
        raise FilingError(f"{UNSIGNED} A sheet for the owner holds only what a vet signed.")
    if form == "pdf":
        head = draft.practice or Letterhead(name="Draft")
        language = load_language(look.words)
        printed = draft_pdf(draft.record, head, load_lexicon(), draft.at, paper=look.paper, language=language)
        return Made(printed.pdf, printed.warnings)
    if form == "json":
        record = draft.record.model_dump(mode="json")
        return Made(_json({"state": "draft", "caution": UNSIGNED, "record": record}))
    return Made(_exchanged(draft, form, look))


def _printed(papers: Papers, form: Form, look: Look) -> Made:
    lexicon, language = load_lexicon(), load_language(look.words)
    head = with_logo(papers.letterhead, look.logo)
    if form == "sheet":
        printed = take_home_sheet_pdf(
            papers.versions[-1],
            head,
            lexicon,
            past=papers.past,
            paper=look.paper,
            language=language,
            zone=look.zone,
        )
    else:
        printed = clinical_record_pdf(
            papers.versions,
            head,
            lexicon,
            client=papers.outgoing.client,
            past=papers.past,
            paper=look.paper,
            language=language,
            zone=look.zone,
        )
    return Made(printed.pdf, printed.warnings)


def _exchanged(document: Outgoing, form: Form, look: Look) -> bytes:
    if form == "fhir":
        return fhir_document(document, look.release, load_lexicon()).encode()
    if form == "ics":
        return calendar([document])
    if form == "jsonl":
        return json_lines(document).encode()
    return (csv_head() + csv_rows(document)).encode()


def _json(value: object) -> bytes:
    return f"{json.dumps(value, indent=2, ensure_ascii=False)}\n".encode()
