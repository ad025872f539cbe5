"""Makes the documents of signed records: the clinical record, and the sheet the owner takes home."""

from __future__ import annotations

from typing import Any

from lexicon import load_lexicon
from pipeline.filing import (
    CHARTED,
    Letterhead,
    Printed,
    clinical_record_pdf,
    load_language,
    take_home_sheet_pdf,
)
from pipeline.jobs.model import Asked
from pipeline.jobs.work import Kind, Work
from pipeline.store import (
    client_of,
    keep_document,
    patient_of,
    practice_of,
    record_line,
    record_of,
    signed_version,
    values_of,
)
from pipeline.store.errors import NotAllowedError
from pipeline.store.model import Identifier


class Print(Asked):
    """Make the documents of the last signed versions of these records."""

    record_ids: tuple[Identifier, ...]


def _print(work: Work, asked: Print) -> dict[str, Any]:
    made = [
        work.step(f"printing record {number} of {len(asked.record_ids)}", _printed, work, record_id)
        for number, record_id in enumerate(asked.record_ids, start=1)
    ]
    return {"documents": [paper for one in made for paper in one]}


def _printed(work: Work, record_id: str) -> list[dict[str, Any]]:
    kept = record_of(work.database, work.actor, record_id)
    if not kept.version:
        raise NotAllowedError(f"Nothing of record {record_id} was signed yet: sign it, then print it.")
    made = []
    for kind, printed in _documents(work, record_id, kept.version).items():
        paper = keep_document(
            work.database,
            work.actor,
            record_id,
            kept.version,
            kind,
            printed.pdf,
            work.recordings,
            work.at(),
        )
        made.append(
            {"record": record_id, "kind": kind, "path": paper.path, "look at": list(printed.warnings)}
        )
    return made


def _documents(work: Work, record_id: str, last: int) -> dict[str, Printed]:
    database, actor, settings = work.database, work.actor, work.settings
    versions = [
        signed_version(database, actor, record_id, number, work.at()) for number in range(1, last + 1)
    ]
    line = record_line(database, actor, record_id)
    letterhead = Letterhead.model_validate(
        practice_of(database, actor).model_dump(include=set(Letterhead.model_fields))
    )
    past = {kind: values_of(database, actor, line.patient_id, kind) for kind in CHARTED}
    client_id = patient_of(database, actor, line.patient_id).client_id
    client = client_of(database, actor, client_id) if client_id else None
    language = load_language(settings.document_words)
    lexicon = load_lexicon()
    return {
        "record": clinical_record_pdf(
            versions, letterhead, lexicon, client=client, past=past, paper=settings.paper, language=language
        ),
        "sheet": take_home_sheet_pdf(
            versions[-1], letterhead, lexicon, past=past, paper=settings.paper, language=language
        ),
    }


PRINT = Kind("print", Print, _print)
