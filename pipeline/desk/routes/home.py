"""The first page: what waits for whom."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from pipeline.desk.courier import AtCourier
from pipeline.desk.desk import AtDesk
from pipeline.desk.pages import page
from pipeline.desk.who import Anyone
from pipeline.store import counts, practice_of, waiting

router = APIRouter(include_in_schema=False)

_SHOWN = 8


@router.get("/")
def home(request: Request, desk: AtDesk, actor: Anyone, courier: AtCourier) -> Response:
    """How many records are to be signed and to be filed, those that wait longest, and what did not arrive."""
    return page(
        request,
        "home.html",
        practice=practice_of(desk.database, actor),
        not_arrived=len(courier.unsolved(actor)),
        counts=counts(desk.database, actor),
        drafts=waiting(desk.database, actor, "draft", limit=_SHOWN),
        signed=waiting(desk.database, actor, "signed", limit=_SHOWN),
    )
