"""What stands beside a record: the last examination and how values went."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.earlier import compared, plots
from pipeline.desk.pages import part
from pipeline.desk.who import Anyone
from pipeline.record import ExamRecord
from pipeline.review import current
from pipeline.store import Actor, record_line, record_of, signed_version

router = APIRouter(include_in_schema=False)


@router.get("/records/{record_id}/beside")
def beside(request: Request, desk: AtDesk, actor: Anyone, record_id: str) -> Response:
    """The comparison with the last signed examination, and the trends, as a part of a page."""
    line = record_line(desk.database, actor, record_id)
    record = standing(desk, actor, record_id)
    html = part(
        request,
        "beside.html",
        earlier=compared(desk, actor, line, record),
        plots=plots(desk, actor, line.patient_id, record),
    )
    return HTMLResponse(html)


def standing(desk: Desk, actor: Actor, record_id: str) -> ExamRecord:
    """A record as it stands: its draft, or its last signed version."""
    kept = record_of(desk.database, actor, record_id)
    if kept.review is not None:
        return current(kept.review, desk.lexicon)
    return signed_version(desk.database, actor, record_id, None, desk.at()).record
