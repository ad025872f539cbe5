"""Documents of a record, as the filing stage makes them: of its signed versions, and of its draft as a draft."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import tzinfo
from typing import Literal, get_args

from pipeline.desk.desk import Desk
from pipeline.desk.texts import say
from pipeline.filing import (
    CHARTED,
    Language,
    Letterhead,
    PaperName,
    clinical_record_pdf,
    draft_pdf,
    load_language,
    take_home_sheet_pdf,
    with_logo,
)
from pipeline.jobs.papers import letterhead_of
from pipeline.review import current
from pipeline.store import (
    Actor,
    Client,
    KeptRecord,
    NotFoundError,
    PastValue,
    RecordLine,
    client_of,
    patient_of,
    record_line,
    record_of,
    signed_version,
    values_of,
)

Form = Literal["record", "sheet", "data"]
FORMS: tuple[Form, ...] = get_args(Form)


@dataclass(frozen=True, slots=True)
class Document:
    """A finished file and the version it was made of."""

    content: bytes
    media_type: str
    name: str
    version: int


def document(desk: Desk, actor: Actor, record_id: str, form: Form) -> Document:
    """Make a document of the last signed version. Raises NotFoundError, pipeline.filing.FilingError."""
    kept = record_of(desk.database, actor, record_id)
    if not kept.version:
        raise NotFoundError("Nothing of this record was signed yet.")
    at = desk.at()
    versions = [
        signed_version(desk.database, actor, record_id, number, at) for number in range(1, kept.version + 1)
    ]
    line = record_line(desk.database, actor, record_id)
    name = f"{line.on}-{_plain(line.patient)}-{form}"
    if form == "data":
        content = versions[-1].record.model_dump_json(indent=2).encode()
        return Document(content, "application/json", f"{name}.json", kept.version)
    around = _around(desk, actor, line)
    if form == "record":
        printed = clinical_record_pdf(
            versions,
            around.letterhead,
            desk.lexicon,
            client=around.client,
            past=around.past,
            paper=around.paper,
            language=around.language,
            zone=around.zone,
        )
    else:
        printed = take_home_sheet_pdf(
            versions[-1],
            around.letterhead,
            desk.lexicon,
            past=around.past,
            paper=around.paper,
            language=around.language,
            zone=around.zone,
        )
    return Document(printed.pdf, "application/pdf", f"{name}.pdf", kept.version)


def draft_document(desk: Desk, actor: Actor, kept: KeptRecord) -> Document:
    """Print a record's draft, marked as such on every page. Raises NotFoundError, pipeline.filing.FilingError."""
    if kept.review is None:
        raise NotFoundError(say("board.no_draft"))
    line = record_line(desk.database, actor, kept.id)
    around = _around(desk, actor, line)
    printed = draft_pdf(
        current(kept.review, desk.lexicon),
        around.letterhead,
        desk.lexicon,
        desk.at(),
        client=around.client,
        past=around.past,
        paper=around.paper,
        language=around.language,
    )
    name = f"{line.on}-{_plain(line.patient)}-draft.pdf"
    return Document(printed.pdf, "application/pdf", name, kept.version)


@dataclass(frozen=True, slots=True)
class _Around:
    """What a document shows beside its record, and how."""

    letterhead: Letterhead
    client: Client | None
    past: dict[str, tuple[PastValue, ...]]
    paper: PaperName
    language: Language
    zone: tzinfo | None


def _around(desk: Desk, actor: Actor, line: RecordLine) -> _Around:
    animal = patient_of(desk.database, actor, line.patient_id)
    settings = desk.options.settings
    return _Around(
        letterhead=with_logo(letterhead_of(desk.database, actor), settings.logo),
        client=client_of(desk.database, actor, animal.client_id) if animal.client_id else None,
        past={kind: values_of(desk.database, actor, line.patient_id, kind) for kind in CHARTED},
        paper=settings.paper,
        language=load_language(settings.document_words),
        zone=settings.time_zone,
    )


def _plain(name: str) -> str:
    """A name as part of a file's: nothing in it can lead elsewhere."""
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower() or "patient"
