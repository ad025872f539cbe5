"""Kills writers without warning (SIGKILL) in the middle of their work, and looks whether anything acknowledged is lost.

    python tests/store/kills.py ADDRESS --kills 100 [--backends]

Writers are processes that do every kind of write in turn and say before each what they begin and after it what was acknowledged.
After each kill: everything acknowledged is there, what was under way is there whole or not at all, and the audit finds nothing.
With `--backends` every tenth kill hits a process of the PostgreSQL server instead, which then recovers from its log.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from kept import DOG, LEXICON, Practice, new_practice, postgres_tools, understood
from sqlalchemy import create_engine, func, select, text

from pipeline.record import Owner
from pipeline.review import AcceptCertain, Acknowledge, current, hindrances, notice_key
from pipeline.store import (
    Database,
    DatabaseError,
    KeptRecord,
    add_client,
    add_patient,
    amend_record,
    audit,
    change_patient,
    client_of,
    erase_client,
    file_record,
    keep_record,
    open_visit,
    patient_of,
    record_of,
    review_record,
    sign_record,
    signed_version,
)
from pipeline.store.backup import backup_faults, make_backup
from pipeline.store.intake import read_sheet, take_in
from pipeline.store.stamps import sha256
from pipeline.store.tables import client

ROWS = 12
SAID = "Left ear red. Eyes clear. Weight twelve kilos. Recheck in ten days."
WRITERS = 2
MOST_SAID = 80
"""A writer is killed after it said fewer lines than these, two for each of its writes."""


@dataclass
class Writer:
    """Does all kinds of writes, one after the other, and tells of each."""

    practice: Practice
    folder: Path
    say: Callable[[dict[str, Any]], None]
    chance: random.Random

    def work(self) -> None:
        """Go on until killed."""
        while True:
            patient = self._patient()
            kept = self._record(patient)
            if self.chance.random() < 0.3:
                self._list()
            if self.chance.random() < 0.1:
                self._backup()
            if self.chance.random() < 0.5:
                database, at = self._at
                kept = self._do(
                    "file",
                    kept.id,
                    partial(file_record, database, self.practice.nurse, kept, "", at),
                )
                kept = self._do(
                    "amend",
                    kept.id,
                    partial(amend_record, database, self.practice.vet, kept, at),
                )
                self._sign(kept, reason="looked again")

    @property
    def _at(self) -> tuple[Database, Any]:
        return self.practice.database, self.practice.at()

    def _do(self, what: str, subject: str, deed: Callable[[], KeptRecord]) -> KeptRecord:
        self.say({"begin": what, "record": subject})
        kept = deed()
        self.say({"done": what, "record": kept.id, **_stand(kept)})
        return kept

    def _patient(self) -> str:
        database, at = self._at
        self.say({"begin": "add_client"})
        owner = add_client(database, self.practice.nurse, Owner(name="Dana Whitlock"), at)
        self.say({"done": "add_client", "client": owner.id, "name": owner.name})
        self.say({"begin": "add_patient"})
        kept = add_patient(database, self.practice.nurse, DOG, owner.id, at)
        self.say({"done": "add_patient", "patient": kept.id, "revision": 1})
        self.say({"begin": "change_patient", "patient": kept.id})
        changed = DOG.model_copy(update={"neutered": True})
        change_patient(database, self.practice.nurse, kept, changed, owner.id, at)
        self.say({"done": "change_patient", "patient": kept.id, "revision": 2})
        if self.chance.random() < 0.3:
            self.say({"begin": "erase_client", "client": owner.id})
            erase_client(database, self.practice.manager, owner.id, "asked for", at)
            self.say({"done": "erase_client", "client": owner.id, "name": None})
        return kept.id

    def _record(self, patient: str) -> KeptRecord:
        database, at = self._at
        self.say({"begin": "open_visit"})
        visit = open_visit(database, self.practice.nurse, patient, "recheck", at)
        kept = self._do(
            "keep_record", "", partial(keep_record, database, self.practice.vet, visit.id, RECORD, at)
        )
        return self._sign(kept)

    def _sign(self, kept: KeptRecord, reason: str | None = None) -> KeptRecord:
        database, at = self._at
        vet = self.practice.vet
        operations: tuple[Any, ...] = (AcceptCertain(),)
        for _ in range(2):
            kept = self._do(
                "review",
                kept.id,
                partial(review_record, database, vet, kept, operations, LEXICON, at),
            )
            assert kept.review is not None
            waiting = hindrances(current(kept.review, LEXICON))
            if not waiting:
                break
            operations = tuple(Acknowledge(notice=notice_key(n), reason="not today") for n in waiting)
        return self._do("sign", kept.id, partial(sign_record, database, vet, kept, LEXICON, at, reason))

    def _list(self) -> None:
        mark = f"Import {os.urandom(6).hex()}"
        rows = "".join(f"{mark},{number},Pet {number},dog\n" for number in range(ROWS))
        sheet = read_sheet(f"owner,phone,name,species\n{rows}".encode())
        self.say({"begin": "import", "list": mark})
        take_in(self._at[0], self.practice.nurse, sheet, self._at[1], source="0" * 64, write=True)
        self.say({"done": "import", "list": mark})

    def _backup(self) -> None:
        folder = self.folder / os.urandom(6).hex()
        self.say({"begin": "backup"})
        make_backup(
            self._at[0], self.practice.manager, folder, self._at[1], sounds=folder, tools=postgres_tools()
        )
        self.say({"done": "backup", "backup": str(folder)})


RECORD = understood(SAID)


def _stand(kept: KeptRecord) -> dict[str, Any]:
    review = sha256(kept.review.model_dump_json()) if kept.review is not None else None
    return {"revision": kept.revision, "state": kept.state, "version": kept.version, "review": review}


@dataclass
class Seen:
    """What was acknowledged until now, and what was under way at the last kill."""

    records: dict[str, dict[str, Any]] = field(default_factory=dict)
    patients: dict[str, int] = field(default_factory=dict)
    clients: dict[str, str | None] = field(default_factory=dict)
    lists: dict[str, bool] = field(default_factory=dict)
    backups: set[str] = field(default_factory=set)
    interrupted: Counter[str] = field(default_factory=Counter)
    acknowledged: int = 0

    def take(self, lines: list[dict[str, Any]]) -> dict[str, Any]:
        """Follow what one writer said; gives what it had begun and not ended, empty if nothing."""
        begun: dict[str, Any] = {}
        for line in lines:
            if "begin" in line:
                begun = line
                if "list" in line:
                    self.lists[line["list"]] = False
                continue
            begun = {}
            self.acknowledged += 1
            if "record" in line:
                self.records[line["record"]] = line
            elif "patient" in line:
                self.patients[line["patient"]] = line["revision"]
            elif "client" in line:
                self.clients[line["client"]] = line["name"]
            elif "list" in line:
                self.lists[line["list"]] = True
            elif "backup" in line:
                self.backups.add(line["backup"])
        self.interrupted[begun.get("begin", "nothing")] += 1
        return begun

    def faults(self, practice: Practice, begun: list[dict[str, Any]], folder: Path) -> Iterator[str]:
        """Everything that is not as it was acknowledged, or is there by half."""
        database, vet = practice.database, practice.vet
        changing = {one.get("record") or one.get("patient") or one.get("client") for one in begun}
        for identifier, said in self.records.items():
            kept = record_of(database, vet, identifier)
            stands = _stand(kept)
            ahead = kept.revision - said["revision"]
            if (
                ahead < 0
                or ahead > (identifier in changing)
                or (ahead == 0 and stands != {name: said[name] for name in stands})
            ):
                yield f"record {identifier} was acknowledged as {said} and is {stands}"
            for version in range(1, kept.version + 1):
                signed_version(database, vet, identifier, version, practice.at())
            self.records[identifier] = {**said, **stands}
        for identifier, revision in self.patients.items():
            found = patient_of(database, vet, identifier).revision
            if found < revision or found - revision > (identifier in changing):
                yield f"patient {identifier} was acknowledged with revision {revision} and has {found}"
            self.patients[identifier] = found
        for identifier, name in self.clients.items():
            if client_of(database, vet, identifier).name != name and identifier not in changing:
                yield f"owner {identifier} is not as acknowledged"
        with database.reading() as connection:
            for mark, acknowledged in self.lists.items():
                chosen = select(func.count()).select_from(client).where(client.c.name == mark)
                count = connection.execute(chosen).scalar_one()
                if count not in ({ROWS} if acknowledged else {0, ROWS}):
                    yield f"{count} of {ROWS} rows of {mark} are there"
        for one in folder.iterdir():
            if not one.name.endswith(".partial") and (wrong := backup_faults(one)):
                yield f"backup {one}: {wrong}"
        yield from (f"backup {one} is gone" for one in self.backups if not Path(one).is_dir())
        yield from audit(database)
        # Checked once: what was right after its kill is not touched by later writers.
        for kept_until_now in (self.records, self.patients, self.clients, self.lists):
            kept_until_now.clear()


def _writer(
    address: str | Path, anchors: Path, practice: Practice, folder: Path, pipe: int, seed: int
) -> None:
    """The body of a writer's process."""

    def say(line: dict[str, Any]) -> None:
        os.write(pipe, f"{json.dumps(line)}\n".encode())

    own = Practice(
        Database(address, anchors), practice.manager, practice.vet, practice.nurse, practice.minutes
    )
    Writer(own, folder, say, random.Random(seed)).work()  # noqa: S311 — a choice, no secret


def _started(
    address: str | Path, anchors: Path, practice: Practice, folder: Path, seed: int
) -> tuple[Any, int]:
    reading, writing = os.pipe()
    process = multiprocessing.get_context("fork").Process(
        target=_writer, args=(address, anchors, practice, folder, writing, seed), daemon=True
    )
    process.start()
    os.close(writing)
    return process, reading


def _said(pipe: int, number: int) -> bytes:
    """What a writer says, once it has said so many lines: however slow the machine, it is in the middle of its work then."""
    said = b""
    while said.count(b"\n") < number and (piece := os.read(pipe, 4096)):
        said += piece
    return said


def _rest(pipe: int) -> bytes:
    with os.fdopen(pipe, "rb") as opened:
        return opened.read()


def _lines(said: bytes) -> list[dict[str, Any]]:
    whole, _, _ = said.rpartition(b"\n")
    return [json.loads(line) for line in whole.split(b"\n") if line]


def kill_writers(
    address: str | Path, folder: Path, kills: int, seed: int, *, backends: bool = False
) -> tuple[Seen, list[str]]:
    """Kill so often; gives what was seen, and every fault."""
    chance = random.Random(seed)  # noqa: S311 — a choice, no secret
    anchors, backups = folder / "anchors", folder / "backups"
    backups.mkdir(parents=True)
    database = Database(address, anchors)
    practice = new_practice(database)
    database.close()  # no connection goes over into the writers
    seen, faults = Seen(), []
    for number in range(kills):
        started = [
            _started(address, anchors, practice, backups, chance.randrange(2**32)) for _ in range(WRITERS)
        ]
        said = [_said(pipe, chance.randrange(1, MOST_SAID)) for _, pipe in started]
        time.sleep(chance.random() * 0.02)  # into the middle of what is begun now
        if backends and number % 10 == 9:
            _kill_backend(address, chance)
        for process, _ in started:
            os.kill(process.pid, signal.SIGKILL)
        for process, _ in started:
            process.join()
        begun = [
            seen.take(_lines(before + _rest(pipe))) for before, (_, pipe) in zip(said, started, strict=True)
        ]
        practice.minutes += 1000
        practice.database = _opened(address, anchors)
        found = list(seen.faults(practice, begun, backups))
        faults += [f"kill {number + 1}: {fault}" for fault in found]
        practice.database.close()
    return seen, faults


def _opened(address: str | Path, anchors: Path) -> Database:
    """The database, as soon as a server that lost a process has recovered."""
    for _ in range(100):
        try:
            return Database(address, anchors)
        except DatabaseError:
            time.sleep(0.2)
    return Database(address, anchors)


def _kill_backend(address: str | Path, chance: random.Random) -> None:
    engine = create_engine(str(address))
    with engine.connect() as connection:
        chosen = text(
            "SELECT pid FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
            " AND backend_type = 'client backend'"
        )
        pids = list(connection.execute(chosen).scalars())
    engine.dispose()
    if pids:
        os.kill(chance.choice(pids), signal.SIGKILL)


def main() -> None:
    """Kill and tell."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("address")
    given.add_argument("--kills", type=int, default=100)
    given.add_argument("--seed", type=int, default=1)
    given.add_argument("--backends", action="store_true")
    options = given.parse_args()
    address = options.address if "://" in options.address else Path(options.address)
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        seen, faults = kill_writers(
            address, Path(folder), options.kills, options.seed, backends=options.backends
        )
    write = sys.stdout.write
    write(f"{options.kills} kills of {WRITERS} writers each in {time.perf_counter() - began:.0f} s,")
    write(f" {seen.acknowledged} changes acknowledged\n")
    for what, count in seen.interrupted.most_common():
        write(f"  in the middle of {what}: {count}\n")
    for fault in faults:
        write(f"FAULT {fault}\n")
    write(f"{len(faults)} faults\n")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
