"""Deliveries for whoever asks for them, the command line and the desk: ask, look, try again, give up.

A delivery is what the trail holds of it and the job that does it. The trail's part is there first and stays; the job tells whether
it waits, runs, or comes to nothing.
"""

from __future__ import annotations

from datetime import datetime
from typing import Literal, cast

from pydantic import Field

from pipeline.jobs.delivering import DELIVER, Deliver, asked_by, kept_form, must_be_set
from pipeline.jobs.model import Job, JobsError
from pipeline.jobs.service import Jobs, id_of_key
from pipeline.settings import Settings
from pipeline.speech.model import Frozen
from pipeline.store import Actor, Database, EntryError, NotAllowedError, NotFoundError, record_line
from pipeline.store.deliveries import Delivery, Solved, deliveries_of, note_delivery
from pipeline.store.stamps import new_id, now

HandoverState = Literal["queued", "running", "waiting", "failed", "delivered", "given_up"]
"""`waiting`: an attempt failed in a way that may pass, and the next one has its time. `failed`: somebody has to do something."""

_LOST = "Nothing works on it: try it again, or give it up."
_BEGUN = "Its last attempt has no end that is known: it may have arrived."


class Handover(Frozen):
    """A delivery as it stands now: its receipt as the trail has it, its state, why it is not done, when it is tried again."""

    receipt: Delivery
    state: HandoverState
    reason: str = Field(default="", description="Why it is not there yet, or why it was given up.")
    retry_at: datetime | None = None
    warnings: tuple[str, ...] = Field(
        default=(), description="What to look at on the document that was made."
    )

    @property
    def id(self) -> str:
        """The identifier of the delivery, which is its job's."""
        return self.receipt.id


class Deliveries:
    """The deliveries of a database's practices. Who does them is whoever works on `jobs`, here or in another process."""

    def __init__(self, database: Database, jobs: Jobs, settings: Settings) -> None:
        self._database = database
        self._jobs = jobs
        self._settings = settings

    def submit(self, actor: Actor, wish: Deliver, key: str | None = None) -> Handover:
        """Ask for a signed record to be handed over; unsolved from now on, whatever happens.

        The same `key` in the same practice is the same delivery, however often it is asked for: give one to a form that may be
        sent twice. Raises EntryError for a way that is not set up, NotAllowedError for a draft, NotFoundError, DatabaseError.
        """
        must_be_set(self._settings, wish.way, wish.form)
        line = record_line(self._database, actor, wish.record_id)
        if not line.version:
            raise NotAllowedError(
                f"Record {wish.record_id} is a draft that nobody signed: have it signed first."
            )
        delivery_id = id_of_key(actor, key) if key is not None else new_id()
        if not any(one.id == delivery_id for one in self._kept(actor, wish.record_id)):
            asked = Delivery(
                id=delivery_id,
                record_id=wish.record_id,
                version=line.version,
                form=kept_form(wish),
                way=wish.way,
                state="queued",
                at=now(),
                by=actor.name,
            )
            note_delivery(self._database, actor, asked)
            self._jobs.submit(actor, DELIVER.name, wish, job_id=delivery_id)
        return self.one(actor, delivery_id)

    def listed(
        self, actor: Actor, *, unsolved: bool = False, record_id: str | None = None
    ) -> tuple[Handover, ...]:
        """The practice's deliveries, the oldest first: all, those that nobody solved, those of a record. Raises DatabaseError."""
        kept = self._kept(actor, record_id, unsolved=unsolved)
        jobs = self._jobs.known(actor, [one.id for one in kept])
        return tuple(_standing(one, jobs.get(one.id)) for one in kept)

    def one(self, actor: Actor, delivery_id: str) -> Handover:
        """A delivery of the practice as it stands now. Raises NotFoundError, DatabaseError."""
        found = deliveries_of(self._database, actor, delivery_id=delivery_id)
        if not found:
            raise NotFoundError("There is no such delivery in this practice.")
        return _standing(found[0], self._jobs.known(actor, [delivery_id]).get(delivery_id))

    def retry(self, actor: Actor, delivery_id: str) -> Handover:
        """Try an unsolved delivery again at once, with the record's last signed version; one that goes on is left to it.

        Raises EntryError for one that is solved, NotFoundError, DatabaseError.
        """
        before = self._unsolved(actor, delivery_id)
        if before.state not in ("queued", "running"):
            job = self._jobs.known(actor, [delivery_id]).get(delivery_id)
            note_delivery(self._database, actor, _queued(before.receipt, actor))
            if job is not None:
                self._jobs.retry(actor, delivery_id)
            else:
                # the engine forgets jobs that ended long ago
                kept = before.receipt
                wish = asked_by(kept.record_id, kept.way, kept.form)
                self._jobs.submit(actor, DELIVER.name, wish, job_id=delivery_id)
        return self.one(actor, delivery_id)

    def give_up(self, actor: Actor, delivery_id: str, reason: str) -> Handover:
        """Let an unsolved delivery be; the reason is kept.

        Raises EntryError for one that is solved or for no reason, JobsError for one that is being handed over just now,
        NotFoundError, DatabaseError.
        """
        before = self._unsolved(actor, delivery_id)
        if not reason.strip():
            raise EntryError("Say why this delivery is given up: the reason is kept.")
        if before.state == "running":
            raise JobsError("It is being handed over just now: wait until that has ended, then look again.")
        if before.state in ("queued", "waiting"):
            self._jobs.cancel(actor, delivery_id)
        ended = before.receipt.model_copy(
            update={"state": "given_up", "reason": reason, "at": now(), "by": actor.name}
        )
        note_delivery(self._database, actor, ended)
        return self.one(actor, delivery_id)

    def full_id(self, actor: Actor, beginning: str) -> str:
        """The identifier of the unsolved delivery that begins so. Raises EntryError."""
        begun = beginning.strip().lower()
        found = [one.id for one in self._kept(actor, unsolved=True) if begun and one.id.startswith(begun)]
        if len(found) != 1:
            raise EntryError(
                f"{len(found) or 'No'} unsolved deliveries begin with {beginning!r}. See them: rostral deliveries --unsolved"
            )
        return found[0]

    def _kept(
        self, actor: Actor, record_id: str | None = None, *, unsolved: bool = False
    ) -> tuple[Delivery, ...]:
        return deliveries_of(self._database, actor, unsolved=unsolved, record_id=record_id)

    def _unsolved(self, actor: Actor, delivery_id: str) -> Handover:
        found = self.one(actor, delivery_id)
        if found.receipt.state in Solved:
            raise EntryError("This delivery is solved: there is nothing to do.")
        return found


def _queued(kept: Delivery, actor: Actor) -> Delivery:
    """Asked for anew, by this person. That it was tried before its checksum goes on telling."""
    return kept.model_copy(update={"state": "queued", "reason": "", "at": now(), "by": actor.name})


def _standing(kept: Delivery, job: Job | None) -> Handover:
    if kept.state in Solved:
        looked_at = (job.result or {}).get("look at", ()) if job is not None else ()
        return Handover(
            receipt=kept,
            state=cast("HandoverState", kept.state),
            reason=kept.reason,
            warnings=tuple(looked_at),
        )
    reason = kept.reason or ((job.reason or "") if job is not None else "")
    if kept.state == "begun" and not reason:
        reason = _BEGUN
    if job is None or job.state in ("done", "cancelled"):
        return Handover(receipt=kept, state="failed", reason=reason or _LOST)
    return Handover(
        receipt=kept, state=cast("HandoverState", job.state), reason=reason, retry_at=job.retry_at
    )
