"""The filing desk: signed records that wait for the file, whose they are, their documents, and the note of where they went."""

from __future__ import annotations

from collections import Counter
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from pipeline.desk.courier import courier_of
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.documents import FORMS, document
from pipeline.desk.documents import Form as Paper
from pipeline.desk.errors import status_of
from pipeline.desk.forms import Form
from pipeline.desk.handing_over import consent, exits
from pipeline.desk.pages import go_to, page
from pipeline.desk.texts import say
from pipeline.desk.who import Anyone, Clinical
from pipeline.record.model import VisitKind
from pipeline.store import (
    Actor,
    EntryError,
    StoreError,
    client_of,
    counts,
    events_of,
    file_record,
    note_export,
    patient_of,
    record_line,
    record_of,
    signed_version,
    waiting,
)
from pipeline.store.stamps import new_id

router = APIRouter(prefix="/filing", include_in_schema=False)

_A_PAGE = 50


@router.get("")
def to_file(
    request: Request,
    desk: AtDesk,
    actor: Anyone,
    state: Literal["signed", "filed"] = "signed",
    kind: VisitKind | None = None,
    name: Annotated[str, Query(max_length=100)] = "",
    page_number: Annotated[int, Query(alias="page", ge=1, le=100_000)] = 1,
) -> Response:
    """Signed records, the longest wait first; or those that were filed, the last first."""
    lines = waiting(
        desk.database,
        actor,
        state,
        kind=kind,
        name=name,
        limit=_A_PAGE + 1,
        offset=(page_number - 1) * _A_PAGE,
    )
    courier = courier_of(request)
    not_arrived = Counter(one.receipt.record_id for one in courier.unsolved(actor))
    return page(
        request,
        "filing.html",
        lines=lines[:_A_PAGE],
        more=len(lines) > _A_PAGE,
        page_number=page_number,
        counts=counts(desk.database, actor),
        not_arrived=not_arrived,
        just_filed="filed" in request.query_params,
        chosen={"state": state, "kind": kind or "", "name": name},
        now=desk.at(),
    )


@router.get("/{record_id}")
def show(request: Request, desk: AtDesk, actor: Anyone, record_id: str) -> Response:
    """One signed record at the desk."""
    return shown(request, desk, actor, record_id)


@router.get("/{record_id}/documents/{form}")
def paper(desk: AtDesk, actor: Anyone, record_id: str, form: Paper) -> Response:
    """A document of the signed record; that it was made is kept in the trail."""
    made = document(desk, actor, record_id, form)
    note_export(desk.database, actor, record_id, made.version, form, desk.at())
    headers = {"Content-Disposition": f'inline; filename="{made.name}"'}
    return Response(made.content, media_type=made.media_type, headers=headers)


@router.post("/{record_id}/filed")
def filed(request: Request, desk: AtDesk, actor: Clinical, record_id: str, form: Form) -> Response:
    """Mark the version that the page showed as filed, once its identity was checked."""
    kept = record_of(desk.database, actor, record_id)
    try:
        if form.get("checked") != "yes":
            raise EntryError(say("filing.check_first"))
        if form.get("version") != str(kept.version):
            raise EntryError(say("filing.newer"))
        file_record(desk.database, actor, kept, form.get("note", ""), desk.at())
    except StoreError as error:
        return shown(
            request,
            desk,
            actor,
            record_id,
            fault=str(error),
            note=form.get("note", ""),
            status=status_of(error),
        )
    return go_to("/filing?filed=1")


def shown(
    request: Request,
    desk: Desk,
    actor: Actor,
    record_id: str,
    *,
    fault: str | None = None,
    note: str = "",
    status: int = 200,
) -> Response:
    """The page of one signed record: its identity, its documents, where it was handed over to, its filing."""
    courier = courier_of(request)
    line = record_line(desk.database, actor, record_id)
    signed = signed_version(desk.database, actor, record_id, None, desk.at())
    animal = patient_of(desk.database, actor, line.patient_id)
    owner = client_of(desk.database, actor, animal.client_id) if animal.client_id else None
    deeds = [
        one
        for one in events_of(desk.database, actor, record_id)
        if one.action in ("sign", "file", "export", "amend", "leave_amendment")
    ]
    return page(
        request,
        "filing_record.html",
        status,
        line=line,
        signed=signed,
        animal=animal.patient,
        then=signed.record.patient,
        owner=owner,
        deeds=deeds,
        forms=FORMS,
        exits=exits(desk, courier, actor, owner),
        consent=consent(desk, actor, owner),
        deliveries=courier.of_record(actor, record_id),
        trouble=courier.trouble,
        key=new_id(),
        fault=fault,
        note=note,
    )
