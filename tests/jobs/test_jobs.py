"""Jobs with the real recogniser on both databases: asked for, cancelled, failed, tried again; workers that share and die."""

from __future__ import annotations

import dataclasses
import signal
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from clinic import START, Clinic, cut, new_clinic, wait_until

from pipeline.jobs import KINDS, BackUp, Ended, Job, Jobs, JobsError, Print, Reread, Transcribe, watch
from pipeline.store import (
    Database,
    NotFoundError,
    audit,
    documents_of,
    events_of,
    found_practice,
    record_of,
    records_of,
    signed_version,
)
from pipeline.store.backup import backup_faults
from pipeline.store.stamps import now
from pipeline.store.tables import record
from pipeline.store.workers import job_notes, note_job, workers


@pytest.fixture
def clinic(database: Database, address: str | Path, tmp_path: Path) -> Iterator[Clinic]:
    made = new_clinic(database, address, tmp_path)
    yield made
    for worker in made.workers:
        if worker.poll() is None:
            worker.kill()
        worker.wait()


@pytest.fixture
def jobs(clinic: Clinic) -> Iterator[Jobs]:
    """The practice's jobs; this process does none until the test says so."""
    made = clinic.jobs()
    yield made
    made.close()


@pytest.fixture
def short_sound(samples: Path, tmp_path: Path) -> Path:
    """A few seconds of a dictation."""
    return cut(samples / "cat_terse.flac", tmp_path / "short.wav", 0, 6)


@pytest.fixture
def long_sound(samples: Path, tmp_path: Path) -> Path:
    """Enough for several signs of how far it is."""
    return cut(samples / "dog_chatty.flac", tmp_path / "long.wav", 0, 40)


def test_a_recording_becomes_a_draft_of_its_visit(clinic: Clinic, jobs: Jobs, short_sound: Path) -> None:
    recording = clinic.recorded(short_sound)
    asked = clinic.asked(jobs, recording)
    assert (asked.state, asked.by, asked.kind) == ("queued", "Ines Halloran", "transcribe")
    jobs.begin()
    wait_until(lambda: jobs.job(clinic.vet, asked.id).state == "done")
    done = jobs.job(clinic.vet, asked.id)
    assert done.result is not None
    kept = record_of(clinic.database, clinic.vet, done.result["record"])
    assert kept.visit_id == recording.visit_id
    assert kept.review is not None
    assert kept.review.original.transcript.text
    with clinic.database.reading() as connection:
        row = connection.execute(record.select()).one()
    assert (row.recording_id, row.origin) == (recording.id, asked.id)
    assert list(jobs.ended()) == [(asked.id, "transcribe", "done")]


def test_the_same_key_is_the_same_job(clinic: Clinic, jobs: Jobs, short_sound: Path) -> None:
    recording = clinic.recorded(short_sound)
    assert clinic.asked(jobs, recording).id == clinic.asked(jobs, recording).id
    assert len(jobs.jobs(clinic.vet)) == 1
    without = [jobs.submit(clinic.vet, "reread", Reread()) for _ in range(2)]
    assert without[0].id != without[1].id


def test_a_practice_sees_its_own_jobs_only(clinic: Clinic, jobs: Jobs) -> None:
    job = jobs.submit(clinic.vet, "reread", Reread())
    stranger = found_practice(clinic.database, "Beech Row Vets", "Perrin Vale", START)
    assert jobs.jobs(stranger) == ()
    for look in (jobs.job, jobs.cancel, jobs.retry, jobs.full_id):
        with pytest.raises(NotFoundError):
            look(stranger, job.id)


def test_a_wish_of_another_kind_is_refused(clinic: Clinic, jobs: Jobs) -> None:
    with pytest.raises(JobsError, match="no job 'reread' that is asked for so"):
        jobs.submit(clinic.vet, "reread", Transcribe(recording_id="0" * 32))
    with pytest.raises(JobsError, match="no job 'polish'"):
        jobs.submit(clinic.vet, "polish", Reread())


def test_what_cannot_be_done_fails_with_its_reason_and_is_done_after_repair(
    clinic: Clinic, jobs: Jobs, short_sound: Path
) -> None:
    recording = clinic.recorded(short_sound)
    file = clinic.recordings / recording.path
    whole = file.read_bytes()
    file.write_bytes(whole[:-1] + b"!")
    job = clinic.asked(jobs, recording)
    jobs.begin()
    wait_until(lambda: jobs.job(clinic.vet, job.id).state == "failed")
    reason = jobs.job(clinic.vet, job.id).reason
    assert reason is not None
    assert "is not what was kept" in reason
    file.write_bytes(whole)
    assert jobs.retry(clinic.vet, job.id).state in ("queued", "running", "done")
    wait_until(lambda: jobs.job(clinic.vet, job.id).state == "done")
    assert jobs.job(clinic.vet, job.id).reason is None
    with pytest.raises(JobsError, match="is done"):
        jobs.retry(clinic.vet, job.id)


def test_what_may_pass_is_tried_again_by_itself(
    clinic: Clinic, jobs: Jobs, short_sound: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder of recordings is away and comes back; the second attempt finds it.

    Its time comes when the folder is back, and not while a slow machine still looks at the first.
    """
    monkeypatch.setitem(KINDS, "transcribe", dataclasses.replace(KINDS["transcribe"], waits_s=(3600.0,)))
    job = clinic.asked(jobs, clinic.recorded(short_sound))
    away = clinic.recordings.with_name("away")
    clinic.recordings.rename(away)
    jobs.begin()
    wait_until(lambda: jobs.job(clinic.vet, job.id).state == "waiting")
    waiting = jobs.job(clinic.vet, job.id)
    assert waiting.retry_at is not None
    assert "cannot be read" in (waiting.reason or "")
    away.rename(clinic.recordings)
    (note,) = job_notes(clinic.database, [job.id]).values()
    note_job(clinic.database, note.model_copy(update={"retry_at": now()}))
    wait_until(lambda: jobs.job(clinic.vet, job.id).state == "done")
    assert jobs.job(clinic.vet, job.id).attempt == 2


def test_attempts_come_to_an_end(
    clinic: Clinic, jobs: Jobs, short_sound: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(KINDS, "transcribe", dataclasses.replace(KINDS["transcribe"], waits_s=(0.1, 0.1)))
    job = clinic.asked(jobs, clinic.recorded(short_sound))
    clinic.recordings.rename(clinic.recordings.with_name("away"))
    jobs.begin()
    wait_until(lambda: _state_and_attempt(jobs, clinic, job) == ("failed", 3))
    failed = jobs.job(clinic.vet, job.id)
    assert failed.retry_at is None
    assert "cannot be read" in (failed.reason or "")


def test_a_queued_job_is_cancelled_and_may_come_back(clinic: Clinic, jobs: Jobs, short_sound: Path) -> None:
    job = clinic.asked(jobs, clinic.recorded(short_sound))
    assert jobs.cancel(clinic.vet, job.id).state == "cancelled"
    with pytest.raises(JobsError, match="nothing to cancel"):
        jobs.cancel(clinic.vet, job.id)
    jobs.begin()
    jobs.retry(clinic.vet, job.id)
    wait_until(lambda: jobs.job(clinic.vet, job.id).state == "done")


def test_a_running_job_is_cancelled_within_its_step(clinic: Clinic, jobs: Jobs, long_sound: Path) -> None:
    job = clinic.asked(jobs, clinic.recorded(long_sound))
    jobs.begin()
    wait_until(lambda: jobs.job(clinic.vet, job.id).share is not None)
    jobs.cancel(clinic.vet, job.id)
    wait_until(lambda: jobs.doing == {})
    assert jobs.job(clinic.vet, job.id).state == "cancelled"
    assert records_of(clinic.database, clinic.vet) == ()


def test_what_ended_long_ago_is_forgotten_with_all_its_steps_said(
    clinic: Clinic, jobs: Jobs, short_sound: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = clinic.asked(jobs, clinic.recorded(short_sound))
    waiting = jobs.submit(clinic.vet, "reread", Reread())
    jobs.cancel(clinic.vet, waiting.id)
    jobs.begin()
    wait_until(lambda: jobs.job(clinic.vet, job.id).state == "done")
    monkeypatch.setattr(watch, "KEPT_FOR", timedelta(seconds=-5))
    wait_until(lambda: jobs.jobs(clinic.vet) == ())
    assert job_notes(clinic.database, [job.id]) == {}
    assert len(records_of(clinic.database, clinic.vet)) == 1


# --- other kinds -----------------------------------------------------------------------------------


def test_signed_transcripts_are_understood_anew_beside_what_was_signed(
    clinic: Clinic, jobs: Jobs, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A word of the practice's own, added later: it is told, a draft is made once, and nothing signed changes."""
    signed = clinic.signed("Left ear has gribbles. Eyes clear. Weight twelve kilos.")
    other = clinic.signed("Eyes clear. Heart rate ninety.")
    before = signed_version(clinic.database, clinic.vet, signed.id, 1, START)
    terms = tmp_path / "terms.toml"
    terms.write_text('[[wording]]\nof = "ear_wax"\nterms = ["gribbles"]\n', encoding="utf-8")
    monkeypatch.setenv("ROSTRAL_TERMS", str(terms))
    jobs.begin()
    told = jobs.submit(clinic.vet, "reread", Reread())
    wait_until(lambda: jobs.job(clinic.vet, told.id).state in Ended)
    result = jobs.job(clinic.vet, told.id).result
    assert result is not None, jobs.job(clinic.vet, told.id)
    assert (result["read"], [line["record"] for line in result["changed"]]) == (2, [signed.id])
    assert any("wax" in fact for fact in result["changed"][0]["new"])
    assert len(records_of(clinic.database, clinic.vet)) == 2
    kept = jobs.submit(clinic.vet, "reread", Reread(drafts=True))
    wait_until(lambda: jobs.job(clinic.vet, kept.id).state in Ended)
    (line,) = (jobs.job(clinic.vet, kept.id).result or {})["changed"]
    draft = record_of(clinic.database, clinic.vet, line["draft"])
    assert (draft.state, draft.visit_id) == ("draft", signed.visit_id)
    assert len(records_of(clinic.database, clinic.vet)) == 3
    assert signed_version(clinic.database, clinic.vet, signed.id, 1, START) == before
    assert record_of(clinic.database, clinic.vet, other.id) == other
    assert audit(clinic.database) == ()


def test_documents_are_made_and_kept_once(clinic: Clinic, jobs: Jobs) -> None:
    signed = clinic.signed("Left ear red. Eyes clear. Weight twelve kilos.")
    jobs.begin()
    for _ in range(2):
        job = jobs.submit(clinic.vet, "print", Print(record_ids=(signed.id,)))
        wait_until(lambda job=job: jobs.job(clinic.vet, job.id).state in Ended)  # type: ignore[misc]
        assert jobs.job(clinic.vet, job.id).state == "done", jobs.job(clinic.vet, job.id)
    papers = documents_of(clinic.database, clinic.vet, signed.id)
    assert [paper.kind for paper in papers] == ["record", "sheet"]
    assert all((clinic.recordings / paper.path).read_bytes().startswith(b"%PDF-") for paper in papers)


def test_a_backup_is_made_once(own_database: Database, tmp_path: Path) -> None:
    """On SQLite alone: what a backup holds, and PostgreSQL's, the tests of the store tell."""
    clinic = new_clinic(own_database, own_database.shown, tmp_path)
    jobs = clinic.jobs()
    folder = tmp_path / "backups" / "one"
    jobs.begin()
    for _ in range(2):
        job = jobs.submit(clinic.manager, "backup", BackUp(folder=str(folder)))
        wait_until(lambda job=job: jobs.job(clinic.manager, job.id).state in Ended)  # type: ignore[misc]
        assert jobs.job(clinic.manager, job.id).state == "done", jobs.job(clinic.manager, job.id)
    jobs.close()
    assert backup_faults(folder) == ()
    assert sum(event.action == "backup" for event in events_of(own_database, clinic.manager)) == 1


# --- processes of their own ------------------------------------------------------------------------


def test_two_workers_share_recordings_and_one_is_killed(
    clinic: Clinic, jobs: Jobs, samples: Path, tmp_path: Path
) -> None:
    """All are done, none twice: one record for each recording, and one event that tells of it."""
    number = 12
    sounds = [
        cut(samples / "cat_terse.flac", tmp_path / f"{at}.wav", at * 2, 3 + at % 3) for at in range(number)
    ]
    recordings = [clinic.recorded(sound) for sound in sounds]
    for recording in recordings:
        clinic.asked(jobs, recording)
    killed, other = clinic.start_worker(), clinic.start_worker()
    wait_until(lambda: len(_at_work(clinic)) == 2 and len(jobs.jobs(clinic.vet, ["done"])) >= 2)
    killed.kill()
    wait_until(lambda: len(jobs.jobs(clinic.vet, ["done"])) == number)
    assert other.poll() is None, clinic.logs()
    records = records_of(clinic.database, clinic.vet)
    assert len(records) == number
    assert {record.visit_id for record in records} == {recording.visit_id for recording in recordings}
    assert sum(event.action == "keep_record" for event in events_of(clinic.database, clinic.vet)) == number
    assert audit(clinic.database) == ()


def test_a_job_goes_on_after_its_only_worker_was_killed(clinic: Clinic, jobs: Jobs, long_sound: Path) -> None:
    job = clinic.asked(jobs, clinic.recorded(long_sound))
    first = clinic.start_worker()
    wait_until(lambda: jobs.job(clinic.vet, job.id).share is not None)
    first.kill()
    first.wait()
    assert jobs.job(clinic.vet, job.id).state == "running"
    clinic.start_worker("--once")
    wait_until(lambda: jobs.job(clinic.vet, job.id).state == "done")
    done = jobs.job(clinic.vet, job.id)
    assert done.result is not None
    assert record_of(clinic.database, clinic.vet, done.result["record"]).state == "draft"
    assert len(records_of(clinic.database, clinic.vet)) == 1


def test_a_worker_that_is_asked_to_end_finishes_its_step(
    clinic: Clinic, jobs: Jobs, long_sound: Path
) -> None:
    """It says that it ended, so that the next goes on at once from the step after."""
    job = clinic.asked(jobs, clinic.recorded(long_sound))
    first = clinic.start_worker()
    wait_until(lambda: jobs.job(clinic.vet, job.id).share is not None)
    first.send_signal(signal.SIGTERM)
    assert first.wait(timeout=900) == 0, clinic.logs()
    assert [worker.beat for worker in workers(clinic.database)] == [None]
    assert records_of(clinic.database, clinic.vet) == ()
    second = clinic.start_worker("--once")
    assert second.wait(timeout=900) == 0, clinic.logs()
    assert jobs.job(clinic.vet, job.id).state == "done"
    assert len(records_of(clinic.database, clinic.vet)) == 1
    assert "Traceback" not in clinic.logs()


def _state_and_attempt(jobs: Jobs, clinic: Clinic, job: Job) -> tuple[str, int]:
    now_is = jobs.job(clinic.vet, job.id)
    return now_is.state, now_is.attempt


def _at_work(clinic: Clinic) -> set[str]:
    return {worker.id for worker in workers(clinic.database) if worker.beat}
