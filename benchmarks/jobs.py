"""Shares recordings between two workers and kills one: `python benchmarks/jobs.py ADDRESS [--recordings N]`.

ADDRESS is a file for SQLite or postgresql://… of an empty database. N pieces of the bundled dictations, 3 to 8 seconds each, become
visits of an invented practice with a job each. Two `rostral worker` processes share them; when a third is done, one is killed with
SIGKILL. Prints what became of all, and how long the killed one's job waited.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "jobs")]

from clinic import SETTINGS, Clinic, cut, new_clinic  # noqa: E402 - the way to it is laid above

from pipeline.jobs import Jobs  # noqa: E402
from pipeline.store import Database, audit, events_of, records_of  # noqa: E402

_PIECES = ("cat_terse", "dog_chatty", "dog_corrected", "cat_senior", "rabbit_vaccination")
_STEP_S = 1.5
_SILENCE_S = 20


def main() -> int:
    """Run it once; 1 when a recording was lost or done twice."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("address")
    parser.add_argument("--recordings", type=int, default=200)
    asked = parser.parse_args()
    number = int(asked.recordings)
    address = asked.address if "://" in asked.address else Path(asked.address)
    database = Database(address)
    with tempfile.TemporaryDirectory(prefix="rostral-jobs-") as name:
        folder = Path(name)
        clinic = new_clinic(database, address, folder)
        jobs = Jobs(database, SETTINGS, clinic.recordings)
        began = time.monotonic()
        for index in range(number):
            sample = ROOT / "audio_samples" / f"{_PIECES[index % len(_PIECES)]}.flac"
            start_s = (index // len(_PIECES)) * _STEP_S
            clinic.asked(jobs, clinic.recorded(cut(sample, folder / f"{index}.wav", start_s, 3 + index % 6)))
        say(f"{number} recordings kept and asked for in {time.monotonic() - began:.1f} s")
        began = time.monotonic()
        workers = [clinic.start_worker("--silence", str(_SILENCE_S)) for _ in range(2)]

        def done() -> int:
            return len(jobs.jobs(clinic.vet, ["done"], limit=number))

        while done() < number // 3 or len(_running(clinic, jobs)) < 2:
            time.sleep(0.1)
        left = _running(clinic, jobs)
        workers[0].kill()
        workers[0].wait()
        killed = time.monotonic()
        before = done()
        orphans = {job for job in left if jobs.job(clinic.vet, job).state == "running"}
        waited: dict[str, float] = {}
        while done() < number and workers[1].poll() is None:
            for job in orphans - waited.keys():
                if jobs.job(clinic.vet, job).state == "done":
                    waited[job] = time.monotonic() - killed
            time.sleep(0.1)
        lasted = time.monotonic() - began
        workers[1].terminate()
        workers[1].wait()
        records = records_of(database, clinic.vet, limit=2 * number)
        events = events_of(database, clinic.vet, limit=100 * number)
        kept = sum(event.action == "keep_record" for event in events)
        visits = len({record.visit_id for record in records})
        say(f"killed one of two workers with {before} done; all {done()} done {lasted:.1f} s after the start")
        say(f"the killed worker's job was done {max(waited.values(), default=0):.1f} s after it died")
        say(f"{len(records)} records of {visits} visits, {kept} events that tell of them")
        say(f"audit: {len(audit(database))} faults")
        jobs.close()
    database.close()
    return 0 if len(records) == visits == kept == number else 1


def say(text: str) -> None:
    """Write a line of the result."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def _running(clinic: Clinic, jobs: Jobs) -> list[str]:
    return [job.id for job in jobs.jobs(clinic.vet, ["running"])]


if __name__ == "__main__":
    sys.exit(main())
