"""`rostral worker`: does background work until it is ended, and shows what it does."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from rich.progress import BarColumn, Progress, TaskID, TextColumn
from sqlalchemy.exc import OperationalError

from pipeline.cli.keeping import open_database, usual_recordings
from pipeline.cli.screen import complain, messages, output, remark
from pipeline.jobs import Jobs
from pipeline.settings import Settings
from pipeline.store import Database, DatabaseError

_LOOK_S = 0.5
_FIRST_WAIT_S = 5.0
_MOST_WAIT_S = 60.0
_BEATS = 5
"""Signs of life within the silence after which a worker counts as dead."""


def work(settings: Settings, silence_s: float, *, once: bool) -> None:
    """Do jobs until a signal comes, or nothing is left if `once`. Raises WorkError, DatabaseError."""
    with _ending() as ends, _reached(settings, ends) as database:
        if database is None:
            return
        jobs = Jobs(
            database,
            settings,
            usual_recordings(settings),
            beat_s=silence_s / _BEATS,
            dead_after_s=silence_s,
        )
        try:
            jobs.begin()
            remark(f"Working for {database.shown}. Ctrl-C ends it after the step that runs.")
            with _Board(jobs) as board:
                while not ends.wait(_LOOK_S) and not (once and jobs.idle()):
                    board.look()
            if ends.is_set():
                remark(
                    "Ending after the step that runs; a second Ctrl-C ends at once. Nothing is lost either way."
                )
        finally:
            jobs.close()
        _tell_ended(jobs)


@contextmanager
def _ending() -> Iterator[threading.Event]:
    """Set by the first Ctrl-C or SIGTERM; the second ends the process as it always would."""
    ends = threading.Event()
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}

    def end(number: int, _: FrameType | None) -> None:
        ends.set()
        signal.signal(number, signal.SIG_DFL)

    for number in before:
        signal.signal(number, end)
    try:
        yield ends
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def _reached(settings: Settings, ends: threading.Event) -> Iterator[Database | None]:
    """The database, waited for while its server is away; null when the worker is ended before."""
    wait_s = _FIRST_WAIT_S
    while True:
        opened = open_database(settings)
        try:
            database = opened.__enter__()
            break
        except DatabaseError as error:
            if not isinstance(error.__cause__, OperationalError):
                raise
            complain(f"{error} Trying again in {wait_s:.0f} s.")
        if ends.wait(wait_s):
            yield None
            return
        wait_s = min(wait_s * 2, _MOST_WAIT_S)
    try:
        yield database
    finally:
        opened.__exit__(None, None, None)


class _Board:
    """Shows what is done now as bars in a terminal, and each job that ended as a line."""

    def __init__(self, jobs: Jobs) -> None:
        self._jobs = jobs
        console = messages()
        self._bars = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            TextColumn("{task.percentage:>3.0f} %"),
            console=console,
            transient=True,
            disable=not console.is_terminal,
        )
        self._tasks: dict[str, TaskID] = {}
        self._trouble: str | None = None

    def __enter__(self) -> _Board:
        self._bars.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._bars.stop()

    def look(self) -> None:
        """Show what changed since the last look."""
        now = self._jobs.doing
        for job_id in self._tasks.keys() - now.keys():
            self._bars.remove_task(self._tasks.pop(job_id))
        for job_id, (kind, doing, share) in now.items():
            if job_id not in self._tasks:
                self._tasks[job_id] = self._bars.add_task("", total=None)
            self._bars.update(
                self._tasks[job_id],
                description=f"{job_id[:12]} {kind}: {doing}",
                completed=share or 0,
                total=1 if share is not None else None,
            )
        _tell_ended(self._jobs)
        trouble = self._jobs.trouble
        if trouble != self._trouble:
            if trouble is not None:
                complain(f"{trouble} Trying again until it is back.")
            else:
                remark("The database is back.")
            self._trouble = trouble


def _tell_ended(jobs: Jobs) -> None:
    for job_id, kind, how in jobs.ended():
        output().print(f"{job_id} {kind}: {how}", soft_wrap=True)
