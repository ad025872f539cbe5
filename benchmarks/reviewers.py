"""Lets many people review at once, each their own record, and prints how soon the desk answers.

    python benchmarks/reviewers.py [PEOPLE] [SECONDS] [PAUSE]

The desk runs in a process of its own over a new SQLite file. Everybody looks at the board, agrees to what is certain, corrects a
value, searches the lexicon, looks at the comparison, and begins anew. PAUSE seconds lie between all of it; none unless given, which
is far more than people do, who read in between.
"""

from __future__ import annotations

import multiprocessing
import random
import re
import socket
import statistics
import sys
import tempfile
import threading
import time
from collections import defaultdict
from datetime import date
from pathlib import Path

import httpx
import psutil
import uvicorn

from pipeline.desk import Desk, DeskOptions, create_app
from pipeline.desk.passwords import hashed
from pipeline.exam import understand
from pipeline.record import Patient, Visit
from pipeline.settings import Settings
from pipeline.speech.model import Transcript
from pipeline.store import Database, add_patient, add_person, audit, found_practice, keep_record, open_account
from pipeline.store import open_visit as begin_visit
from pipeline.store.stamps import now

PASSWORD = "for-this-run-only"  # noqa: S105 - of a person who is invented
SAMPLE = Path(__file__).parents[1] / "audio_samples" / "cat_senior.txt"


def say(line: str) -> None:
    """Write a line of the result."""
    sys.stdout.write(f"{line}\n")


def main() -> None:
    """Fill, serve, ask, print."""
    people = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 20.0
    pause = float(sys.argv[3]) if len(sys.argv) > 3 else 0.0
    with tempfile.TemporaryDirectory() as made:
        file = Path(made) / "reviewers.sqlite"
        records = fill(file, people)
        listening = socket.create_server(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        server = multiprocessing.get_context("fork").Process(
            target=serve, args=(file, listening), daemon=True
        )
        server.start()
        try:
            before = psutil.Process(server.pid).memory_info().rss
            times, faults = review(address, records, seconds, pause)
            after = psutil.Process(server.pid).memory_info().rss
        finally:
            server.terminate()
            server.join()
        tell(people, seconds, times, faults)
        say(f"memory of the server: {before / 2**20:.0f} MiB before, {after / 2**20:.0f} MiB after")
        database = Database(file)
        say(f"faults in the trail: {len(audit(database))}")
        database.close()


def fill(file: Path, people: int) -> list[str]:
    """A practice with one draft for each reviewer."""
    database, at = Database(file), now()
    manager = found_practice(database, "Fennel Row Surgery", "Odile Farran", at)
    vet = add_person(database, manager, "Ines Halloran", "vet", at)
    open_account(database, manager, vet.person_id, "vet", hashed(PASSWORD), at)
    animal = Patient(name="Ottoline", species="cat", birth_date=date(2012, 8, 1))
    visit = Visit(kind="senior", on=at.date())
    understood = understand(Transcript.from_text(SAMPLE.read_text(encoding="utf-8")), animal, visit)
    records = []
    for _ in range(people):
        patient = add_patient(database, vet, animal, None, at)
        opened = begin_visit(database, vet, patient.id, "senior", at)
        records.append(keep_record(database, vet, opened.id, understood, at).id)
    database.close()
    return records


def serve(file: Path, listening: socket.socket) -> None:
    """The desk, until it is ended."""
    options = DeskOptions(file.parent, file.parent / "recordings", settings=Settings())
    app = create_app(Desk(Database(file), options))
    uvicorn.Server(uvicorn.Config(app, log_level="critical", lifespan="off")).run(sockets=[listening])


def review(
    address: str, records: list[str], seconds: float, pause: float
) -> tuple[dict[str, list[float]], list[str]]:
    """Everybody at once: times by what was asked, and answers that were no success."""
    times: dict[str, list[float]] = defaultdict(list)
    faults: list[str] = []
    ready, until = threading.Barrier(len(records) + 1), [0.0]

    def one(record: str) -> None:
        with httpx.Client(base_url=address, timeout=120) as browser:
            token = sign_in(browser)
            headers = {"X-Form-Token": token, "Accept": "application/json"}
            ready.wait()
            time.sleep(pause * random.random())  # noqa: S311 - a choice, no secret
            turn = 0
            while time.monotonic() < until[0]:
                turn += 1
                page = asked("board", lambda: browser.get(f"/records/{record}"))
                revision = int(re.search(r'data-revision="(\d+)"', page.text)[1])  # type: ignore[index]
                deed = {"revision": revision, "operations": [{"do": "accept_certain"}]}
                asked("agree", lambda: browser.post(f"/records/{record}/do", json=deed, headers=headers))  # noqa: B023
                form = {"revision": revision + 1, "value": str(100 + turn % 50), "form_token": token}
                asked("correct", lambda: browser.post(f"/records/{record}/facts/m4", data=form))  # noqa: B023
                asked("lexicon", lambda: browser.get("/lexicon/findings?words=ear%20re&system=ears"))
                asked("beside", lambda: browser.get(f"/records/{record}/beside"))

    def asked(what, ask):  # type: ignore[no-untyped-def]
        began = time.perf_counter()
        answer = ask()
        times[what].append(time.perf_counter() - began)
        if answer.status_code != 200:
            faults.append(f"{what}: {answer.status_code} {answer.text[:200]}")
        time.sleep(pause)
        return answer

    threads = [threading.Thread(target=one, args=(record,)) for record in records]
    for thread in threads:
        thread.start()
    until[0] = time.monotonic() + 3600
    ready.wait()
    until[0] = time.monotonic() + seconds
    for thread in threads:
        thread.join()
    return times, faults


def sign_in(browser: httpx.Client) -> str:
    """Sign in and give the token of the pages' forms."""

    def token() -> str:
        return str(re.search(r'name="form_token" value="(\w+)"', browser.get("/me").text or "")[1])  # type: ignore[index]

    first = re.search(r'name="form_token" value="(\w+)"', browser.get("/sign-in").text)
    fields = {"login": "vet", "password": PASSWORD, "form_token": first[1] if first else ""}
    browser.post("/sign-in", data=fields)
    return token()


def tell(people: int, seconds: float, times: dict[str, list[float]], faults: list[str]) -> None:
    """Print the table."""
    count = sum(len(all_) for all_ in times.values())
    say(
        f"{people} people, {seconds:g} s, {count} requests ({count / seconds:.0f} a second), {len(faults)} faults"
    )
    for fault in faults[:5]:
        say(f"  {fault}")
    say("| what | requests | median | 95 % | slowest |")
    say("| --- | --- | --- | --- | --- |")
    for what, taken in sorted(times.items()):
        ordered = sorted(taken)
        high = ordered[int(0.95 * (len(ordered) - 1))]
        say(
            f"| {what} | {len(taken)} | {statistics.median(ordered):.2f} s | {high:.2f} s | {ordered[-1]:.2f} s |"
        )


if __name__ == "__main__":
    main()
