"""The commands that ask for background work."""

from __future__ import annotations

from pathlib import Path

from pipeline.capture import read_audio
from pipeline.cli.backups import usual_backup
from pipeline.cli.border import CallError
from pipeline.cli.choosing import choose_patient, choose_record
from pipeline.cli.inputs import read_visit, require_file
from pipeline.cli.job_views import open_jobs
from pipeline.cli.keeping import usual_recordings
from pipeline.cli.screen import output, remark
from pipeline.jobs import BackUp, Job, Print, Reread, Transcribe
from pipeline.settings import Settings
from pipeline.store import add_recording, keep_sound, open_visit
from pipeline.store.stamps import now


def transcribe(settings: Settings, audio: Path, patient: str, kind: str | None, day: str | None) -> None:
    """Keep a recording with a new visit of the patient, and ask for its record."""
    require_file(audio)
    visit = read_visit(kind, day)
    duration_s = read_audio(audio).duration_s
    with open_jobs(settings) as (books, jobs):
        kept = choose_patient(books, patient)
        path, sha256 = keep_sound(audio, usual_recordings(settings))
        opened = open_visit(books.database, books.actor, kept.id, visit.kind, books.at(), on=visit.on)
        recording = add_recording(
            books.database, books.actor, opened.id, path, sha256, duration_s, books.at()
        )
        wish = Transcribe(recording_id=recording.id)
        _say(jobs.submit(books.actor, "transcribe", wish, key=f"transcribe {recording.id}"))


def reread(settings: Settings, *, drafts: bool) -> None:
    """Ask for all signed transcripts to be understood anew."""
    with open_jobs(settings) as (books, jobs):
        _say(jobs.submit(books.actor, "reread", Reread(drafts=drafts)))


def print_records(settings: Settings, given: list[str]) -> None:
    """Ask for the documents of signed records."""
    with open_jobs(settings) as (books, jobs):
        chosen = tuple(choose_record(books, one) for one in given)
        _say(jobs.submit(books.actor, "print", Print(record_ids=chosen)))


def backup(settings: Settings, folder: Path | None) -> None:
    """Ask for a backup in a new folder."""
    to = (folder or usual_backup(settings, now())).absolute()
    if to.exists():
        raise CallError(f"{to} is there already: name a new folder.")
    with open_jobs(settings) as (books, jobs):
        _say(jobs.submit(books.actor, "backup", BackUp(folder=str(to))))


def _say(job: Job) -> None:
    output().print(job.id)
    remark(f"A worker does it ('rostral worker' starts one). How far it is: rostral jobs show {job.id[:12]}")
