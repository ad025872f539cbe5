"""Many at once: writers and readers on one database, how long each waits, and whether anything is lost.

    python benchmarks/crowd.py ADDRESS [--writers 16] [--readers 64] [--seconds 60]

Every one is a process with a connection of its own. Writers add steps to the plans of drafts that they share, and keep, review and
sign records of their own; whoever is told of a conflict reads again and enters the change anew. At the end every acknowledged step
must be there, every record that was signed must be signed, and the audit must find nothing.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from lexicon import load_lexicon
from pipeline.exam import understand
from pipeline.record import Owner, Patient, Visit
from pipeline.review import AcceptCertain, Acknowledge, Operation, current, hindrances, notice_key
from pipeline.speech import Transcript
from pipeline.store import (
    Actor,
    ConflictError,
    Database,
    add_client,
    add_patient,
    add_person,
    audit,
    found_practice,
    keep_record,
    open_visit,
    record_of,
    review_record,
    search,
    sign_record,
    signed_version,
    values_of,
    visits_of,
)
from pipeline.store.stamps import now

LEXICON = load_lexicon()
SAID = "Left ear red, no discharge. Eyes clear. Heart rate one twenty. Weight twelve kilos. Recheck the ear in ten days."
DOG = Patient(name="Bramley", species="dog", breed="lurcher")
RECORD = understand(Transcript.from_text(SAID), DOG, Visit(kind="recheck", on=now().date()))
OPERATION: TypeAdapter[Operation] = TypeAdapter(Operation)
SHARED = 24
PATIENTS = 400


class Timed:
    """Milliseconds of each kind of work, conflicts, and what went wrong."""

    def __init__(self) -> None:
        self.times: dict[str, list[float]] = {}
        self.conflicts = 0
        self.steps: list[tuple[str, str]] = []
        self.signed: list[str] = []
        self.errors: list[str] = []

    def measure(self, what: str, work: Callable[[], Any]) -> Any:
        """Do it and keep how long it took."""
        began = time.perf_counter()
        done = work()
        self.times.setdefault(what, []).append(1000 * (time.perf_counter() - began))
        return done


def write(database: Database, vet: Actor, chance: random.Random, shared: list[str], until: float) -> Timed:
    """Add steps to shared drafts, and take records of one's own from the keeping to the signature."""
    timed = Timed()
    while time.time() < until:
        if chance.random() < 0.7:
            _step(database, vet, chance.choice(shared), timed)
        else:
            _own(database, vet, timed)
    return timed


def _step(database: Database, vet: Actor, record_id: str, timed: Timed) -> None:
    words = f"step {os.urandom(8).hex()}"
    operation = OPERATION.validate_python({"do": "add_plan_item", "item": {"text": words}})
    while True:
        kept = timed.measure("read a draft", lambda: record_of(database, vet, record_id))
        try:
            timed.measure(
                "change a draft", lambda k=kept: review_record(database, vet, k, (operation,), LEXICON, now())
            )
        except ConflictError:
            timed.conflicts += 1
            continue
        timed.steps.append((record_id, words))
        return


def _own(database: Database, vet: Actor, timed: Timed) -> None:
    owner = timed.measure(
        "add an owner", lambda: add_client(database, vet, Owner(name="Dana Whitlock"), now())
    )
    animal = timed.measure("add a patient", lambda: add_patient(database, vet, DOG, owner.id, now()))
    visit = timed.measure("open a visit", lambda: open_visit(database, vet, animal.id, "recheck", now()))
    kept = timed.measure("keep a record", lambda: keep_record(database, vet, visit.id, RECORD, now()))
    operations: tuple[Operation, ...] = (AcceptCertain(),)
    for _ in range(2):
        kept = timed.measure(
            "change a draft", lambda k=kept, o=operations: review_record(database, vet, k, o, LEXICON, now())
        )
        waiting = hindrances(current(kept.review, LEXICON))
        if not waiting:
            break
        operations = tuple(Acknowledge(notice=notice_key(n), reason="not today") for n in waiting)
    timed.measure("sign", lambda k=kept: sign_record(database, vet, k, LEXICON, now()))
    timed.signed.append(kept.id)


def read(database: Database, vet: Actor, chance: random.Random, patients: list[str], until: float) -> Timed:
    """Search, look at histories and at signed values."""
    timed = Timed()
    while time.time() < until:
        patient = chance.choice(patients)
        timed.measure("search", lambda: search(database, vet, chance.choice(["bram", "dana", "ear red"])))
        timed.measure("a patient's visits", lambda p=patient: visits_of(database, vet, p))
        timed.measure("a patient's weights", lambda p=patient: values_of(database, vet, p, "weight"))
        time.sleep(chance.random() * 0.5)  # a person looks at what was found
    return timed


def _process(
    work: Callable[..., Timed], address: str | Path, anchors: Path, arguments: tuple[Any, ...], pipe: int
) -> None:
    vet, seed, things, until = arguments
    try:
        database = Database(address, anchors)
        timed = work(database, vet, random.Random(seed), things, until)  # noqa: S311 — a choice, no secret
    except Exception as error:  # noqa: BLE001 — told at the end
        timed = Timed()
        timed.errors.append(f"{type(error).__name__}: {error}")
    with os.fdopen(pipe, "w") as opened:
        json.dump(vars(timed), opened)


def crowd(
    address: str | Path, anchors: Path, writers: int, readers: int, seconds: float
) -> list[dict[str, Any]]:
    """Let all work at once; gives what each saw, writers first."""
    database = Database(address, anchors)
    manager = found_practice(database, "Alder Lane Surgery", "Odile Farran", now())
    vet = add_person(database, manager, "Ines Halloran", "vet", now())
    patients, shared = [], []
    for number in range(PATIENTS):
        animal = add_patient(database, vet, DOG, None, now())
        patients.append(animal.id)
        if number < SHARED:
            visit = open_visit(database, vet, animal.id, "recheck", now())
            shared.append(keep_record(database, vet, visit.id, RECORD, now()).id)
    database.close()  # no connection goes over into the others
    until = time.time() + seconds
    started = []
    for number in range(writers + readers):
        reading, writing = os.pipe()
        work, things = (write, shared) if number < writers else (read, patients)
        process = multiprocessing.get_context("fork").Process(
            target=_process, args=(work, address, anchors, (vet, number, things, until), writing)
        )
        process.start()
        os.close(writing)
        started.append((process, reading))
    seen = []
    for process, reading in started:
        with os.fdopen(reading) as opened:
            seen.append(json.loads(opened.read() or '{"errors": ["ended without a word"]}'))
        process.join()
    seen.append({"errors": list(_lost(address, anchors, vet, seen))})
    return seen


def _lost(address: str | Path, anchors: Path, vet: Actor, seen: list[dict[str, Any]]) -> list[str]:
    database = Database(address, anchors)
    faults = list(audit(database))
    there: dict[str, set[str]] = {}
    for record_id, words in (step for one in seen for step in one.get("steps", ())):
        if record_id not in there:
            review = record_of(database, vet, record_id).review
            there[record_id] = {fact.value.text for fact in review.plan} if review is not None else set()
        if words not in there[record_id]:
            faults.append(f"LOST: {words} of {record_id}")
    for record_id in (record for one in seen for record in one.get("signed", ())):
        signed_version(database, vet, record_id, 1, now())
    database.close()
    return faults


def main() -> None:
    """Run and tell."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("address")
    given.add_argument("--writers", type=int, default=16)
    given.add_argument("--readers", type=int, default=64)
    given.add_argument("--seconds", type=float, default=60)
    options = given.parse_args()
    address = options.address if "://" in options.address else Path(options.address)
    with tempfile.TemporaryDirectory() as folder:
        seen = crowd(address, Path(folder), options.writers, options.readers, options.seconds)
    tell = sys.stdout.write
    tell(f"{options.writers} writers and {options.readers} readers for {options.seconds:g} s\n")
    names = sorted({name for one in seen for name in one.get("times", ())})
    for name in names:
        times = [time_ms for one in seen for time_ms in one.get("times", {}).get(name, ())]
        middle, high = statistics.median(times), statistics.quantiles(times, n=20)[-1]
        tell(f"{name:22} {len(times):7} times  median {middle:8.1f} ms   95th percentile {high:8.1f} ms\n")
    conflicts = sum(one.get("conflicts", 0) for one in seen)
    steps = sum(len(one.get("steps", ())) for one in seen)
    signed = sum(len(one.get("signed", ())) for one in seen)
    tell(f"{steps} steps written, {conflicts} conflicts told and entered again, {signed} records signed\n")
    errors = [error for one in seen for error in one["errors"]]
    for error in errors:
        tell(f"ERROR {error}\n")
    tell(f"{len(errors)} errors\n")
    sys.exit(bool(errors))


if __name__ == "__main__":
    main()
