"""Makes the documents of signed records: the clinical record, and the sheet the owner takes home."""

from __future__ import annotations

from typing import Any

from pipeline.jobs.forms import Form, form_of, look_of
from pipeline.jobs.model import Asked
from pipeline.jobs.papers import papers_of
from pipeline.jobs.work import Kind, Work
from pipeline.store import keep_document
from pipeline.store.model import Identifier

_KINDS: dict[str, Form] = {"record": "pdf", "sheet": "sheet"}


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
    papers = papers_of(work.database, work.actor, record_id, work.at())
    version = papers.versions[-1].version
    made = []
    for kind, form in _KINDS.items():
        printed = form_of(papers, form, look_of(work.settings))
        paper = keep_document(
            work.database, work.actor, record_id, version, kind, printed.data, work.recordings, work.at()
        )
        made.append(
            {"record": record_id, "kind": kind, "path": paper.path, "look at": list(printed.warnings)}
        )
    return made


PRINT = Kind("print", Print, _print)
