"""What belongs to a signed record when it leaves the practice: its versions, owner, letterhead and earlier values."""

from __future__ import annotations

from datetime import datetime

from pipeline.filing import Letterhead
from pipeline.filing.history import CHARTED
from pipeline.filing.outgoing import Outgoing, outgoing
from pipeline.speech.model import Frozen
from pipeline.store import (
    Actor,
    Database,
    NotAllowedError,
    PastValue,
    Practice,
    SignedVersion,
    client_of,
    patient_of,
    practice_of,
    record_line,
    signed_version,
    values_of,
)


class Papers(Frozen):
    """A signed record with all that its documents need."""

    versions: tuple[SignedVersion, ...]
    outgoing: Outgoing
    past: dict[str, tuple[PastValue, ...]]
    letterhead: Letterhead


def papers_of(database: Database, actor: Actor, record_id: str, at: datetime) -> Papers:
    """Gather a signed record; that it was looked at is kept in the trail. Raises NotFoundError, NotAllowedError."""
    line = record_line(database, actor, record_id)
    if not line.version:
        raise NotAllowedError(
            f"Record {record_id} is a draft that nobody signed: have it signed first (rostral record sign)."
        )
    versions = tuple(
        signed_version(database, actor, record_id, number, at) for number in range(1, line.version + 1)
    )
    owner = patient_of(database, actor, line.patient_id).client_id
    letterhead = letterhead_of(database, actor)
    return Papers(
        versions=versions,
        outgoing=outgoing(
            versions,
            patient_id=line.patient_id,
            client=client_of(database, actor, owner) if owner else None,
            practice=letterhead,
        ),
        past={kind: values_of(database, actor, line.patient_id, kind) for kind in CHARTED},
        letterhead=letterhead,
    )


def letterhead_of(database: Database, actor: Actor) -> Letterhead:
    """The head of the practice's documents."""
    return letterhead_from(practice_of(database, actor))


def letterhead_from(practice: Practice) -> Letterhead:
    """The head of a practice's documents, from its lines in the books."""
    return Letterhead(**practice.model_dump(include=set(Letterhead.model_fields)))
