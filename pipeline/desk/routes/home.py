"""The first page: what waits for whom."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from pipeline.desk.desk import AtDesk
from pipeline.desk.pages import page
from pipeline.desk.who import Anyone
from pipeline.store import practice_of, records_of

router = APIRouter(include_in_schema=False)

_SHOWN = 8


@router.get("/")
def home(request: Request, desk: AtDesk, actor: Anyone) -> Response:
    """What is to be reviewed, what is to be filed."""
    drafts = records_of(desk.database, actor, "draft", limit=_SHOWN)
    signed = records_of(desk.database, actor, "signed", limit=_SHOWN)
    return page(
        request,
        "home.html",
        practice=practice_of(desk.database, actor),
        drafts=drafts,
        signed=signed,
    )
