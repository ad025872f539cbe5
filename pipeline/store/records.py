"""The life of an exam record: draft → signed → filed, and amendments that make a new version.

A signed version is never changed. An amendment opens a new draft from it, and signing that makes the next version; the one
before stays readable. Whoever writes says which revision they read: of two people at once, the second is told.
"""

from __future__ import annotations

import hashlib
import json
from datetime import date, datetime, timedelta
from typing import Any, TypeVar

from pydantic import ValidationError
from sqlalchemy import Connection, Row, insert, select, update

from lexicon import Lexicon
from pipeline.record import ExamRecord
from pipeline.record.model import VisitKind
from pipeline.review import Mark, Operation, Review, apply, current, hindrances, open_review
from pipeline.store.database import Database
from pipeline.store.errors import ConflictError, DatabaseError, EntryError, NotAllowedError, NotFoundError
from pipeline.store.model import Actor, KeptRecord, KeptVisit, SignedVersion
from pipeline.store.search import make_record_findable
from pipeline.store.stamps import new_id, sha256, stamp
from pipeline.store.tables import event, pack, patient, record, record_version, visit
from pipeline.store.trail import Change, change

Kept = TypeVar("Kept", ExamRecord, Review)

_REVIEWERS = ("vet", "nurse")
_AHEAD = timedelta(days=1)
"""Where it is a day later than in the zone that times are kept in, a visit of today is no mistake."""


def open_visit(
    database: Database, actor: Actor, patient_id: str, kind: VisitKind, at: datetime, on: date | None = None
) -> KeptVisit:
    """Begin a visit of a patient, on the day of `at` unless another is given. Raises NotFoundError, EntryError."""
    day = on or at.date()
    if day > at.date() + _AHEAD:
        raise EntryError(f"The day of the visit, {day}, lies ahead: give the day on which it was.")
    opened = KeptVisit(id=new_id(), patient_id=patient_id, kind=kind, on=day)
    with change(database, actor, at) as made:
        found = made.connection.execute(
            select(patient.c.id).where(patient.c.id == patient_id, patient.c.practice_id == actor.practice_id)
        ).one_or_none()
        if found is None:
            raise NotFoundError("There is no such patient in this practice.")
        made.connection.execute(
            insert(visit).values(
                id=opened.id,
                practice_id=actor.practice_id,
                patient_id=patient_id,
                kind=kind,
                on_day=opened.on,
            )
        )
        made.note("open_visit", opened.id, patient=patient_id, kind=kind, on=day.isoformat())
    return opened


def keep_record(
    database: Database,
    actor: Actor,
    visit_id: str,
    understood: ExamRecord,
    at: datetime,
    *,
    recording_id: str | None = None,
    origin: str | None = None,
) -> KeptRecord:
    """Keep what was understood of an examination, or of its recording, as a draft. Raises NotFoundError.

    It is held against the patient's last signed examination. The owner's name is the client's and no part of the
    record: see `erase_client`. A record of an `origin` is kept once: asked again, the kept one is given as it is now.
    """
    with change(database, actor, at) as made:
        if origin is not None and (before := _of_origin(made, origin)) is not None:
            return before
        of_visit = made.connection.execute(
            select(visit).where(visit.c.id == visit_id, visit.c.practice_id == actor.practice_id)
        ).one_or_none()
        if of_visit is None:
            raise NotFoundError("There is no such visit in this practice.")
        review = open_review(_without_owner(understood), _last_signed(made.connection, of_visit))
        kept = KeptRecord(id=new_id(), visit_id=visit_id, state="draft", revision=1, version=0, review=review)
        body = review.model_dump_json()
        made.connection.execute(
            insert(record).values(
                id=kept.id,
                practice_id=actor.practice_id,
                visit_id=visit_id,
                state="draft",
                revision=1,
                version=0,
                review=body,
                recording_id=recording_id,
                origin=origin,
            )
        )
        heard = {} if recording_id is None else {"recording": recording_id}
        made.note("keep_record", kept.id, visit=visit_id, review=sha256(body), **heard)
    return kept


def _of_origin(made: Change, origin: str) -> KeptRecord | None:
    row = made.connection.execute(
        select(record).where(record.c.origin == origin, record.c.practice_id == made.actor.practice_id)
    ).one_or_none()
    return _kept(row) if row is not None else None


def _last_signed(connection: Connection, of_visit: Row[Any]) -> ExamRecord | None:
    """The last signed record of the patient's visits until this one; null when there is none, or none that can be read.

    A damaged one is the audit's to tell: it must not keep today's record from being written.
    """
    body = connection.execute(
        select(record_version.c.body)
        .select_from(
            visit.join(record, record.c.visit_id == visit.c.id).join(
                record_version,
                (record_version.c.record_id == record.c.id) & (record_version.c.version == record.c.version),
            )
        )
        .where(
            visit.c.patient_id == of_visit.patient_id,
            visit.c.id != of_visit.id,
            visit.c.on_day <= of_visit.on_day,
        )
        .order_by(visit.c.on_day.desc(), record.c.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    try:
        return None if body is None else read_body(ExamRecord, body, "The last record")
    except DatabaseError:
        return None


def record_of(database: Database, actor: Actor, record_id: str) -> KeptRecord:
    """The record of that identifier, as it is now. Raises NotFoundError."""
    with database.reading() as connection:
        row = connection.execute(_chosen(actor, record_id)).one_or_none()
    return _kept(row)


def view_record(database: Database, actor: Actor, record_id: str, at: datetime) -> KeptRecord:
    """The record as it is now, for somebody who reads it: that they did is kept in the trail. Raises NotFoundError."""
    with change(database, actor, at) as made:
        kept = _kept(made.connection.execute(_chosen(actor, record_id)).one_or_none())
        made.note("view", record_id, version=kept.version, state=kept.state)
    return kept


def note_export(
    database: Database, actor: Actor, record_id: str, version: int, form: str, at: datetime
) -> None:
    """Keep in the trail that a version left the practice's books, in which form. Raises NotFoundError."""
    with change(database, actor, at) as made:
        read_version(
            made, _kept(made.connection.execute(_chosen(actor, record_id)).one_or_none()).id, version
        )
        made.note("export", record_id, version=version, form=form)


def review_record(
    database: Database,
    actor: Actor,
    kept: KeptRecord,
    operations: tuple[Operation, ...],
    lexicon: Lexicon,
    at: datetime,
) -> KeptRecord:
    """Apply a reviewer's operations to the draft that was read as `kept`: all of them, or none.

    Raises ReviewError (an operation cannot be done), NotAllowedError (no draft), ConflictError, NotFoundError.
    """
    _must_be(actor, _REVIEWERS, "review a record")
    with change(database, actor, at) as made:
        review = _draft(_fresh(made, kept))
        mark = Mark(by=actor.name, at=at)
        for operation in operations:
            review = apply(review, operation, mark, lexicon)
            made.note("review", kept.id, operation=operation.model_dump(mode="json"))
        body = review.model_dump_json()
        made.note("keep_draft", kept.id, review=sha256(body))
        return _write(made, kept, review=review, body=body)


def sign_record(
    database: Database,
    actor: Actor,
    kept: KeptRecord,
    lexicon: Lexicon,
    at: datetime,
    reason: str | None = None,
) -> KeptRecord:
    """Sign the draft that was read as `kept`: it becomes the next version, which nobody can change.

    An amendment needs its `reason`. Raises NotAllowedError (not a vet, no draft, or notices of weight that nobody
    answered: the message names them), EntryError, ConflictError, NotFoundError.
    """
    _must_be(actor, ("vet",), "sign a record")
    with change(database, actor, at) as made:
        fresh = _fresh(made, kept)
        review = _draft(fresh)
        amends = fresh.version > 0
        if amends and not (reason and reason.strip()):
            raise EntryError("Say why the signed record is amended: the reason is kept with the new version.")
        signed = current(review, lexicon)
        if waiting := hindrances(signed):
            first = " ".join(notice.message for notice in waiting[:3])
            more = f" And {len(waiting) - 3} more." if len(waiting) > 3 else ""
            raise NotAllowedError(f"The record cannot be signed yet. {first}{more}")
        version = SignedVersion(
            record_id=kept.id,
            version=fresh.version + 1,
            record=signed,
            sha256=signature_of(signed.model_dump_json(), review.model_dump_json()),
            signed_by=actor.name,
            signed_at=at,
            reason=reason.strip() if amends and reason else None,
        )
        made.connection.execute(
            insert(record_version).values(
                record_id=kept.id,
                version=version.version,
                body=signed.model_dump_json(),
                review=review.model_dump_json(),
                sha256=version.sha256,
                signed_by=actor.person_id,
                signed_name=actor.name,
                signed_at=stamp(at),
                reason=version.reason,
            )
        )
        of_visit = made.connection.execute(select(visit).where(visit.c.id == fresh.visit_id)).one()
        make_record_findable(
            made.connection, actor.practice_id, of_visit.patient_id, of_visit.on_day, version
        )
        made.note(
            "sign",
            kept.id,
            version=version.version,
            sha256=version.sha256,
            stored=stored_sha256(pack(signed.model_dump_json()), pack(review.model_dump_json())),
            reason=version.reason or "",
        )
        return _write(made, kept, state="signed", version=version.version)


def amend_record(database: Database, actor: Actor, kept: KeptRecord, at: datetime) -> KeptRecord:
    """Open a new draft from the last signed version, which stays as it is.

    Raises NotAllowedError (not a vet, or a draft is open already), ConflictError, NotFoundError.
    """
    _must_be(actor, ("vet",), "amend a signed record")
    with change(database, actor, at) as made:
        fresh = _fresh(made, kept)
        if fresh.state == "draft":
            raise NotAllowedError("A draft of this record is open already: go on with that one.")
        review = signed_review(made.connection, kept.id, fresh.version)
        body = review.model_dump_json()
        made.note("amend", kept.id, version=fresh.version, review=sha256(body))
        return _write(made, kept, state="draft", version=fresh.version, review=review, body=body)


def leave_amendment(database: Database, actor: Actor, kept: KeptRecord, at: datetime) -> KeptRecord:
    """Give up the draft of an amendment: the record is as it was signed, and as it was filed. Changes made in it are gone.

    Raises NotAllowedError (not a vet, or there is no amendment), ConflictError, NotFoundError.
    """
    _must_be(actor, ("vet",), "leave an amendment")
    with change(database, actor, at) as made:
        fresh = _fresh(made, kept)
        if fresh.state != "draft" or not fresh.version:
            raise NotAllowedError(
                "There is no amendment to leave: this record has no draft beside a signed version."
            )
        filed = made.connection.execute(
            select(event.c.detail).where(
                event.c.practice_id == actor.practice_id, event.c.subject == kept.id, event.c.action == "file"
            )
        ).scalars()
        was_filed = any(json.loads(detail)["version"] == fresh.version for detail in filed)
        state = "filed" if was_filed else "signed"
        made.note("leave_amendment", kept.id, version=fresh.version, state=state)
        return _write(made, kept, state=state, version=fresh.version)


def file_record(database: Database, actor: Actor, kept: KeptRecord, note: str, at: datetime) -> KeptRecord:
    """Mark a signed record as filed, with a note of where. Raises NotAllowedError, ConflictError, NotFoundError."""
    with change(database, actor, at) as made:
        fresh = _fresh(made, kept)
        if fresh.state != "signed":
            raise NotAllowedError(f"Only a signed record is filed; this one is {fresh.state}.")
        made.note("file", kept.id, version=fresh.version, note=note.strip())
        return _write(made, kept, state="filed", version=fresh.version)


def signed_version(
    database: Database, actor: Actor, record_id: str, version: int | None, at: datetime
) -> SignedVersion:
    """A signed version, the last when `version` is null; that it was looked at is kept in the trail.

    Raises NotFoundError.
    """
    with change(database, actor, at) as made:
        kept = _kept(made.connection.execute(_chosen(actor, record_id)).one_or_none())
        found = read_version(made, record_id, version if version is not None else kept.version)
        made.note("view", record_id, version=found.version)
    return found


def signature_of(body: str, review: str) -> str:
    """Checksum of a signed version: of the record and of its review, as they are kept."""
    return sha256(f"{sha256(body)}{sha256(review)}")


def stored_sha256(body: bytes, review: bytes) -> str:
    """Checksum of the very bytes that a signed version is kept as: of two packings of one text one is not what was written."""
    return hashlib.sha256(body + review).hexdigest()


def _chosen(actor: Actor, record_id: str) -> Any:
    return select(record).where(record.c.id == record_id, record.c.practice_id == actor.practice_id)


def _kept(row: Row[Any] | None) -> KeptRecord:
    if row is None:
        raise NotFoundError("There is no such record in this practice.")
    return KeptRecord(
        id=row.id,
        visit_id=row.visit_id,
        state=row.state,
        revision=row.revision,
        version=row.version,
        review=read_body(Review, row.review, f"The draft of record {row.id}")
        if row.review is not None
        else None,
        set_aside=row.set_aside_at is not None,
    )


def _fresh(made: Change, kept: KeptRecord) -> KeptRecord:
    """The record as it is now, which must be as the caller read it."""
    row = made.connection.execute(_chosen(made.actor, kept.id)).one_or_none()
    fresh = _kept(row)
    if fresh.revision != kept.revision:
        raise ConflictError(
            "Somebody changed this record meanwhile. What you entered was not written and is not lost: read"
            " the record again and enter it there."
        )
    return fresh


def _draft(fresh: KeptRecord) -> Review:
    if fresh.review is None:
        raise NotAllowedError(f"This record is {fresh.state} and cannot be changed: amend it.")
    if fresh.set_aside:
        raise NotAllowedError("This draft was set aside: take it up again first.")
    return fresh.review


def read_version(made: Change, record_id: str, version: int) -> SignedVersion:
    """A signed version, within a change that is under way. Raises NotFoundError, DatabaseError."""
    columns = [column for column in record_version.c if column.name != "review"]
    row = made.connection.execute(
        select(*columns).where(record_version.c.record_id == record_id, record_version.c.version == version)
    ).one_or_none()
    if row is None:
        raise NotFoundError("There is no such signed version of this record.")
    return SignedVersion(
        record_id=row.record_id,
        version=row.version,
        record=read_body(ExamRecord, row.body, f"Version {version} of record {record_id}"),
        sha256=row.sha256,
        signed_by=row.signed_name,
        signed_at=datetime.fromisoformat(row.signed_at),
        reason=row.reason,
    )


def signed_review(connection: Connection, record_id: str, version: int) -> Review:
    """The review of a signed version, within a transaction that is under way. Raises NotFoundError, DatabaseError."""
    body = connection.execute(
        select(record_version.c.review).where(
            record_version.c.record_id == record_id, record_version.c.version == version
        )
    ).scalar_one_or_none()
    if body is None:
        raise NotFoundError("There is no such signed version of this record.")
    return read_body(Review, body, f"The review of version {version} of record {record_id}")


def read_body(shape: type[Kept], text: str, what: str) -> Kept:
    """The record or review that a kept text is; `what` names it in the error. Raises DatabaseError."""
    try:
        return shape.model_validate_json(text)
    except ValidationError as error:
        raise DatabaseError(
            f"{what} cannot be read: it was damaged or written by a newer version. Run the audit, then restore"
            " a backup or install the newer version."
        ) from error


def _write(
    made: Change,
    kept: KeptRecord,
    *,
    state: str = "draft",
    version: int | None = None,
    review: Review | None = None,
    body: str | None = None,
) -> KeptRecord:
    """The record with the next revision; `body` is the review as text, null once it is signed."""
    new = kept.model_copy(
        update={
            "state": state,
            "revision": kept.revision + 1,
            "version": kept.version if version is None else version,
            "review": review,
        }
    )
    made.connection.execute(
        update(record)
        .where(record.c.id == kept.id)
        .values(state=new.state, revision=new.revision, version=new.version, review=body)
    )
    return new


def _must_be(actor: Actor, roles: tuple[str, ...], deed: str) -> None:
    if actor.role not in roles:
        raise NotAllowedError(f"Only a {' or '.join(roles)} can {deed}; {actor.name} is a {actor.role}.")


def _without_owner(understood: ExamRecord) -> ExamRecord:
    if understood.patient is None or understood.patient.owner is None:
        return understood
    return understood.model_copy(update={"patient": understood.patient.model_copy(update={"owner": None})})
