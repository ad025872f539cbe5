"""Does the jobs that the engine gives this process: steps, progress, failures, and stopping in order."""

from __future__ import annotations

import json
import logging
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from lexicon import LexiconError
from models import ModelError
from pipeline.capture import CaptureError
from pipeline.filing import FilingError
from pipeline.jobs.engine import Engine, failure, is_failure, plain, run_step
from pipeline.jobs.kinds import KINDS
from pipeline.jobs.model import JobsError
from pipeline.jobs.work import LaterError, Work
from pipeline.settings import Settings
from pipeline.speech import SpeechError
from pipeline.speech.model import Frozen
from pipeline.store import Actor, Database, DatabaseError, SoundUnreachableError, StoreError
from pipeline.store.stamps import now
from pipeline.store.workers import JobNote, job_notes, note_job

_log = logging.getLogger("rostral.jobs")

Written = TypeVar("Written")

_TOLD = (StoreError, CaptureError, SpeechError, ModelError, LexiconError, FilingError, JobsError, LaterError)
"""Errors whose messages are written for users."""

_MAY_PASS = (DatabaseError, SoundUnreachableError, LaterError, OSError, MemoryError)
"""Failures that another attempt, after a while, may not meet."""

_PERSIST_EVERY_S = 2.0
_MOST_ENDED = 1000
"""Ends of jobs that are remembered for whoever shows them."""


class Doing(Frozen):
    """What is kept of a wish: who asked, as they were then, and for what."""

    actor: Actor
    asked: dict[str, Any]


class _StepError(Exception):
    def __init__(self, reason: str, after_s: float | None, *, may_pass: bool) -> None:
        super().__init__(reason)
        self.reason, self.after_s, self.may_pass = reason, after_s, may_pass


class _Left(BaseException):
    """The job is not this process's any more, or the process stops: no failure, and nothing of it is kept."""


@dataclass
class _Shown:
    kind: str
    doing: str = ""
    share: float | None = None


class Doings:
    """What this process does. `stop` lets steps that run end; what waits behind them stands still until `release`."""

    def __init__(self, database: Database, settings: Settings, recordings: Path, engine: Engine) -> None:
        self._database = database
        self._settings = settings
        self._recordings = recordings
        self._engine = engine
        self._changed = threading.Condition()
        self._in_steps = 0
        self._stopping = False
        self._released = threading.Event()
        self._shown: dict[str, _Shown] = {}
        self._ended: deque[tuple[str, str, str]] = deque(maxlen=_MOST_ENDED)

    def open(self) -> None:
        """Make ready to do jobs, again after a stop."""
        self._stopping = False
        self._released.clear()

    def stop(self) -> None:
        """Begin no step any more, and wait for those that run."""
        with self._changed:
            self._stopping = True
            self._changed.wait_for(lambda: self._in_steps == 0)

    def release(self) -> None:
        """Let go of jobs that stand still: the engine must be gone, or it would hear of it."""
        self._released.set()

    def now(self) -> dict[str, tuple[str, str, float | None]]:
        """Of each job that is done now: kind, step and share."""
        return {job: (one.kind, one.doing, one.share) for job, one in list(self._shown.items())}

    def ended(self) -> Iterator[tuple[str, str, str]]:
        """Jobs whose attempt ended since the last call: identifier, kind, and how, in words."""
        while self._ended:
            yield self._ended.popleft()

    def do(self, job_id: str, kind: str, asked: str) -> str:
        """Do a job that the engine gave. See `engine.Hands`."""
        self._go_on_or_leave()
        row = KINDS.get(kind)
        note = self._begun(job_id)
        self._shown[job_id] = _Shown(kind)
        try:
            if row is None:
                raise JobsError(
                    f"This version of Rostral knows no job {kind!r}: install the one that it is of."
                )
            wish = Doing.model_validate_json(asked)
            running = _Running(self, job_id, note)
            work = Work(running, job_id, wish.actor, self._database, self._settings, self._recordings)
            result = json.dumps(plain(row.run(work, row.asked.model_validate(wish.asked))))
            self._ended.append((job_id, kind, "done"))
            return result
        except Exception as error:  # noqa: BLE001 - whatever went wrong becomes the job's reason
            self._failed(note, kind, error, row.waits_s if row is not None else ())
        finally:
            self._shown.pop(job_id, None)

    def step(self, note: JobNote, doing: str, function: Callable[[], Any]) -> Any:
        """Do a step of a job."""
        self._show(note, doing, None)

        def enveloped() -> dict[str, Any]:
            try:
                return {"value": plain(function())}
            except Exception as error:  # noqa: BLE001 - kept as the step's answer: see the engine
                failed = _as_failure(error)
                return failure(failed.reason, failed.after_s, may_pass=failed.may_pass)

        with self._in_step():
            answer = run_step(doing, enveloped)
        if is_failure(answer):
            raise _StepError(answer["failed"], answer["after_s"], may_pass=answer["may_pass"])
        return answer["value"]

    def tell(self, note: JobNote, doing: str, share: float) -> None:
        """Keep how far a step is; leave it when the job was cancelled or is another process's."""
        try:
            self._show(note, doing, share)
            if not self._engine.is_ours(note.job_id):
                raise _Left
        except DatabaseError:
            return  # a sign that is not kept must not end the work

    def _show(self, note: JobNote, doing: str, share: float | None) -> None:
        shown = self._shown.get(note.job_id)
        if shown is not None:
            shown.doing, shown.share = doing, share
        note_job(self._database, note.model_copy(update={"doing": doing, "share": share}))

    @contextmanager
    def _in_step(self) -> Iterator[None]:
        self._go_on_or_leave()
        with self._changed:
            self._in_steps += 1
        try:
            yield
        finally:
            with self._changed:
                self._in_steps -= 1
                self._changed.notify_all()

    def _go_on_or_leave(self) -> None:
        """Stand still once the process stops. Ending at once would make room for the engine to give the next job."""
        with self._changed:
            stopping = self._stopping
        if stopping:
            self._released.wait()
            raise _Left

    def _begun(self, job_id: str) -> JobNote:
        """The job's note at its beginning: a time to go on at tells that this is the attempt it stood for."""

        def begin() -> JobNote:
            note = job_notes(self._database, [job_id]).get(job_id, JobNote(job_id=job_id))
            attempt = note.attempt + (note.retry_at is not None)
            begun = JobNote(job_id=job_id, attempt=attempt, reason=note.reason)
            note_job(self._database, begun)
            return begun

        return self._persist(begin)

    def _failed(self, note: JobNote, kind: str, error: Exception, waits_s: tuple[float, ...]) -> NoReturn:
        failed = error if isinstance(error, _StepError) else _as_failure(error)
        retry_at = None
        if failed.may_pass and note.attempt <= len(waits_s):
            wait_s = failed.after_s if failed.after_s is not None else waits_s[note.attempt - 1]
            retry_at = now() + timedelta(seconds=wait_s)
        told = JobNote(job_id=note.job_id, attempt=note.attempt, reason=failed.reason, retry_at=retry_at)
        self._persist(lambda: note_job(self._database, told))
        again = f", tried again at {retry_at.astimezone():%H:%M:%S}" if retry_at is not None else ""
        self._ended.append((note.job_id, kind, f"failed{again}: {failed.reason}"))
        raise RuntimeError(failed.reason) from None

    def _persist(self, write: Callable[[], Written]) -> Written:
        """Write what must not be lost, however long the database is away."""
        while True:
            self._go_on_or_leave()
            try:
                return write()
            except DatabaseError:
                self._released.wait(_PERSIST_EVERY_S)


class _Running:
    """One job that runs: see `work.Running`."""

    def __init__(self, doings: Doings, job_id: str, note: JobNote) -> None:
        self._doings = doings
        self._note = note

    def step(self, doing: str, function: Callable[[], Any]) -> Any:
        return self._doings.step(self._note, doing, function)

    def tell(self, doing: str, share: float) -> None:
        self._doings.tell(self._note, doing, share)


def _as_failure(error: Exception) -> _StepError:
    if isinstance(error, _TOLD):
        reason = str(error)
    elif isinstance(error, OSError):
        reason = f"{error.filename or 'A file'} cannot be used: {error.strerror or error}."
    elif isinstance(error, MemoryError):
        reason = "This machine has too little memory free for it."
    else:
        _log.warning("a job failed", exc_info=error)
        said = (str(error).strip().splitlines() or ["no message"])[0]
        reason = f"Internal error ({type(error).__name__}: {said}). This is a fault of the program: please report it."
    after_s = error.after_s if isinstance(error, LaterError) else None
    return _StepError(reason, after_s, may_pass=isinstance(error, _MAY_PASS))
