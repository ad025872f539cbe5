"""Jobs for whoever asks for them: ask, look, cancel, try again; and, in a process that works, begin and stop."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipeline.jobs.doing import Doing, Doings
from pipeline.jobs.engine import Engine
from pipeline.jobs.kinds import KINDS
from pipeline.jobs.model import Asked, Job, JobsError, JobState
from pipeline.jobs.watch import Watch
from pipeline.jobs.work import Queue
from pipeline.settings import Settings
from pipeline.store import Actor, Database, EntryError, NotFoundError
from pipeline.store.stamps import new_id, sha256
from pipeline.store.workers import JobNote, end_wait, job_notes, note_job, workers

_DIED = "The processes that did it died or were ended while they did it, several times."
_STATES: dict[str, JobState] = {
    "ENQUEUED": "queued",
    "DELAYED": "queued",
    "PENDING": "running",
    "SUCCESS": "done",
    "ERROR": "failed",
    "MAX_RECOVERY_ATTEMPTS_EXCEEDED": "failed",
    "CANCELLED": "cancelled",
}
_ENGINE_STATES: dict[JobState, tuple[str, ...]] = {
    "queued": ("ENQUEUED", "DELAYED", "PENDING"),
    "running": ("PENDING",),
    "waiting": ("ERROR",),
    "done": ("SUCCESS",),
    "failed": ("ERROR", "MAX_RECOVERY_ATTEMPTS_EXCEEDED"),
    "cancelled": ("CANCELLED",),
}


class Jobs:
    """The jobs of a database. Close it at the end; safe to use from several threads."""

    def __init__(
        self,
        database: Database,
        settings: Settings,
        recordings: Path,
        *,
        beat_s: float = 4.0,
        dead_after_s: float = 20.0,
    ) -> None:
        """Open the jobs of a database; `recordings` is the folder of its sounds.

        A process at work gives a sign of life every `beat_s` seconds, and one that gave none for `dead_after_s` is taken for
        dead: its jobs are taken over. Raises DatabaseError.
        """
        self._database = database
        self._engine = Engine(database)
        self._doings = Doings(database, settings, recordings, self._engine)
        self._watch = Watch(database, self._engine, beat_s, dead_after_s, self._go_on)

    def close(self) -> None:
        """Stop working, if this process does, and let go of all connections."""
        self.stop()
        self._engine.close()

    def submit(
        self, actor: Actor, kind: str, asked: Asked, key: str | None = None, *, job_id: str | None = None
    ) -> Job:
        """Ask for a job. The same `key` in the same practice is the same job, however often it is asked for.

        With a `job_id` the job gets that identifier; one that has it already stays as it is. Raises
        JobsError for an unknown kind or a wish of another kind, DatabaseError.
        """
        row = KINDS.get(kind)
        if row is None or not isinstance(asked, row.asked):
            raise JobsError(f"There is no job {kind!r} that is asked for so. There are: {', '.join(KINDS)}.")
        job_id = job_id or (id_of_key(actor, key) if key is not None else new_id())
        wish = Doing(actor=actor, asked=asked.model_dump(mode="json"))
        self._engine.enqueue(job_id, kind, wish.model_dump_json(), _queue(kind), actor.practice_id)
        return self.job(actor, job_id)

    def job(self, actor: Actor, job_id: str) -> Job:
        """A job of the practice as it is now. Raises NotFoundError, DatabaseError."""
        found = self.known(actor, [job_id])
        if job_id not in found:
            raise NotFoundError("There is no such job in this practice.")
        return found[job_id]

    def known(self, actor: Actor, job_ids: Iterable[str]) -> dict[str, Job]:
        """Those of these jobs of the practice that are still known, by their identifiers. Raises DatabaseError."""
        rows = [row for row in self._engine.found(job_ids) if row.authenticated_user == actor.practice_id]
        notes, alive = job_notes(self._database, [row.workflow_id for row in rows]), self._alive()
        return {row.workflow_id: _shown(row, notes.get(row.workflow_id), alive) for row in rows}

    def jobs(
        self, actor: Actor, states: Iterable[JobState] | None = None, limit: int = 50
    ) -> tuple[Job, ...]:
        """Jobs of the practice, the newest first; only those in some states where given. Raises DatabaseError."""
        wanted = set(states) if states is not None else None
        among = None if wanted is None else {name for state in wanted for name in _ENGINE_STATES[state]}
        rows = self._engine.listed(actor.practice_id, among, limit)
        notes = job_notes(self._database, [row.workflow_id for row in rows])
        alive = self._alive()
        shown = (_shown(row, notes.get(row.workflow_id), alive) for row in rows)
        return tuple(job for job in shown if wanted is None or job.state in wanted)

    def cancel(self, actor: Actor, job_id: str) -> Job:
        """Let a job go no further: the step that runs ends at its next sign, what was done before stays.

        Raises JobsError for one that ended, NotFoundError, DatabaseError.
        """
        job = self.job(actor, job_id)
        if job.state in ("done", "failed", "cancelled"):
            raise JobsError(f"This job is {job.state}: there is nothing to cancel.")
        if job.state != "running":  # one whose attempt ended is not cancelled: it has to be begun first
            self._engine.again(job_id, _queue(job.kind))
        self._engine.cancel(job_id)
        end_wait(self._database, job_id)
        return self.job(actor, job_id)

    def retry(self, actor: Actor, job_id: str) -> Job:
        """Do a failed, waiting or cancelled job again at once, from the step that failed; its attempts count anew.

        Raises JobsError for one that is done or goes on, NotFoundError, DatabaseError.
        """
        job = self.job(actor, job_id)
        if job.state not in ("failed", "waiting", "cancelled"):
            raise JobsError(
                f"This job is {job.state}: only one that failed, waits or was cancelled is tried again."
            )
        note_job(self._database, JobNote(job_id=job_id))
        self._engine.again(job_id, _queue(job.kind))
        return self.job(actor, job_id)

    def begin(self, queues: Sequence[Queue] | None = None) -> None:
        """Do jobs in this process, of some queues or of all, and watch over other processes that do.

        Raises JobsError, DatabaseError.
        """
        self._doings.open()
        self._watch.begin(self._engine.begin(self._doings, queues))

    def stop(self) -> None:
        """Take no more jobs, end the steps that run, and leave the rest to other processes or to the next start."""
        self._doings.stop()
        self._engine.stop()
        self._watch.end()
        self._doings.release()

    @property
    def trouble(self) -> str | None:
        """Why this process cannot work just now; null while it can."""
        return self._watch.trouble

    @property
    def doing(self) -> dict[str, tuple[str, str, float | None]]:
        """What this process does now: of each job its kind, the step, and how much of it is done."""
        return self._doings.now()

    def ended(self) -> Iterator[tuple[str, str, str]]:
        """Jobs that this process ended since the last call: identifier, kind, and how, in words."""
        return self._doings.ended()

    def idle(self) -> bool:
        """Whether no job of the database is queued or running; those that wait for another attempt do not count."""
        return not self._engine.is_busy()

    def full_id(self, actor: Actor, beginning: str) -> str:
        """The identifier of the practice's job that begins so. Raises EntryError, NotFoundError, DatabaseError."""
        begun = beginning.strip().lower()
        if not re.fullmatch(r"[0-9a-f]{4,32}", begun):
            raise EntryError(
                f"{beginning!r} is no identifier of a job: give its first hexadecimal digits, 4 at least."
            )
        found = self._engine.begun(actor.practice_id, begun)
        if not found:
            raise NotFoundError(f"There is no job {begun} in this practice.")
        if len(found) > 1:
            raise EntryError(f"Several jobs begin with {begun}: give more of the digits.")
        return found[0]

    def _go_on(self, note: JobNote) -> None:
        """Begin the next attempt of a job that waits."""
        for row in self._engine.found([note.job_id]):
            kind = row.input["args"][0] if row.input is not None else ""
            self._engine.again(note.job_id, _queue(kind))

    def _alive(self) -> set[str]:
        """Processes that did not end, as far as is known."""
        return {worker.id for worker in workers(self._database) if worker.beat is not None}


def id_of_key(actor: Actor, key: str) -> str:
    """The identifier of a practice's job of that key."""
    return sha256(f"{actor.practice_id} {key}")[:32]


def _queue(kind: str) -> Queue:
    row = KINDS.get(kind)
    return row.queue if row is not None else "quick"


def _shown(row: Any, note: JobNote | None, alive: set[str]) -> Job:
    kind, text = row.input["args"]
    wish = Doing.model_validate_json(text)
    note = note or JobNote(job_id=row.workflow_id)
    state = _STATES[row.status]
    if state == "failed" and note.retry_at is not None:
        state = "waiting" if note.doing is None else "queued"  # somebody is putting it back in its queue
    if state == "running" and row.executor_id not in alive:
        state = "queued"  # its process ended: another one takes it over
    runs = state == "running"
    told = state in ("failed", "waiting") or (note.attempt > 1 and state in ("queued", "running"))
    reason = _DIED if row.status == "MAX_RECOVERY_ATTEMPTS_EXCEEDED" else note.reason if told else None
    return Job(
        id=row.workflow_id,
        kind=kind,
        state=state,
        asked=wish.asked,
        by=wish.actor.name,
        asked_at=_time(row.created_at),
        ended_at=_time(row.completed_at) if state in ("done", "failed", "cancelled") else None,
        attempt=note.attempt,
        doing=note.doing if runs else None,
        share=note.share if runs else None,
        reason=reason,
        retry_at=note.retry_at if state == "waiting" else None,
        result=json.loads(row.output) if state == "done" else None,
    )


def _time(epoch_ms: int | None) -> datetime | None:
    return datetime.fromtimestamp(epoch_ms / 1000, UTC) if epoch_ms is not None else None
