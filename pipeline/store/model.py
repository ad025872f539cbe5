"""Values that go in and out of the store. All are frozen; identifiers are 32 hexadecimal digits."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, ConfigDict, Field

from pipeline.record import ExamRecord, Patient
from pipeline.record.model import VisitKind
from pipeline.review import Review
from pipeline.speech.model import Frozen

Role = Literal["vet", "nurse", "manager"]
RecordState = Literal["draft", "signed", "filed"]
Identifier = Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]


class Actor(Frozen):
    """Who acts, in which practice: passed to everything that reads or writes."""

    practice_id: Identifier
    person_id: Identifier
    name: str
    role: Role


class Person(Frozen):
    """Somebody who works or worked in a practice; who is not `active` cannot act any more."""

    id: Identifier
    practice_id: Identifier
    practice: str
    name: str
    role: Role
    active: bool


class Practice(Frozen):
    """A practice, with the lines of its letterhead; null where none was given."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    id: Identifier
    name: str
    address: str | None = None
    phone: str | None = None
    email: str | None = None
    registration: str | None = Field(
        default=None, description="What the practice has to name on its papers: its registration, say."
    )
    retention_years: int | None = Field(
        default=None,
        ge=1,
        le=100,
        description="Years that records are kept for at the least; local rules decide.",
    )


class Client(Frozen):
    """An animal's owner as the practice knows them. `erased` clients keep their identifier and nothing else."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    id: Identifier
    name: str | None = None
    phone: str | None = None
    email: str | None = None
    address: str | None = None
    erased: bool = False


class KeptPatient(Frozen):
    """A patient of the practice. `revision` counts changes: who writes must have read the last one."""

    id: Identifier
    client_id: Identifier | None
    patient: Patient
    revision: int


class KeptVisit(Frozen):
    """A visit of a patient, on a day, for a reason."""

    id: Identifier
    patient_id: Identifier
    kind: VisitKind
    on: date


class KeptRecording(Frozen):
    """The sound of a visit. `path` leads to it from the folder of recordings; `sha256` is the file's checksum."""

    id: Identifier
    visit_id: Identifier
    path: str
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    duration_s: float = Field(ge=0)


class KeptPaper(Frozen):
    """A document that was made of a signed version."""

    id: Identifier
    record_id: Identifier
    version: int
    kind: str
    path: str
    sha256: str


class KeptRecord(Frozen):
    """An exam record with its state. `review` is the open draft; null while the last version stands signed."""

    id: Identifier
    visit_id: Identifier
    state: RecordState
    revision: int
    version: int = Field(description="Last signed version; 0 before the first signature.")
    review: Review | None
    set_aside: bool = Field(default=False, description="A draft that nobody wants to sign.")


class RecordLine(Frozen):
    """A record in a list: whose it is, of which day, and how far it is."""

    id: Identifier
    patient_id: Identifier
    patient: str
    species: str
    visit_id: Identifier
    kind: VisitKind
    on: date
    state: RecordState
    version: int


class DuePatient(Frozen):
    """A patient that was not seen for long: the day of the last visit, and how many records there are."""

    id: Identifier
    patient: str
    species: str
    last_visit: date
    records: int


class TrailEvent(Frozen):
    """One event of the audit trail. `by` is the person's name, their identifier where the person is not known."""

    seq: int
    at: AwareDatetime
    by: str
    action: str
    subject: Identifier
    detail: dict[str, Any]


class SignedVersion(Frozen):
    """A signed version: it never changes. `sha256` covers the record and its review, which is kept beside it."""

    record_id: Identifier
    version: int
    record: ExamRecord
    sha256: str
    signed_by: str
    signed_at: AwareDatetime
    reason: str | None = Field(description="Why the version before was amended; null for the first.")


class PastValue(Frozen):
    """A value of an earlier signed record, in the stored unit of its kind."""

    on: date
    value: float
    unit: str | None
    out_of: float | None
