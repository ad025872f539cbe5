"""The exam room: who is on the table, what kind of visit it is, the page that listens, and the end."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Annotated, Any, get_args

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import JSONResponse
from starlette.requests import HTTPConnection

from lexicon import SYSTEMS
from pipeline.capture import CaptureError
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.earlier import last_time
from pipeline.desk.errors import DeskError
from pipeline.desk.forms import Form, OwnScript
from pipeline.desk.pages import go_to, page
from pipeline.desk.rooms import Room, RoomError, Rooms
from pipeline.desk.texts import say
from pipeline.desk.who import Clinical
from pipeline.record.model import VisitKind
from pipeline.store import (
    Actor,
    EntryError,
    KeptPatient,
    client_of,
    open_visit,
    open_visits,
    patient_by_microchip,
    patient_of,
    patients_of,
    search,
    visit_of,
    visits_of,
)

router = APIRouter(prefix="/room", include_in_schema=False)

KINDS: tuple[VisitKind, ...] = get_args(VisitKind)
_FOUND = 12
_LOOK_BACK = timedelta(days=30)
"""Visits of the last days without a record are offered once more, those before today where their room was begun."""


class NotInRoomError(DeskError):
    """A room cannot do what was asked."""

    status = 409


def rooms_of(connection: HTTPConnection) -> Rooms:
    """The rooms of the desk that is asked."""
    rooms = connection.app.state.rooms
    assert isinstance(rooms, Rooms)  # noqa: S101 - set by create_app alone
    return rooms


def room_for(connection: HTTPConnection, desk: Desk, actor: Actor, visit_id: str) -> Room:
    """The room of a visit of the practice. Raises NotFoundError, NotInRoomError."""
    visit = visit_of(desk.database, actor, visit_id)
    animal = patient_of(desk.database, actor, visit.patient_id).patient
    with _told():
        return rooms_of(connection).room(visit, animal)


@router.get("")
def choose(
    request: Request,
    desk: AtDesk,
    actor: Clinical,
    words: Annotated[str, Query(max_length=200)] = "",
    patient: Annotated[str, Query(max_length=32)] = "",
) -> Response:
    """Who is on the table: visits that are open, patients by any of their words, and of the chosen one what to know."""
    if patient:
        return page(request, "room_begin.html", **_chosen(desk, actor, patient), fault=None)
    found = _patients(desk, actor, words)
    scanned = patient_by_microchip(desk.database, actor, words.strip()) if words.strip().isdigit() else None
    if scanned is not None:
        # A scanner types the number and Enter: nothing is left to choose.
        return go_to(f"/room?patient={scanned.id}")
    return page(
        request, "room_choose.html", words=words, found=found, visits=_open(request, desk, actor), most=_FOUND
    )


@router.post("")
def begin(request: Request, desk: AtDesk, actor: Clinical, form: Form) -> Response:
    """Begin a visit and go into its room."""
    kind, patient = form.get("kind", ""), form.get("patient", "")
    if kind not in KINDS:
        if not patient:
            raise EntryError(say("room.choose_patient"))
        values = _chosen(desk, actor, patient)
        return page(request, "room_begin.html", 422, **values, fault=say("room.choose_kind"))
    visit = open_visit(desk.database, actor, patient, kind, desk.at())
    return go_to(f"/room/{visit.id}")


@router.get("/{visit_id}")
def show(request: Request, desk: AtDesk, actor: Clinical, visit_id: str) -> Response:
    """The room of a visit; what is over leads on to its record."""
    visit = visit_of(desk.database, actor, visit_id)
    kept = patient_of(desk.database, actor, visit.patient_id)
    if not rooms_of(request).is_begun(visit_id):
        past = visits_of(desk.database, actor, visit.patient_id)
        record = next((one.record_id for one in past if one.visit_id == visit_id and one.record_id), None)
        if record is not None:
            return go_to(f"/records/{record}")
    room = room_for(request, desk, actor, visit_id)
    if room.state == "ended" and "stay" not in request.query_params:
        return go_to(f"/records/{room.record_id}")
    return page(
        request,
        "room.html",
        visit=visit,
        animal=kept.patient,
        owner=client_of(desk.database, actor, kept.client_id) if kept.client_id else None,
        last=last_time(desk, actor, kept.id),
        systems=SYSTEMS,
    )


@router.post("/{visit_id}/end", dependencies=[OwnScript])
def end(request: Request, desk: AtDesk, actor: Clinical, visit_id: str) -> Response:
    """The examination is over: settle the last words and keep the draft. How far that is, the room's news tell."""
    room = room_for(request, desk, actor, visit_id)
    with _told():
        room.end(desk.database, actor, desk.at)
    return JSONResponse({"state": room.state})


@router.post("/{visit_id}/microphone", dependencies=[OwnScript])
def microphone(
    request: Request, desk: AtDesk, actor: Clinical, visit_id: str, *, on: Annotated[bool, Query()]
) -> Response:
    """Listen to the microphone of the computer that the desk runs on, or no more."""
    room = room_for(request, desk, actor, visit_id)
    with _told():
        if on:
            room.use_microphone(rooms_of(request).microphone())
        else:
            room.rest_microphone()
    return JSONResponse({"on": on})


@contextmanager
def _told() -> Iterator[None]:
    """Tell what a room cannot do in its own words. Raises NotInRoomError."""
    try:
        yield
    except (RoomError, CaptureError) as error:
        raise NotInRoomError(str(error)) from None
    except (OSError, ValueError) as error:
        raise NotInRoomError(say("room.no_folder", why=error)) from None


def _patients(desk: Desk, actor: Actor, words: str) -> list[dict[str, Any]]:
    """Patients that hold the words, or whose owner does, each once."""
    found: dict[str, KeptPatient] = {}
    for hit in search(desk.database, actor, words, "patient", limit=_FOUND):
        found[hit.id] = patient_of(desk.database, actor, hit.id)
    for hit in search(desk.database, actor, words, "client", limit=_FOUND):
        found |= {one.id: one for one in patients_of(desk.database, actor, hit.id)}
    shown = list(found.values())[:_FOUND]
    return [{"kept": one, "owner": _owner(desk, actor, one)} for one in shown]


def _owner(desk: Desk, actor: Actor, kept: KeptPatient) -> str | None:
    return client_of(desk.database, actor, kept.client_id).name if kept.client_id else None


def _open(request: Request, desk: Desk, actor: Actor, patient: str | None = None) -> list[dict[str, Any]]:
    rooms, today = rooms_of(request), desk.at().date()
    visits = open_visits(desk.database, actor, today - _LOOK_BACK, patient)
    shown = [{"visit": one, "begun": rooms.is_begun(one.id), "today": one.on >= today} for one in visits]
    return [one for one in shown if one["begun"] or one["today"]]


def _chosen(desk: Desk, actor: Actor, patient_id: str) -> dict[str, Any]:
    kept = patient_of(desk.database, actor, patient_id)
    return {
        "kept": kept,
        "owner": client_of(desk.database, actor, kept.client_id) if kept.client_id else None,
        "last": last_time(desk, actor, kept.id),
        "kinds": KINDS,
    }
