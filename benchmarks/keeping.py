"""Measures the store with many records: `python benchmarks/keeping.py ADDRESS --records 100000,1000000 [--asks N]`.

ADDRESS is a file for SQLite or postgresql://… of an empty database. It is filled with an invented practice (`seeding.py`), step by
step up to the greatest number; after each step it prints the size on disk, and medians and 95th percentiles, in milliseconds, of
what people wait for.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from seeding import LEXICON, START, VISITS, bodies, chip_of, name_of, seed
from sqlalchemy import select, text

from pipeline.record.comparison import Comparison, compare
from pipeline.store import (
    Actor,
    Database,
    PastVisit,
    add_person,
    found_practice,
    record_line,
    records_of,
    search,
    signed_version,
    values_of,
    visits_of,
)


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
        name, chip = name_of(number), chip_of(number)
        own = f"{name_of(number * VISITS).lower()}{number * VISITS % 997}"
        find = partial(search, database, actor)
        measure("patient by the beginning of a name", partial(find, name[:5], "patient"))
        measure("patient by microchip", partial(find, chip, "patient"))
        measure("record by a word of its own", partial(find, own, "record"))
        measure("record by two words that many have", partial(find, "ear wax", "record"))
        measure("record by a word that nearly all have", partial(find, "heart", "record"))
        (hit,) = find(chip, "patient")
        measure("a patient's visits", partial(visits_of, database, actor, hit.id))
        measure("a patient's weights", partial(values_of, database, actor, hit.id, "weight"))
        measure("the newest signed records", partial(records_of, database, actor, "signed"))
        past = visits_of(database, actor, hit.id)
        measure("a record with its patient", partial(record_line, database, actor, str(past[0].record_id)))
        measure("comparison of the last two records", partial(_compared, database, actor, past))
    return times


def _compared(database: Database, actor: Actor, past: tuple[PastVisit, ...]) -> Comparison:
    now, before = (signed_version(database, actor, str(v.record_id), None, START).record for v in past[:2])
    return compare(before, now, LEXICON)


def size_mb(database: Database) -> float:
    """Size on disk, in millions of bytes."""
    if database.is_sqlite:
        file = Path(str(database.engine.url.database))
        return sum(part.stat().st_size for part in file.parent.glob(f"{file.name}*") if part.is_file()) / 1e6
    with database.reading() as connection:
        chosen = select(text("pg_database_size(current_database())"))
        return int(connection.execute(chosen).scalar_one()) / 1e6


def main() -> None:
    """Seed and measure."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("address")
    given.add_argument("--records", default="20000", help="One number, or several that grow, with commas.")
    given.add_argument("--asks", type=int, default=100)
    options = given.parse_args()
    address = options.address if "://" in options.address else Path(options.address)
    database = Database(address)
    manager = found_practice(database, "Alder Lane Surgery", "Odile Farran", START)
    vet = add_person(database, manager, "Ines Halloran", "vet", START)
    shared = bodies()
    tell = sys.stdout.write
    done = 0
    for records in (int(number) for number in options.records.split(",")):
        patients = max(1, records // VISITS)
        began = time.perf_counter()
        seed(database, vet, done, patients, shared)
        done = patients
        took = time.perf_counter() - began
        tell(f"{patients * VISITS:,} records, seeded in {took:.0f} s, {size_mb(database):,.0f} MB\n")
        for question, times in asked(database, vet, patients, options.asks).items():
            middle, high = statistics.median(times), statistics.quantiles(times, n=20)[-1]
            tell(f"{question:40} median {middle:8.1f} ms   95th percentile {high:8.1f} ms\n")
        sys.stdout.flush()
    database.close()


if __name__ == "__main__":
    main()
