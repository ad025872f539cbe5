"""Signs of life of the processes that do background work, and notes on jobs: how far one is, why it failed, when it goes on.

What is to be done, and what of it is done, the engine of `pipeline.jobs` keeps; what comes of it is kept as everything else.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Table, delete, select, update
from sqlalchemy.dialects import postgresql, sqlite

from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.model import Identifier
from pipeline.store.stamps import stamp
from pipeline.store.tables import job_note, worker


class Worker(Frozen):
    """A process that does background work. `beat` counts up while it lives, and is null once it ended in order."""

    id: str
    place: str
    beat: int | None


class JobNote(Frozen):
    """What is known of a job beside its state: which attempt, what it does, how far it is (0 to 1), what went wrong."""

    job_id: Identifier
    attempt: int = 1
    doing: str | None = None
    share: float | None = None
    reason: str | None = None
    retry_at: datetime | None = None


def beat_worker(database: Database, alive: Worker) -> None:
    """Keep a worker's sign of life."""
    with database.writing() as connection:
        _put(connection, worker, "id", alive.model_dump())


def forget_worker(database: Database, gone: Worker) -> None:
    """Remove a worker that ended or died, unless it gave a sign of life since it was read as `gone`."""
    with database.writing() as connection:
        connection.execute(
            delete(worker).where(worker.c.id == gone.id, worker.c.beat.is_not_distinct_from(gone.beat))
        )


def workers(database: Database) -> tuple[Worker, ...]:
    """All workers that were not forgotten."""
    with database.reading() as connection:
        rows = connection.execute(select(worker).order_by(worker.c.id)).all()
    return tuple(Worker.model_validate(dict(row._mapping)) for row in rows)


def note_job(database: Database, note: JobNote) -> None:
    """Keep what is known of a job now, in place of what was."""
    values = note.model_dump()
    values["retry_at"] = stamp(note.retry_at) if note.retry_at is not None else None
    with database.writing() as connection:
        _put(connection, job_note, "job_id", values)


def job_notes(database: Database, job_ids: Iterable[str]) -> dict[str, JobNote]:
    """What is known of jobs, by their identifiers; a job without a note is left out."""
    with database.reading() as connection:
        rows = connection.execute(select(job_note).where(job_note.c.job_id.in_(tuple(job_ids)))).all()
    return {row.job_id: _note(row) for row in rows}


def due_jobs(database: Database, at: datetime) -> tuple[JobNote, ...]:
    """Notes on jobs whose next attempt is due."""
    with database.reading() as connection:
        rows = connection.execute(
            select(job_note).where(job_note.c.retry_at <= stamp(at)).order_by(job_note.c.retry_at)
        ).all()
    return tuple(_note(row) for row in rows)


def claim_attempt(database: Database, note: JobNote, until: datetime) -> bool:
    """Take it on to begin the attempt that is due; another may when that was not done `until` then. False: somebody else did.

    That it does something tells it from a job whose next attempt has its time.
    """
    if note.retry_at is None:
        return False
    with database.writing() as connection:
        done = connection.execute(
            update(job_note)
            .where(job_note.c.job_id == note.job_id, job_note.c.retry_at == stamp(note.retry_at))
            .values(retry_at=stamp(until), doing="beginning again")
        )
    return done.rowcount == 1


def end_wait(database: Database, job_id: str) -> None:
    """Keep that a job waits for no further attempt."""
    with database.writing() as connection:
        connection.execute(update(job_note).where(job_note.c.job_id == job_id).values(retry_at=None))


def forget_notes(database: Database, job_ids: Iterable[str]) -> None:
    """Remove the notes on jobs that are no more."""
    gone = tuple(job_ids)
    if not gone:
        return
    with database.writing() as connection:
        connection.execute(delete(job_note).where(job_note.c.job_id.in_(gone)))


def _note(row: Any) -> JobNote:
    values = dict(row._mapping)
    if row.retry_at is not None:
        values["retry_at"] = datetime.fromisoformat(row.retry_at)
    return JobNote.model_validate(values)


def _put(connection: Connection, table: Table, key: str, values: dict[str, Any]) -> None:
    """Insert a row, or change the one of that key: one statement, so that nobody comes between."""
    put = sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
    others = {name: value for name, value in values.items() if name != key}
    connection.execute(put(table).values(**values).on_conflict_do_update(index_elements=[key], set_=others))
