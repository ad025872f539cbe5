"""Documents of a signed record, as the filing stage makes them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, get_args

from pipeline.desk.desk import Desk
from pipeline.filing import Letterhead, clinical_record_pdf, load_language, take_home_sheet_pdf
from pipeline.filing.history import CHARTED
from pipeline.store import (
    Actor,
    NotFoundError,
    client_of,
    patient_of,
    practice_of,
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
    letterhead = Letterhead.model_validate(
        practice_of(desk.database, actor).model_dump(include=set(Letterhead.model_fields))
    )
    past = {kind: values_of(desk.database, actor, line.patient_id, kind) for kind in CHARTED}
    animal = patient_of(desk.database, actor, line.patient_id)
    client = client_of(desk.database, actor, animal.client_id) if animal.client_id else None
    settings = desk.options.settings
    language = load_language(settings.document_words)
    if form == "record":
        printed = clinical_record_pdf(
            versions,
            letterhead,
            desk.lexicon,
            client=client,
            past=past,
            paper=settings.paper,
            language=language,
        )
    else:
        printed = take_home_sheet_pdf(
            versions[-1], letterhead, desk.lexicon, past=past, paper=settings.paper, language=language
        )
    return Document(printed.pdf, "application/pdf", f"{name}.pdf", kept.version)


def _plain(name: str) -> str:
    """A name as part of a file's: nothing in it can lead elsewhere."""
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower() or "patient"
