"""Signs of life: gives this process's own, and takes over the jobs of processes that give none any more.

No clocks are compared: a process counts as dead when its count stood still for a while by this process's own watch, looked at
without a gap. After a gap, as when the database was away or the machine slept, everybody is given the whole while again. A process
that ended in order says so, and its jobs are taken over at once.
"""

from __future__ import annotations

import platform
import threading
import time
from collections.abc import Callable
from datetime import timedelta

from pipeline.jobs.engine import Engine
from pipeline.store import Database, DatabaseError
from pipeline.store.stamps import now
from pipeline.store.workers import (
    JobNote,
    Worker,
    beat_worker,
    claim_attempt,
    due_jobs,
    forget_notes,
    forget_worker,
    workers,
)

_CLAIMED = timedelta(seconds=60)
"""How long a process has for putting a job that is due back in its queue, before another may."""

_MOST_WAIT_S = 30.0

KEPT_FOR = timedelta(days=30)
"""How long a job that ended can be looked at. What its steps answered holds spoken words, which are the record's to keep."""

_FORGOTTEN_AT_ONCE = 20


class Watch:
    """Watches in a thread of its own from `begin` to `end`."""

    def __init__(
        self,
        database: Database,
        engine: Engine,
        beat_s: float,
        dead_after_s: float,
        go_on: Callable[[JobNote], None],
    ) -> None:
        """`go_on` puts a job whose next attempt is due back in its queue."""
        self.trouble: str | None = None
        self._database = database
        self._engine = engine
        self._beat_s = beat_s
        self._dead_after_s = dead_after_s
        self._go_on = go_on
        self._me: Worker | None = None
        self._ends = threading.Event()
        self._thread: threading.Thread | None = None
        self._seen: dict[str, tuple[int | None, float]] = {}
        self._looked_at = float("-inf")

    def begin(self, executor: str) -> None:
        """Give signs of life under that name. Raises DatabaseError."""
        self._me = Worker(id=executor, place=f"{platform.node()} ({platform.system()})", beat=0)
        beat_worker(self._database, self._me)
        self._ends.clear()
        self._thread = threading.Thread(target=self._run, name="jobs-watch", daemon=True)
        self._thread.start()

    def end(self) -> None:
        """Say that this process ended in order: what it left is there for others at once."""
        if self._thread is None or self._me is None:
            return
        self._ends.set()
        self._thread.join()
        self._thread = None
        try:
            beat_worker(self._database, self._me.model_copy(update={"beat": None}))
        except DatabaseError:
            return  # then the others find out by its silence

    def _run(self) -> None:
        wait_s = self._beat_s
        while not self._ends.wait(wait_s):
            try:
                self._beat()
                self._take_over()
                self._try_again()
                self._forget()
            except Exception as error:  # noqa: BLE001 - whatever happens, it goes on: others would take it for dead
                known = isinstance(error, DatabaseError)
                self.trouble = str(error) if known else f"Internal error ({type(error).__name__}: {error})."
                wait_s = min(wait_s * 2, _MOST_WAIT_S)
            else:
                self.trouble, wait_s = None, self._beat_s

    def _beat(self) -> None:
        if self._me is not None:
            self._me = self._me.model_copy(update={"beat": (self._me.beat or 0) + 1})
            beat_worker(self._database, self._me)

    def _take_over(self) -> None:
        for dead in self._dead():
            self._engine.take_over(dead.id)
            forget_worker(self._database, dead)

    def _dead(self) -> list[Worker]:
        """Processes that ended or whose count stood still too long, those of which nothing but their jobs is known too."""
        known = {worker.id: worker for worker in workers(self._database)}
        for executor in self._engine.executors_at_work():
            known.setdefault(executor, Worker(id=executor, place="", beat=0))
        looked_at = time.monotonic()
        if looked_at - self._looked_at > self._dead_after_s / 2 + self._beat_s:
            self._seen = {}
        self._looked_at = looked_at
        seen = {}
        for worker in known.values():
            before = self._seen.get(worker.id)
            same = before is not None and before[0] == worker.beat
            seen[worker.id] = before if same and before is not None else (worker.beat, looked_at)
        self._seen = seen
        mine = self._me.id if self._me is not None else None
        return [
            worker
            for worker in known.values()
            if worker.id != mine
            and (worker.beat is None or looked_at - seen[worker.id][1] >= self._dead_after_s)
        ]

    def _try_again(self) -> None:
        for note in due_jobs(self._database, now()):
            if claim_attempt(self._database, note, now() + _CLAIMED):
                self._go_on(note)

    def _forget(self) -> None:
        """Forget what ended long ago, a few at each beat: the notes first, for they are found by the jobs alone."""
        gone = self._engine.ended(now() - KEPT_FOR, _FORGOTTEN_AT_ONCE)
        if gone:
            forget_notes(self._database, gone)
            self._engine.forget(gone)
