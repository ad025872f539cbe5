"""The commands that look at jobs: list, show, cancel, retry."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import cast, get_args

from pipeline.cli.border import CallError
from pipeline.cli.columns import show_facts, show_rows
from pipeline.cli.keeping import Books, open_books, usual_recordings
from pipeline.cli.screen import output, write_json
from pipeline.jobs import Job, Jobs, JobState
from pipeline.settings import Settings


@contextmanager
def open_jobs(
    settings: Settings, beat_s: float = 4.0, silence_s: float = 20.0
) -> Iterator[tuple[Books, Jobs]]:
    """The practice's books and the jobs of their database. Raises CallError, WorkError, StoreError."""
    with open_books(settings) as books:
        jobs = Jobs(
            books.database, settings, usual_recordings(settings), beat_s=beat_s, dead_after_s=silence_s
        )
        try:
            yield books, jobs
        finally:
            jobs.close()


def listed(settings: Settings, state: str | None, limit: int, *, as_json: bool) -> None:
    """List jobs, the newest first."""
    if state is not None and state not in get_args(JobState):
        raise CallError(f"There is no state {state!r}: give --state one of {', '.join(get_args(JobState))}.")
    wanted = None if state is None else [cast("JobState", state)]
    with open_jobs(settings) as (books, jobs):
        found = jobs.jobs(books.actor, wanted, limit)
    if as_json:
        write_json([job.model_dump(mode="json") for job in found])
        return
    show_rows(
        ("job", "kind", "state", "asked for", "by", ""),
        [(job.id, job.kind, job.state, time_text(job.asked_at), job.by, standing(job)) for job in found],
    )


def show(settings: Settings, which: str, *, as_json: bool) -> None:
    """Show one job."""
    with open_jobs(settings) as (books, jobs):
        job = jobs.job(books.actor, jobs.full_id(books.actor, which))
    if as_json:
        write_json(job.model_dump(mode="json"))
    else:
        _show(job)


def cancel(settings: Settings, which: str) -> None:
    """Let a job go no further."""
    with open_jobs(settings) as (books, jobs):
        _say(jobs.cancel(books.actor, jobs.full_id(books.actor, which)))


def retry(settings: Settings, which: str) -> None:
    """Do a job again."""
    with open_jobs(settings) as (books, jobs):
        _say(jobs.retry(books.actor, jobs.full_id(books.actor, which)))


def standing(job: Job) -> str:
    """How a job stands, in words: what it does and how far, or why it does not go on."""
    if job.state == "running" and job.doing is not None:
        return job.doing if job.share is None else f"{job.doing}, {job.share:.0%}"
    if job.state == "waiting" and job.retry_at is not None:
        return f"attempt {job.attempt} failed, next at {time_text(job.retry_at)}: {job.reason}"
    return (job.reason or "") if job.state in ("failed", "queued") else ""


def time_text(at: datetime) -> str:
    """A time as this machine's clock shows it: 2026-06-16 09:30:00."""
    return f"{at.astimezone():%Y-%m-%d %H:%M:%S}"


def _say(job: Job) -> None:
    output().print(f"{job.id} is {job.state}.")


def _show(job: Job) -> None:
    result = job.result or {}
    show_facts(
        [
            ("job", job.id),
            ("kind", job.kind),
            ("state", job.state),
            ("now", standing(job)),
            ("attempt", job.attempt if job.attempt > 1 else None),
            ("asked for", time_text(job.asked_at)),
            ("by", job.by),
            ("ended", time_text(job.ended_at) if job.ended_at is not None else None),
            *((name, value) for name, value in job.asked.items()),
            *((name, value) for name, value in result.items() if not isinstance(value, list)),
        ]
    )
    for line in result.get("changed", []):
        output().print()
        show_facts(
            [
                ("record", line["record"]),
                ("draft", line.get("draft")),
                *(("no more", fact) for fact in line["gone"]),
                *(("new", fact) for fact in line["new"]),
            ]
        )
