"""Finding again: patients, owners and signed records by any of their words, and a patient's page."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.earlier import plots
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
    signed_version,
    visits_of,
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


@router.get("/patients/{patient_id}")
def patient(request: Request, desk: AtDesk, actor: Anyone, patient_id: str) -> Response:
    """A patient with its owner, visits, and how values went."""
    kept = patient_of(desk.database, actor, patient_id)
    visits = visits_of(desk.database, actor, patient_id)
    last = next((one for one in visits if one.version and one.record_id), None)
    drawn: tuple[str, ...] = ()
    if last is not None and last.record_id is not None:
        signed = signed_version(desk.database, actor, last.record_id, last.version, desk.at())
        drawn = plots(desk, actor, patient_id, signed.record)
    return page(
        request,
        "patient.html",
        kept=kept,
        owner=client_of(desk.database, actor, kept.client_id) if kept.client_id else None,
        visits=visits,
        plots=drawn,
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
