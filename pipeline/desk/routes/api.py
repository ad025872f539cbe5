"""The same services as JSON, for programs with a token. Nobody signs here: a signature is a person's, with their password."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from pydantic import BaseModel, ConfigDict, Field

from lexicon.picking import findings_like
from lexicon.schema import System
from pipeline.desk.courier import AtCourier
from pipeline.desk.desk import AtDesk
from pipeline.desk.errors import BadTokenError, NotForRoleError, OutOfScopeError
from pipeline.desk.forms import whole_text
from pipeline.desk.handing_over import hand_over
from pipeline.exam import understand
from pipeline.extraction.model import MeasurementKind
from pipeline.filing.fhir import Release
from pipeline.jobs import Deliver, Handover
from pipeline.jobs.delivering import Way
from pipeline.jobs.forms import Form
from pipeline.record import ExamRecord, Owner, Patient, Visit
from pipeline.record.model import Notice, VisitKind
from pipeline.review import Operation, Review, current, hindrances, notice_key
from pipeline.speech.model import Transcript
from pipeline.store import (
    Actor,
    Client,
    Hit,
    KeptPatient,
    KeptRecord,
    KeptVisit,
    NotFoundError,
    PastValue,
    PastVisit,
    SignedVersion,
    Token,
    Waiting,
    add_client,
    add_patient,
    client_of,
    file_record,
    keep_record,
    open_visit,
    patient_of,
    record_line,
    record_of,
    review_record,
    search,
    signed_version,
    token_of,
    values_of,
    view_record,
    visits_of,
    waiting,
)
from pipeline.store.model import Identifier, RecordState, Role
from pipeline.store.sign_ins import Scope


class Fault(BaseModel):
    """What went wrong: the HTTP status once more, and a sentence that says what to do."""

    status: int
    message: str


_FAULTS: dict[int | str, dict[str, Any]] = {
    401: {"model": Fault, "description": "No token, or one that is not in force."},
    403: {"model": Fault, "description": "The token's scopes or its owner's role do not reach so far."},
    404: {"model": Fault, "description": "There is no such thing in this practice."},
    409: {"model": Fault, "description": "Somebody changed it meanwhile: read it again."},
    413: {"model": Fault, "description": "The request is too large."},
    422: {"model": Fault, "description": "A field cannot be so."},
    503: {"model": Fault, "description": "The database cannot be used now."},
}

router = APIRouter(prefix="/api/v1", responses=_FAULTS, dependencies=[Depends(whole_text)])

_bearer = HTTPBearer(auto_error=False, description="A token made under My account.")
_LONGEST_LIST = 200
_SENDERS: tuple[Role, ...] = ("vet", "nurse")

Id = Annotated[Identifier, Field(description="32 hexadecimal digits.")]
Limit = Annotated[int, Query(ge=1, le=_LONGEST_LIST)]
Revision = Annotated[int, Field(ge=0, le=2**31 - 1, description="The revision that was read.")]


class _Asked(BaseModel):
    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)


class Deeds(_Asked):
    """Operations of a review, all of them or none."""

    revision: Revision
    operations: tuple[Operation, ...] = Field(min_length=1, max_length=200)


class Filed(_Asked):
    """That a signed record was filed, and where."""

    revision: Revision
    note: str = Field(default="", max_length=500)


class ToHandOver(_Asked):
    """Hand over the last signed version. `release` is for the form `fhir` alone; the same `key` is the same delivery."""

    way: Way
    form: Form
    release: Release = "R4B"
    key: str | None = Field(default=None, min_length=1, max_length=200)


class GivenUp(_Asked):
    """Why a delivery is given up."""

    reason: str = Field(min_length=1, max_length=500)


class NewPatient(_Asked):
    """An animal and, if known, its owner's identifier."""

    patient: Patient
    owner: Id | None = None


class NewVisit(_Asked):
    """A visit, of today unless a day is given."""

    kind: VisitKind
    on: date | None = None


class Said(_Asked):
    """What was said at an examination, as text."""

    text: str = Field(min_length=1, max_length=200_000)


class OpenNotice(BaseModel):
    """A notice that nobody answered, with the key that an acknowledgement names."""

    key: str
    stops_signing: bool
    notice: Notice


class RecordNow(BaseModel):
    """A record as it is: its draft with every fact, or what was signed last."""

    id: Id
    visit_id: Id
    state: RecordState
    revision: int
    version: int
    standing: ExamRecord
    review: Review | None
    open: tuple[OpenNotice, ...]


class FindingChoice(BaseModel):
    """A finding of the lexicon."""

    id: str
    label: str
    plain: str
    system: str


def _token(desk: AtDesk, given: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)]) -> Token:
    found = token_of(desk.database, given.credentials, desk.at()) if given is not None else None
    if found is None:
        raise BadTokenError
    return found


def _within(scope: Scope) -> Callable[..., Actor]:
    def person(token: Annotated[Token, Depends(_token)]) -> Actor:
        if scope not in token.scopes:
            raise OutOfScopeError(scope)
        return token.actor

    return person


def _sender(token: Annotated[Token, Depends(_token)]) -> Actor:
    """Handing over is for those who may file, as at the desk."""
    actor = _within("records:send")(token)
    if actor.role not in _SENDERS:
        raise NotForRoleError(_SENDERS)
    return actor


SendsRecords = Annotated[Actor, Depends(_sender)]
ReadsRecords = Annotated[Actor, Depends(_within("records:read"))]
WritesRecords = Annotated[Actor, Depends(_within("records:write"))]
ReadsPatients = Annotated[Actor, Depends(_within("patients:read"))]
WritesPatients = Annotated[Actor, Depends(_within("patients:write"))]
ReadsMetrics = Annotated[Actor, Depends(_within("metrics:read"))]


@router.get("/me")
def me(token: Annotated[Token, Depends(_token)]) -> Token:
    """Whose token it is and what it lets do."""
    return token


@router.get("/records")
def records(
    desk: AtDesk,
    actor: ReadsRecords,
    state: RecordState = "signed",
    limit: Limit = 50,
    offset: Annotated[int, Query(ge=0, le=10_000_000)] = 0,
) -> tuple[Waiting, ...]:
    """Records of a state, the longest wait first; filed ones with the last first."""
    return waiting(desk.database, actor, state, limit=limit, offset=offset)


@router.get("/records/{record_id}")
def record(desk: AtDesk, actor: ReadsRecords, record_id: Id) -> RecordNow:
    """A record as it is now. That it was looked at is kept."""
    return _now(desk, actor, view_record(desk.database, actor, record_id, desk.at()))


@router.get("/records/{record_id}/versions/{version}")
def version(
    desk: AtDesk, actor: ReadsRecords, record_id: Id, version: Annotated[int, Field(ge=1, le=2**31 - 1)]
) -> SignedVersion:
    """A signed version, which never changes. That it was looked at is kept."""
    return signed_version(desk.database, actor, record_id, version, desk.at())


@router.post("/records/{record_id}/operations")
def operate(desk: AtDesk, actor: WritesRecords, record_id: Id, deeds: Deeds) -> RecordNow:
    """Review a draft: apply operations to the revision that was read."""
    seen = record_of(desk.database, actor, record_id).model_copy(update={"revision": deeds.revision})
    done = review_record(desk.database, actor, seen, deeds.operations, desk.lexicon, desk.at())
    return _now(desk, actor, done)


@router.post("/records/{record_id}/filed")
def filed(desk: AtDesk, actor: WritesRecords, record_id: Id, filing: Filed) -> RecordNow:
    """Mark a signed record as filed."""
    seen = record_of(desk.database, actor, record_id).model_copy(update={"revision": filing.revision})
    return _now(desk, actor, file_record(desk.database, actor, seen, filing.note, desk.at()))


@router.get("/records/{record_id}/deliveries")
def deliveries_of_record(
    desk: AtDesk, courier: AtCourier, actor: ReadsRecords, record_id: Id
) -> tuple[Handover, ...]:
    """Where a record was handed over to, and what is on its way, the last one first."""
    record_line(desk.database, actor, record_id)
    return courier.of_record(actor, record_id)


@router.post("/records/{record_id}/deliveries", status_code=202)
def hand_record_over(
    desk: AtDesk, courier: AtCourier, actor: SendsRecords, record_id: Id, wish: ToHandOver
) -> Handover:
    """Ask for a signed record to be handed over; what becomes of it is told by its delivery."""
    asked = Deliver(record_id=record_id, way=wish.way, form=wish.form, release=wish.release)
    return hand_over(desk, courier, actor, asked, wish.key)


@router.get("/deliveries")
def unsolved_deliveries(courier: AtCourier, actor: ReadsRecords) -> tuple[Handover, ...]:
    """What was to be handed over, did not arrive yet and was not given up, the oldest first."""
    return courier.unsolved(actor)


@router.get("/deliveries/{delivery_id}")
def delivery(courier: AtCourier, actor: ReadsRecords, delivery_id: Id) -> Handover:
    """A delivery as it stands now, with its receipt."""
    return courier.deliveries.one(actor, delivery_id)


@router.post("/deliveries/{delivery_id}/again", status_code=202)
def try_again(courier: AtCourier, actor: SendsRecords, delivery_id: Id) -> Handover:
    """Try an unsolved delivery again at once."""
    return courier.deliveries.retry(actor, delivery_id)


@router.post("/deliveries/{delivery_id}/given-up")
def give_up(courier: AtCourier, actor: SendsRecords, delivery_id: Id, why: GivenUp) -> Handover:
    """Let an unsolved delivery be, with the reason."""
    return courier.deliveries.give_up(actor, delivery_id, why.reason)


@router.post("/visits/{visit_id}/records", status_code=201)
def dictated(desk: AtDesk, actor: WritesRecords, visit_id: Id, patient: Id, said: Said) -> RecordNow:
    """Keep what is understood of a text as a draft of a visit of this patient."""
    animal = patient_of(desk.database, actor, patient)
    of_patient = visits_of(desk.database, actor, patient, limit=10_000)
    visit = next((one for one in of_patient if one.visit_id == visit_id), None)
    if visit is None:
        raise NotFoundError("There is no such visit of this patient.")
    about = Visit(kind=visit.kind, on=visit.on)
    understood = understand(Transcript.from_text(said.text), animal.patient, about)
    return _now(desk, actor, keep_record(desk.database, actor, visit.visit_id, understood, desk.at()))


@router.get("/find")
def find(
    desk: AtDesk, actor: ReadsPatients, words: Annotated[str, Query(max_length=200)], limit: Limit = 50
) -> tuple[Hit, ...]:
    """Patients, owners and signed records that hold all of the words."""
    return search(desk.database, actor, words, limit=limit)


@router.post("/patients", status_code=201)
def new_patient(desk: AtDesk, actor: WritesPatients, given: NewPatient) -> KeptPatient:
    """Keep an animal."""
    return add_patient(desk.database, actor, given.patient, given.owner, desk.at())


@router.get("/patients/{patient_id}")
def patient(desk: AtDesk, actor: ReadsPatients, patient_id: Id) -> KeptPatient:
    """An animal."""
    return patient_of(desk.database, actor, patient_id)


@router.get("/patients/{patient_id}/visits")
def visits(desk: AtDesk, actor: ReadsPatients, patient_id: Id, limit: Limit = 100) -> tuple[PastVisit, ...]:
    """An animal's visits, the last first."""
    patient_of(desk.database, actor, patient_id)
    return visits_of(desk.database, actor, patient_id, limit)


@router.post("/patients/{patient_id}/visits", status_code=201)
def new_visit(desk: AtDesk, actor: WritesPatients, patient_id: Id, given: NewVisit) -> KeptVisit:
    """Begin a visit."""
    return open_visit(desk.database, actor, patient_id, given.kind, desk.at(), given.on)


@router.get("/patients/{patient_id}/values/{kind}")
def values(desk: AtDesk, actor: ReadsRecords, patient_id: Id, kind: MeasurementKind) -> tuple[PastValue, ...]:
    """The values of one kind in an animal's signed records, the first measured first."""
    patient_of(desk.database, actor, patient_id)
    return values_of(desk.database, actor, patient_id, kind)


@router.post("/owners", status_code=201)
def new_owner(desk: AtDesk, actor: WritesPatients, given: Owner) -> Client:
    """Keep an owner."""
    return add_client(desk.database, actor, given, desk.at())


@router.get("/owners/{owner_id}")
def owner(desk: AtDesk, actor: ReadsPatients, owner_id: Id) -> Client:
    """An owner."""
    return client_of(desk.database, actor, owner_id)


@router.get("/lexicon/findings")
def findings(
    desk: AtDesk,
    token: Annotated[Token, Depends(_token)],
    words: Annotated[str, Query(max_length=100)],
    system: System | None = None,
) -> list[FindingChoice]:
    """Findings that the lexicon knows by words that begin so."""
    return [
        FindingChoice(id=one.id, label=one.label, plain=one.plain, system=one.system)
        for one in findings_like(words, desk.lexicon, system)
    ]


def _now(desk: AtDesk, actor: Actor, kept: KeptRecord) -> RecordNow:
    if kept.review is not None:
        standing = current(kept.review, desk.lexicon)
        stopping = set(hindrances(standing))
        notices = tuple(
            OpenNotice(key=notice_key(one), stops_signing=one in stopping, notice=one)
            for one in standing.notices
        )
    else:
        standing = signed_version(desk.database, actor, kept.id, None, desk.at()).record
        notices = ()
    return RecordNow(
        **kept.model_dump(exclude={"review"}), review=kept.review, standing=standing, open=notices
    )
