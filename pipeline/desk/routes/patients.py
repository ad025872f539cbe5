"""Patients: the page of one, and the forms that keep a new one or change it, with whose it is.

A patient that may be there already, and a microchip number of an unusual form, are asked about once; a number that another
patient carries is refused. Nothing typed is lost: the form comes back as it was sent, each fault beside its field.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.earlier import plots
from pipeline.desk.entries import (
    CHOICE,
    NEW,
    NONE,
    PATIENT,
    SPECIES,
    Faults,
    empty_patient,
    merged,
    patient_form,
    read_owner,
    read_patient,
    seen,
)
from pipeline.desk.errors import status_of
from pipeline.desk.forms import Form
from pipeline.desk.pages import go_to, page
from pipeline.desk.texts import say
from pipeline.desk.who import Anyone
from pipeline.record import Owner, Patient
from pipeline.record.microchip import compact, microchip_fault
from pipeline.store import (
    Actor,
    Client,
    ConflictError,
    EntryError,
    KeptPatient,
    NotFoundError,
    add_patient,
    change_patient,
    client_of,
    patient_by_microchip,
    patient_of,
    patients_of,
    search,
    signed_version,
    visits_of,
)
from pipeline.store.consents import mail_consent_of
from pipeline.store.doubles import owners_like, patients_like

router = APIRouter(prefix="/patients", include_in_schema=False)

_OFFERED = 8
"""So many owners are offered to choose from."""

_SHOWN = (*PATIENT, CHOICE)


@dataclass
class _Entry:
    """A filled form on its way: of whom, what of it cannot be, what is asked about, who else may be meant."""

    form: dict[str, str]
    kept: KeptPatient | None = None
    then: str = ""
    fault: str | None = None
    faults: Faults = field(default_factory=dict)
    owners: list[Client] = field(default_factory=list)
    doubts: list[tuple[str, str, KeptPatient | None]] = field(default_factory=list)
    taken: KeptPatient | None = None
    stands: dict[str, str] = field(default_factory=dict)


@router.get("/new")
def new(
    request: Request,
    desk: AtDesk,
    actor: Anyone,
    owner: Annotated[str, Query(max_length=32)] = "",
    then: Annotated[str, Query(max_length=10)] = "",
) -> Response:
    """The empty form; `owner` is whose animal it is, `then=room` leads on to the examination."""
    entry = _Entry(empty_patient(owner=owner), then=then)
    return _asked(request, desk, actor, entry)


@router.post("/new")
def add(request: Request, desk: AtDesk, actor: Anyone, form: Form) -> Response:
    """Keep a new patient, and its owner where they are new."""
    return _take(request, desk, actor, form, None)


@router.get("/{patient_id}/edit")
def edit(
    request: Request,
    desk: AtDesk,
    actor: Anyone,
    patient_id: str,
    then: Annotated[str, Query(max_length=10)] = "",
) -> Response:
    """The form of a patient as it is kept."""
    kept = patient_of(desk.database, actor, patient_id)
    return _asked(request, desk, actor, _Entry(patient_form(kept), kept, then))


@router.post("/{patient_id}/edit")
def change(request: Request, desk: AtDesk, actor: Anyone, patient_id: str, form: Form) -> Response:
    """Keep what is known now of a patient, unless somebody changed it since the page was opened."""
    return _take(request, desk, actor, form, patient_of(desk.database, actor, patient_id))


@router.get("/{patient_id}")
def show(request: Request, desk: AtDesk, actor: Anyone, patient_id: str) -> Response:
    """A patient with its owner, visits, and how values went."""
    kept = patient_of(desk.database, actor, patient_id)
    visits = visits_of(desk.database, actor, patient_id)
    last = next((one for one in visits if one.version and one.record_id), None)
    drawn: tuple[str, ...] = ()
    if last is not None and last.record_id is not None:
        signed = signed_version(desk.database, actor, last.record_id, last.version, desk.at())
        drawn = plots(desk, actor, patient_id, signed.record)
    owner = client_of(desk.database, actor, kept.client_id) if kept.client_id else None
    return page(
        request,
        "patient.html",
        kept=kept,
        owner=owner,
        consent=mail_consent_of(desk.database, actor, owner.id) if owner is not None else None,
        visits=visits,
        plots=drawn,
        done="kept" in request.query_params,
    )


def _take(
    request: Request, desk: Desk, actor: Actor, sent: dict[str, str], kept: KeptPatient | None
) -> Response:
    """Keep what was sent, or show the form again with what is still to be done."""
    entry = _Entry({name: sent.get(name, "") for name in empty_patient()}, kept, sent.get("then", ""))
    before = sent.get("offered", "").split()[: 2 * _OFFERED]
    entry.owners = [client_of(desk.database, actor, one) for one in before]
    if kept is not None and sent.get("seen") != seen(patient_form(kept), _SHOWN):
        return _stands_otherwise(request, desk, actor, entry, sent)
    if sent.get("look"):
        entry.owners = _named(desk, actor, entry.form["owner_name"])
        if not entry.owners:
            entry.faults["owner_name"] = say("entry.no_owner_found")
        return _asked(request, desk, actor, entry)
    animal, entry.faults = read_patient(entry.form, desk.at().date())
    owner = _whose(desk, actor, entry)
    if animal is None or entry.faults:
        return _asked(request, desk, actor, entry, 422)
    _look_for_doubles(desk, actor, entry, animal, owner)
    if entry.faults or {key for key, _, _ in entry.doubts} - set(sent.get("sure", "").split()):
        return _asked(request, desk, actor, entry, 422)
    try:
        done = _keep(desk, actor, kept, animal, owner)
    except ConflictError:
        return _stands_otherwise(request, desk, actor, entry, sent)
    except (EntryError, NotFoundError) as error:
        entry.fault = str(error)
        return _asked(request, desk, actor, entry, status_of(error))
    if entry.then == "room" and actor.role != "manager":
        return go_to(f"/room?patient={done.id}")
    return go_to(f"/patients/{done.id}?kept=1")


def _keep(
    desk: Desk, actor: Actor, kept: KeptPatient | None, animal: Patient, owner: str | Owner | None
) -> KeptPatient:
    if kept is None:
        return add_patient(desk.database, actor, animal, owner, desk.at())
    return change_patient(desk.database, actor, kept, animal, owner, desk.at())


def _whose(desk: Desk, actor: Actor, entry: _Entry) -> str | Owner | None:
    """Whose animal the form says it is; what is to be settled first becomes a fault."""
    choice = entry.form[CHOICE]
    typed, faults = read_owner(entry.form, "owner_")
    known = any(typed.model_dump().values())
    if choice == NONE and not known:
        return None
    if choice not in ("", NEW):
        if known and choice not in {one.id for one in entry.owners}:
            # Chosen before the owner was typed: nobody knows which of the two is meant.
            entry.faults[CHOICE] = say("entry.owner_both")
        return None if choice == NONE else choice
    entry.faults |= faults
    if not known:
        if choice == NEW:
            entry.faults["owner_name"] = say("entry.owner_empty")
        return None
    if choice != NEW:
        alike = owners_like(desk.database, actor, typed)[:_OFFERED]
        if alike:
            entry.owners = list(alike)
            entry.faults[CHOICE] = say("entry.owner_choose")
    return typed


def _look_for_doubles(
    desk: Desk, actor: Actor, entry: _Entry, animal: Patient, owner: str | Owner | None
) -> None:
    """Add what is asked about before the animal is kept, and the fault where its number is another patient's."""
    kept = entry.kept
    own = kept.id if kept is not None else None
    if animal.microchip is not None:
        carrier = patient_by_microchip(desk.database, actor, animal.microchip)
        if carrier is not None and carrier.id != own:
            entry.taken = carrier
            entry.faults["microchip"] = say("entry.chip_taken", name=carrier.patient.name)
        before = kept.patient.microchip if kept is not None else None
        if (fault := microchip_fault(animal.microchip)) and animal.microchip != before:
            entry.doubts.append(
                (f"chip:{compact(animal.microchip)}", say("entry.chip_shape", why=fault), None)
            )
    if isinstance(owner, str):
        entry.doubts += [
            (f"double:{one.id}", say("entry.double", name=one.patient.name), one)
            for one in patients_like(desk.database, actor, animal, owner)
            if one.id != own
        ]
    if owner is None and kept is None:
        entry.doubts.append(("nobody", say("entry.nobody"), None))


def _stands_otherwise(
    request: Request, desk: Desk, actor: Actor, entry: _Entry, sent: dict[str, str]
) -> Response:
    """The form for the second of two: what was typed stays, what the other one made of it stands beside."""
    assert entry.kept is not None  # noqa: S101 - nobody else can have changed a new one
    now = patient_of(desk.database, actor, entry.kept.id)
    form, stands = merged(entry.form, sent.get("seen", ""), patient_form(now), _SHOWN)
    told = _Entry(form, now, entry.then, say("entry.conflict"), stands=stands)
    return _asked(request, desk, actor, told, 409)


def _named(desk: Desk, actor: Actor, words: str) -> list[Client]:
    """Owners by any of their words, at most as many as are offered."""
    hits = search(desk.database, actor, words, "client", _OFFERED)
    return [client_of(desk.database, actor, hit.id) for hit in hits]


def _asked(request: Request, desk: Desk, actor: Actor, entry: _Entry, status: int = 200) -> Response:
    """The form, with everything that is still to be done about it."""
    kept, offered = entry.kept, [one.id for one in entry.owners]
    # Whoever is chosen can stay chosen, and the owner who stands in the books is always among them.
    also = {entry.form[CHOICE], kept.client_id if kept is not None else None} - {
        "",
        NEW,
        NONE,
        None,
        *offered,
    }
    owners = [client_of(desk.database, actor, one) for one in sorted(filter(None, also))] + entry.owners
    values: dict[str, Any] = {
        "kept": kept,
        "given": entry.form,
        "fault": entry.fault,
        "faults": {name: entry.faults[name] for name in entry.form if name in entry.faults},
        "doubts": entry.doubts,
        "taken": entry.taken,
        "stands": entry.stands,
        "owners": [(one, patients_of(desk.database, actor, one.id)) for one in owners],
        "offered": " ".join(offered),
        "seen": seen(patient_form(kept), _SHOWN) if kept is not None else "",
        "species": SPECIES,
        "then": "room" if entry.then == "room" else "",
    }
    return page(request, "patient_entry.html", status, **values)
