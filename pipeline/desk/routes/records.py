"""Reviewing: the list of drafts, a record's board, what a reviewer does to it, its signature and its amendment."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field

from pipeline.desk.board import Board, Order, board_of
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.documents import draft_document
from pipeline.desk.errors import DeskError, status_of
from pipeline.desk.forms import Form, OwnScript, whole_text
from pipeline.desk.pages import go_to, page, part
from pipeline.desk.routes.signing_in import confirm
from pipeline.desk.sound import recording_for
from pipeline.desk.texts import say
from pipeline.desk.who import Anyone, Clinical, Vet
from pipeline.review import Operation, open_review
from pipeline.store import (
    Actor,
    ConflictError,
    KeptRecord,
    NotFoundError,
    StoreError,
    amend_record,
    client_of,
    counts,
    events_of,
    leave_amendment,
    patient_of,
    record_line,
    record_of,
    review_record,
    sign_record,
    signed_version,
    view_record,
    waiting,
)
from pipeline.store.setting_aside import set_aside, take_up

router = APIRouter(prefix="/records", include_in_schema=False)

_A_PAGE = 50


class Deeds(BaseModel):
    """What a reviewer did, on the revision that the page showed; `order` is how the page is laid out."""

    model_config = ConfigDict(extra="forbid")

    revision: int
    operations: tuple[Operation, ...] = Field(min_length=1, max_length=200)
    order: Order = "body"


@router.get("")
def to_sign(
    request: Request,
    desk: AtDesk,
    actor: Anyone,
    page_number: Annotated[int, Query(alias="page", ge=1, le=100_000)] = 1,
    aside: Annotated[bool, Query()] = False,
) -> Response:
    """Drafts that wait for a signature, the longest first; or those that were set aside."""
    lines = waiting(
        desk.database,
        actor,
        "draft",
        limit=_A_PAGE + 1,
        offset=(page_number - 1) * _A_PAGE,
        aside=aside,
    )
    return page(
        request,
        "to_sign.html",
        lines=lines[:_A_PAGE],
        more=len(lines) > _A_PAGE,
        page_number=page_number,
        count=counts(desk.database, actor)["draft"],
        aside=aside,
        just_put="put" in request.query_params,
        now=desk.at(),
    )


@router.get("/{record_id}")
def show(
    request: Request,
    desk: AtDesk,
    actor: Anyone,
    record_id: str,
    version: Annotated[int | None, Query(ge=1)] = None,
    order: Order = "body",
) -> Response:
    """A record: its draft to review, or a signed version to read."""
    kept = view_record(desk.database, actor, record_id, desk.at())
    if kept.review is None or version is not None:
        return _signed(request, desk, actor, kept, version)
    return page(request, "board.html", **_values(desk, actor, kept, order), fault=None)


@router.post("/{record_id}/do", dependencies=[OwnScript, Depends(whole_text)])
def do(request: Request, desk: AtDesk, actor: Clinical, record_id: str, deeds: Deeds) -> Response:
    """Apply operations to the draft, and give the board as it is then."""
    kept = record_of(desk.database, actor, record_id)
    seen = kept.model_copy(update={"revision": deeds.revision})
    done = review_record(desk.database, actor, seen, deeds.operations, desk.lexicon, desk.at())
    return board_answer(request, desk, actor, done, deeds.order)


@router.get("/{record_id}/board")
def board(request: Request, desk: AtDesk, actor: Anyone, record_id: str, order: Order = "body") -> Response:
    """The board of a draft as it is now, for a page that shows an older one."""
    kept = record_of(desk.database, actor, record_id)
    if kept.review is None:
        raise NotFoundError(say("board.no_draft"))
    return board_answer(request, desk, actor, kept, order)


@router.get("/{record_id}/draft.pdf")
def printed_draft(desk: AtDesk, actor: Anyone, record_id: str) -> Response:
    """The draft on paper, marked as unsigned on every page; that it was looked at is kept in the trail."""
    made = draft_document(desk, actor, view_record(desk.database, actor, record_id, desk.at()))
    headers = {"Content-Disposition": f'inline; filename="{made.name}"'}
    return Response(made.content, media_type=made.media_type, headers=headers)


@router.post("/{record_id}/sign")
def sign(request: Request, desk: AtDesk, actor: Vet, record_id: str, form: Form) -> Response:
    """Sign the draft that the page showed, with the password once more."""
    kept = record_of(desk.database, actor, record_id)
    try:
        seen = _as_shown(kept, form)
        confirm(desk, request, actor, form.get("password", ""))
        sign_record(desk.database, actor, seen, desk.lexicon, desk.at(), form.get("reason") or None)
    except (DeskError, StoreError) as error:
        if kept.review is None:
            raise
        values = _values(desk, actor, kept, "body")
        return page(request, "board.html", status_of(error), **values, fault=_told(error))
    return go_to(f"/records/{record_id}?signed=1")


@router.post("/{record_id}/aside")
def put_aside(request: Request, desk: AtDesk, actor: Clinical, record_id: str, form: Form) -> Response:
    """Set a draft aside that nobody wants to sign, with the reason; it can be taken up again."""
    kept = record_of(desk.database, actor, record_id)
    try:
        set_aside(desk.database, actor, _as_shown(kept, form), form.get("reason", ""), desk.at())
    except StoreError as error:
        if kept.review is None:
            raise
        return page(
            request, "board.html", status_of(error), **_values(desk, actor, kept, "body"), fault=str(error)
        )
    return go_to("/records?put=1")


@router.post("/{record_id}/take-up")
def take_back(desk: AtDesk, actor: Clinical, record_id: str, form: Form) -> Response:
    """Put a draft that was set aside back among those that wait."""
    kept = record_of(desk.database, actor, record_id)
    take_up(desk.database, actor, _as_shown(kept, form), desk.at())
    return go_to(f"/records/{record_id}")


@router.post("/{record_id}/amend")
def amend(desk: AtDesk, actor: Vet, record_id: str, form: Form) -> Response:
    """Open a draft from the signed version."""
    kept = record_of(desk.database, actor, record_id)
    amend_record(desk.database, actor, kept, desk.at())
    return go_to(f"/records/{record_id}")


@router.post("/{record_id}/leave")
def leave(desk: AtDesk, actor: Vet, record_id: str, form: Form) -> Response:
    """Give up the draft of an amendment."""
    kept = record_of(desk.database, actor, record_id)
    leave_amendment(desk.database, actor, kept, desk.at())
    return go_to(f"/records/{record_id}")


def _as_shown(kept: KeptRecord, form: dict[str, str]) -> KeptRecord:
    """The record in the revision that the page showed: who decides on an older one is told."""
    revision = form.get("revision", "")
    shown = int(revision) if revision.isascii() and revision.isdigit() else -1
    return kept.model_copy(update={"revision": shown})


def _signed(request: Request, desk: Desk, actor: Actor, kept: KeptRecord, version: int | None) -> Response:
    signed = signed_version(desk.database, actor, kept.id, version, desk.at())
    lexicon = desk.lexicon
    return page(
        request,
        "signed.html",
        kept=kept,
        signed=signed,
        board=board_of(open_review(signed.record), lexicon, signed.record),
        **_whose(desk, actor, kept),
        just_signed="signed" in request.query_params,
    )


def _values(desk: Desk, actor: Actor, kept: KeptRecord, order: Order) -> dict[str, Any]:
    assert kept.review is not None  # noqa: S101 - only drafts come here
    shown: Board = board_of(kept.review, desk.lexicon)
    aside = None
    if kept.set_aside:
        deeds = events_of(desk.database, actor, kept.id)
        aside = next(one for one in reversed(deeds) if one.action == "set_aside")
    return {"kept": kept, "board": shown, "order": order, "aside": aside, **_whose(desk, actor, kept)}


def _whose(desk: Desk, actor: Actor, kept: KeptRecord) -> dict[str, Any]:
    line = record_line(desk.database, actor, kept.id)
    animal = patient_of(desk.database, actor, line.patient_id)
    owner = client_of(desk.database, actor, animal.client_id) if animal.client_id else None
    spoken = kept.review.original if kept.review is not None else None
    if spoken is None:
        spoken = signed_version(desk.database, actor, kept.id, None, desk.at()).record
    sound = recording_for(desk, actor, line.visit_id, spoken.transcript) is not None
    return {"line": line, "animal": animal.patient, "owner": owner, "sound": sound}


def board_answer(request: Request, desk: Desk, actor: Actor, kept: KeptRecord, order: Order) -> Response:
    """The board as it is now, for the page's script."""
    html = part(request, "board_parts.html", **_values(desk, actor, kept, order))
    return JSONResponse({"revision": kept.revision, "board": html})


def _told(error: Exception) -> str:
    return say("board.changed_before_signing") if isinstance(error, ConflictError) else str(error)
