"""The engine of durable work: DBOS, which keeps what is to be done and which steps are done, and gives jobs to processes.

It keeps its tables beside the practice's: in a file of their own next to an SQLite database, in a schema of their own on
PostgreSQL. Everything that depends on its ways stands in this module:

- Its application version is fixed here. It would be a checksum of the code otherwise, and work begun before an update would wait
  for ever.
- Each process has an executor id of its own: two of one name would do a step twice at once.
- A step answers with its value or its failure in an envelope; nothing is raised through the engine but what stops a process,
  which it leaves as it was: running, for another process to take over.
- What it logs is for its makers; it is kept from the user's screen unless ROSTRAL_DEBUG is set.
"""

from __future__ import annotations

import json
import logging
import os
import secrets
import socket
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from typing import Any, Protocol, TypeVar

from dbos import DBOS, DBOSClient, DBOSConfig, DBOSPortableJSONSerializer, WorkflowStatus
from dbos import error as dbos_error
from sqlalchemy.exc import DBAPIError

from pipeline.jobs.model import JobsError
from pipeline.jobs.work import Queue
from pipeline.settings import DEBUG_VARIABLE
from pipeline.store import Database, DatabaseError

_VERSION = "1"
"""Raised when a job begun by an older program cannot be gone on with: when a kind's steps change their order or answers."""

Answer = TypeVar("Answer")

_NAME = "rostral"
_SCHEMA = "rostral_jobs"
_WORKFLOW = "job"
_AT_ONCE: dict[Queue, int] = {"slow": 1, "quick": 2, "outgoing": 2}
"""How many jobs of a queue a process does at once: one that uses all cores, or two small ones."""

_POLL_S = 0.25
_MOST_DEATHS = 8
"""How many processes may die of a job, or end while they do it, before it counts as failed."""


class Hands(Protocol):
    """What does a job when the engine gives it: its kind, what was asked as JSON; answers its result as JSON."""

    def do(self, job_id: str, kind: str, asked: str) -> str:
        """Do it. Raises an Exception for a failure, another BaseException to leave it running for somebody else."""


_hands: Hands | None = None


@DBOS.workflow(name=_WORKFLOW, max_recovery_attempts=_MOST_DEATHS)
def _job(kind: str, asked: str) -> str:
    if _hands is None or DBOS.workflow_id is None:
        raise RuntimeError("the engine gave a job to a process that does none")
    return _hands.do(DBOS.workflow_id, kind, asked)


def run_step(name: str, function: Callable[[], Any]) -> Any:
    """Within a job: do a step and keep its answer, or give the kept one. Raises what is no Exception only."""
    return DBOS.run_step({"name": name}, function)


class Engine:
    """The engine's tables: what was asked for, and what became of it. `begin` makes this process do jobs, too."""

    def __init__(self, database: Database) -> None:
        """Open the tables, making them where they are not. Raises DatabaseError."""
        _quieten()
        self._place = _place_of(database)
        self._shown = database.shown
        self._works = False
        try:
            DBOS.migrate(self._place, schema=_SCHEMA)
            self._client = DBOSClient(
                system_database_url=self._place,
                dbos_system_schema=_SCHEMA,
                serializer=DBOSPortableJSONSerializer(),
                application_name=_NAME,
                retry_connection_errors=False,
            )
        except Exception as error:
            raise self._unusable(error) from error

    def close(self) -> None:
        """Let go of all connections."""
        self._client.destroy()

    def begin(self, hands: Hands, queues: Sequence[Queue] | None = None) -> str:
        """Do jobs in this process from now on, of some queues or of all; gives the executor id.

        One engine works in a process. Raises JobsError.
        """
        global _hands  # noqa: PLW0603 - the engine itself is one for the process
        if _hands is not None:
            raise JobsError("This process does background work already, of another database.")
        executor = f"{socket.gethostname()[:40]}-{os.getpid()}-{secrets.token_hex(4)}"
        _hands = hands
        try:
            DBOS(config=self._config(executor))
            if queues is not None:
                DBOS.listen_queues(queues)
            DBOS.launch()
            for queue, at_once in _AT_ONCE.items():
                DBOS.register_queue(
                    queue,
                    worker_concurrency=at_once,
                    polling_interval_sec=_POLL_S,
                    on_conflict="always_update",
                )
        except Exception as error:
            _hands = None
            DBOS.destroy()
            raise self._unusable(error) from error
        self._works = True
        return executor

    def stop(self) -> None:
        """Take no more jobs. Steps that run must have ended: their answers would be kept by nobody."""
        global _hands
        if self._works:
            DBOS.destroy()
            _hands, self._works = None, False

    def enqueue(self, job_id: str, kind: str, asked: str, queue: Queue, whose: str) -> None:
        """Put a job in a queue; `whose` it is it can be listed by. One of that identifier that is there already stays as it is."""
        self._asked(
            lambda: self._client.enqueue(
                {
                    "workflow_name": _WORKFLOW,
                    "queue_name": queue,
                    "workflow_id": job_id,
                    "authenticated_user": whose,
                },
                kind,
                asked,
            )
        )

    def found(self, job_ids: Iterable[str]) -> list[WorkflowStatus]:
        """The jobs of those identifiers that there are."""
        wanted = list(job_ids)
        if not wanted:
            return []  # the engine takes an empty list for no condition
        return self._asked(lambda: self._client.list_workflows(workflow_ids=wanted))

    def listed(self, whose: str, states: Iterable[str] | None, limit: int) -> list[WorkflowStatus]:
        """Somebody's jobs in those states of the engine, the newest first."""
        among = list(states) if states is not None else None
        return self._asked(
            lambda: self._client.list_workflows(
                name=_WORKFLOW, user=whose, status=among, limit=limit, sort_desc=True
            )
        )

    def begun(self, whose: str, beginning: str) -> list[str]:
        """Identifiers of somebody's jobs that begin so, two at most."""
        rows = self._asked(
            lambda: self._client.list_workflows(
                user=whose, workflow_id_prefix=beginning, limit=2, load_input=False, load_output=False
            )
        )
        return [row.workflow_id for row in rows]

    def is_busy(self) -> bool:
        """Whether anything is queued or running."""
        return bool(
            self._asked(
                lambda: self._client.list_workflows(
                    name=_WORKFLOW,
                    status=["ENQUEUED", "DELAYED", "PENDING"],
                    limit=1,
                    load_input=False,
                    load_output=False,
                )
            )
        )

    def executors_at_work(self) -> set[str]:
        """Executor ids of processes that have a job, dead or alive."""
        pending = self._asked(
            lambda: self._client.list_workflows(
                name=_WORKFLOW, status="PENDING", load_input=False, load_output=False
            )
        )
        return {status.executor_id for status in pending if status.executor_id}

    def is_ours(self, job_id: str) -> bool:
        """Whether this process is the one that does a job, and nobody cancelled it."""
        return any(
            status.status == "PENDING" and status.executor_id == DBOS.executor_id
            for status in self.found([job_id])
        )

    def take_over(self, executor: str) -> int:
        """Put the jobs of a process that died back in their queues; gives how many. Done twice, it does nothing twice."""
        # The engine has no public name for it outside its paid service; the version of the library is pinned.
        return len(self._asked(lambda: DBOS._recover_pending_workflows([executor])))

    def cancel(self, job_id: str) -> None:
        """Let nobody begin or go on with a job; one that ended stays as it is."""
        self._asked(lambda: self._client.cancel_workflow(job_id))

    def again(self, job_id: str, queue: Queue) -> bool:
        """Go on with a job that ended without success, from the step that failed; false if it has not ended."""

        def rewind() -> bool:
            steps = self._client.list_workflow_steps(job_id)
            last = steps[-1] if steps else None
            failed = last is not None and (last["error"] is not None or is_failure(last["output"]))
            start = len(steps) if failed else len(steps) + 1
            try:
                self._client.rewind_workflow(
                    job_id, start_step=start, queue_name=queue, application_version=_VERSION
                )
            except dbos_error.DBOSException:
                return False
            return True

        return self._asked(rewind)

    def ended(self, before: datetime, at_most: int) -> list[str]:
        """Identifiers of jobs that ended before, so many at most."""

        def look() -> list[str]:
            ended = self._client.list_workflows(
                name=_WORKFLOW,
                status=["SUCCESS", "ERROR", "MAX_RECOVERY_ATTEMPTS_EXCEEDED", "CANCELLED"],
                completed_before=before.isoformat(),
                limit=at_most,
                load_input=False,
                load_output=False,
            )
            return [status.workflow_id for status in ended]

        return self._asked(look)

    def forget(self, job_ids: list[str]) -> None:
        """Remove these jobs with all that their steps answered."""
        self._asked(lambda: self._client.delete_workflows(job_ids))

    def _config(self, executor: str) -> DBOSConfig:
        return {
            "name": _NAME,
            "system_database_url": self._place,
            "dbos_system_schema": _SCHEMA,
            "application_version": _VERSION,
            "executor_id": executor,
            "serializer": DBOSPortableJSONSerializer(),
            "enable_otlp": False,
            "log_level": "WARNING",
        }

    def _asked(self, ask: Callable[[], Answer]) -> Answer:
        try:
            return ask()
        except DBAPIError as error:
            raise self._unusable(error) from error

    def _unusable(self, error: Exception) -> DatabaseError:
        cause = str(getattr(error, "orig", None) or error).strip().splitlines()
        said = cause[0] if cause else type(error).__name__
        return DatabaseError(
            f"The jobs of {self._shown} cannot be reached: {said}. Check that the database is there and that you"
            " may use it; nothing that was asked for is lost."
        )


def failure(reason: str, after_s: float | None, *, may_pass: bool) -> dict[str, Any]:
    """The envelope of a step that failed."""
    return {"failed": reason, "after_s": after_s, "may_pass": may_pass}


def is_failure(answer: object) -> bool:
    """Whether an envelope is of a step that failed."""
    return isinstance(answer, dict) and "failed" in answer


def plain(value: object) -> Any:
    """A value as its JSON reads, so that a step's answer is the same now and when it is read again."""
    return json.loads(json.dumps(value, allow_nan=False))


def _place_of(database: Database) -> str:
    url = database.engine.url
    if database.is_sqlite:
        file = url.database or ""
        stem, _, ending = file.rpartition(".")
        url = url.set(database=f"{stem}.jobs.{ending}" if stem else f"{file}.jobs")
    return url.render_as_string(hide_password=False)


def _quieten() -> None:
    log = logging.getLogger("dbos")
    if os.environ.get(DEBUG_VARIABLE, "") in ("", "0") and not log.handlers:
        log.addHandler(logging.NullHandler())
        log.propagate = False
