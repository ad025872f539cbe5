"""Measures the store with many records: `python benchmarks/keeping.py ADDRESS --records N [--asks N]`.

ADDRESS is a file for SQLite or postgresql://… of an empty database. It is filled with an invented practice: patients with four
signed records each, all copies of one dictation under other names and days, written in bulk and without the trail (a practice
writes some dozens a day; what is measured here is reading). Then it prints medians and 95th percentiles, in milliseconds, of what
people wait for, and the size on disk.
"""

from __future__ import annotations

import argparse
import itertools
import random
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sqlalchemy import insert, select, text

from lexicon import load_lexicon
from pipeline.exam import understand
from pipeline.record import Patient, Visit
from pipeline.record.comparison import compare
from pipeline.review import (
    AcceptCertain,
    Acknowledge,
    Mark,
    apply,
    current,
    hindrances,
    notice_key,
    open_review,
)
from pipeline.speech.model import Transcript
from pipeline.store import (
    Actor,
    Database,
    add_person,
    found_practice,
    search,
    signed_version,
    values_of,
    visits_of,
)
from pipeline.store.records import signature_of
from pipeline.store.stamps import new_id, stamp
from pipeline.store.tables import findable, measured, patient, record, record_version, visit

VISITS = 4
BATCH = 2000
SAMPLE = Path(__file__).parents[1] / "audio_samples" / "dog_chatty.txt"
START = datetime(2015, 1, 5, 9, 0, tzinfo=UTC)
LEXICON = load_lexicon()


def name_of(number: int) -> str:
    """An invented name that many patients share with few."""
    syllables = ("bra", "mo", "ti", "lu", "fen", "ka", "ro", "wis", "dor", "pim", "sal", "hu")
    chosen = random.Random(number)  # noqa: S311 — names, no secrets
    return "".join(chosen.choices(syllables, k=3)).capitalize()


class Template:
    """One signed record whose words every seeded one shares."""

    def __init__(self) -> None:
        said = SAMPLE.read_text(encoding="utf-8")
        dog = Patient(name="Bramley", species="dog", age_months=60)
        review = open_review(understand(Transcript.from_text(said), dog, Visit(kind="health_check")))
        mark = Mark(by="Ines Halloran", at=START)
        review = apply(review, AcceptCertain(), mark, LEXICON)
        for notice in hindrances(current(review, LEXICON)):
            review = apply(review, Acknowledge(notice=notice_key(notice), reason="seeded"), mark, LEXICON)
        self.review = review.model_dump_json()
        self.body = current(review, LEXICON).model_dump_json()
        self.words = " ".join(said.lower().split())


def rows(
    template: Template, actor: Actor, first: int, last: int
) -> Iterator[tuple[object, dict[str, object]]]:
    """Rows of all tables for patients first to last."""
    for number in range(first, last):
        animal, name = new_id(), name_of(number)
        yield (
            patient,
            {
                "id": animal,
                "practice_id": actor.practice_id,
                "name": name,
                "species": "dog",
                "revision": 1,
                "microchip": f"826{number:012d}",
            },
        )
        yield findable, _words(actor, "patient", animal, f"{name} dog 826{number:012d}".lower())
        for turn in range(VISITS):
            day = START.date() + timedelta(days=365 * turn + number % 365)
            yield from _visit(template, actor, animal, day, number, turn)


def _words(actor: Actor, kind: str, subject: str, words: str) -> dict[str, object]:
    return {"practice_id": actor.practice_id, "kind": kind, "subject": subject, "words": words}


def _visit(
    template: Template, actor: Actor, animal: str, day: date, number: int, turn: int
) -> Iterator[tuple[object, dict[str, object]]]:
    opened, kept = new_id(), new_id()
    yield (
        visit,
        {
            "id": opened,
            "practice_id": actor.practice_id,
            "patient_id": animal,
            "kind": "health_check",
            "on_day": day,
        },
    )
    yield (
        record,
        {
            "id": kept,
            "practice_id": actor.practice_id,
            "visit_id": opened,
            "state": "signed",
            "revision": 2,
            "version": 1,
            "review": None,
        },
    )
    yield (
        record_version,
        {
            "record_id": kept,
            "version": 1,
            "body": template.body,
            "review": template.review,
            "sha256": signature_of(template.body, template.review),
            "signed_by": actor.person_id,
            "signed_name": actor.name,
            "signed_at": stamp(START),
            "reason": None,
        },
    )
    yield (
        measured,
        {
            "record_id": kept,
            "version": 1,
            "number": 0,
            "patient_id": animal,
            "on_day": day,
            "kind": "weight",
            "value": 10 + number % 7 + turn / 10,
            "unit": "kg",
        },
    )
    yield (
        findable,
        _words(actor, "record", kept, f"{template.words} {name_of(number * VISITS + turn).lower()}"),
    )


def seed(database: Database, actor: Actor, patients: int) -> None:
    """Fill the database."""
    template = Template()
    tables = (patient, visit, record, record_version, measured, findable)
    for first in range(0, patients, BATCH // VISITS):
        last = min(patients, first + BATCH // VISITS)
        made = sorted(rows(template, actor, first, last), key=lambda row: tables.index(row[0]))  # type: ignore[arg-type]
        with database.writing() as connection:
            for table, group in itertools.groupby(made, key=lambda row: row[0]):
                connection.execute(insert(table), [values for _, values in group])  # type: ignore[arg-type]


def asked(database: Database, actor: Actor, patients: int, asks: int) -> dict[str, list[float]]:
    """Milliseconds of each question, asked of other patients each time."""
    chosen = random.Random(7)  # noqa: S311 — a choice, no secret
    times: dict[str, list[float]] = {}

    def measure(question: str, ask: Callable[[], object]) -> None:
        began = time.perf_counter()
        ask()
        times.setdefault(question, []).append(1000 * (time.perf_counter() - began))

    for _ in range(asks):
        number = chosen.randrange(patients)
        name = name_of(number)
        chip = f"826{number:012d}"
        measure(
            "patient by the beginning of a name",
            lambda name=name: search(database, actor, name[:5], "patient"),
        )  # type: ignore[misc]
        measure("patient by microchip", lambda chip=chip: search(database, actor, chip, "patient"))  # type: ignore[misc]
        measure("record by two words", lambda name=name: search(database, actor, f"{name} ear", "record"))  # type: ignore[misc]
        measure("record by a word that all have", lambda: search(database, actor, "ears", "record"))
        (hit,) = search(database, actor, chip, "patient")
        measure("a patient's visits", lambda hit=hit: visits_of(database, actor, hit.id))  # type: ignore[misc]
        measure("a patient's weights", lambda hit=hit: values_of(database, actor, hit.id, "weight"))  # type: ignore[misc]
        past = visits_of(database, actor, hit.id)
        measure("comparison of the last two records", lambda past=past: _compared(database, actor, past))  # type: ignore[misc]
    return times


def _compared(database: Database, actor: Actor, past: tuple[object, ...]) -> object:
    now, before = (signed_version(database, actor, v.record_id, None, START) for v in past[:2])  # type: ignore[attr-defined]
    return compare(before.record, now.record, LEXICON)


def size_mb(database: Database) -> float:
    """Size on disk, in millions of bytes."""
    if database.is_sqlite:
        return Path(database.engine.url.database or "").stat().st_size / 1e6
    with database.reading() as connection:
        return (
            int(connection.execute(select(text("pg_database_size(current_database())"))).scalar_one()) / 1e6
        )


def main() -> None:
    """Seed and measure."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("address")
    given.add_argument("--records", type=int, default=20_000)
    given.add_argument("--asks", type=int, default=100)
    options = given.parse_args()
    address = options.address if "://" in options.address else Path(options.address)
    database = Database(address)
    manager = found_practice(database, "Alder Lane Surgery", "Odile Farran", START)
    vet = add_person(database, manager, "Ines Halloran", "vet", START)
    patients = max(1, options.records // VISITS)
    began = time.perf_counter()
    seed(database, vet, patients)
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("ANALYZE"))
    write = sys.stdout.write
    write(
        f"{patients * VISITS:,} records in {time.perf_counter() - began:.0f} s, {size_mb(database):,.0f} MB\n"
    )
    for question, times in asked(database, vet, patients, options.asks).items():
        low, high = statistics.median(times), statistics.quantiles(times, n=20)[-1]
        write(f"{question:40} median {low:8.1f} ms   95th percentile {high:8.1f} ms\n")
    database.close()


if __name__ == "__main__":
    main()
