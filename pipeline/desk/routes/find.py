"""Finding again: patients, owners and signed records by any of their words."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.pages import page
from pipeline.desk.who import Anyone
from pipeline.store import (
    Actor,
    Hit,
    client_of,
    patient_of,
    patients_of,
    record_line,
    search,
)

router = APIRouter(include_in_schema=False)

_FOUND = 20


@router.get("/find")
def find(
    request: Request, desk: AtDesk, actor: Anyone, words: Annotated[str, Query(max_length=200)] = ""
) -> Response:
    """Everything that holds all of the words."""
    hits = search(desk.database, actor, words, limit=_FOUND)
    return page(
        request, "find.html", words=words, found=[_shown(desk, actor, hit) for hit in hits], most=_FOUND
    )


def _shown(desk: Desk, actor: Actor, hit: Hit) -> dict[str, Any]:
    """A hit as its line on the page."""
    shown: dict[str, Any] = {"kind": hit.kind, "id": hit.id}
    if hit.kind == "patient":
        return shown | {"patient": patient_of(desk.database, actor, hit.id).patient}
    if hit.kind == "record":
        return shown | {"line": record_line(desk.database, actor, hit.id)}
    owner = client_of(desk.database, actor, hit.id)
    return shown | {"owner": owner, "animals": patients_of(desk.database, actor, hit.id)}
