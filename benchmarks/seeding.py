"""Fills an empty database with many records, in bulk: written past the store and without a trail, for measuring reading.

A practice writes some dozens of records a day; a million takes decades. What lies in a row is real: reviewed records of the
annotated dictations of `tests/gold`, each for three kinds of visit, packed once and shared by many patients.
"""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import psycopg
from psycopg import sql

from lexicon import load_lexicon
from pipeline.evaluation import read_gold
from pipeline.exam import understand
from pipeline.record import Patient, Visit
from pipeline.record.model import VisitKind
from pipeline.review import (
    AcceptCertain,
    Acknowledge,
    Mark,
    Review,
    apply,
    current,
    hindrances,
    notice_key,
    open_review,
)
from pipeline.speech import Transcript
from pipeline.store import Actor, Database
from pipeline.store.records import signature_of
from pipeline.store.search import plain_words
from pipeline.store.stamps import stamp
from pipeline.store.tables import pack

VISITS = 4
START = datetime(2015, 1, 5, 9, 0, tzinfo=UTC)
LEXICON = load_lexicon()
KINDS: tuple[VisitKind, ...] = ("health_check", "sick", "recheck")
_GOLD = Path(__file__).parents[1] / "tests" / "gold"
_BATCH = 5_000
_SYLLABLES = ("bra", "mo", "ti", "lu", "fen", "ka", "ro", "wis", "dor", "pim", "sal", "hu")

COLUMNS = {
    "patient": ("id", "practice_id", "name", "species", "microchip", "revision"),
    "visit": ("id", "practice_id", "patient_id", "kind", "on_day"),
    "record": ("id", "practice_id", "visit_id", "state", "revision", "version"),
    "record_version": (
        "record_id", "version", "body", "review", "sha256", "signed_by", "signed_name", "signed_at",
    ),
    "measured": ("record_id", "version", "number", "patient_id", "on_day", "kind", "value", "unit"),
    "findable": ("practice_id", "kind", "subject", "words"),
}  # fmt: skip


@dataclass(frozen=True)
class Body:
    """A signed record as it is kept, and the words it is found by."""

    kind: VisitKind
    body: bytes
    review: bytes
    sha256: str
    words: str


def bodies() -> list[Body]:
    """The distinct records that the seeded ones share."""
    golds = [gold for part in ("dev", "test") for gold in read_gold(_GOLD / part)]
    return [_body(gold.text, kind) for gold in golds for kind in KINDS]


def _body(said: str, kind: VisitKind) -> Body:
    dog = Patient(name="Bramley", species="dog", age_months=60)
    review = open_review(understand(Transcript.from_text(said), dog, Visit(kind=kind, on=START.date())))
    review = _answered(apply(review, AcceptCertain(), Mark(by="Ines Halloran", at=START), LEXICON))
    record = current(review, LEXICON)
    body, kept = record.model_dump_json(), review.model_dump_json()
    labels = " ".join(finding.label for finding in record.findings if finding.assertion != "absent")
    return Body(
        kind, pack(body), pack(kept), signature_of(body, kept), " ".join(plain_words(f"{labels} {said}"))
    )


def _answered(review: Review) -> Review:
    # Two notices that say the same have one key: one answer is for both.
    for key in dict.fromkeys(notice_key(notice) for notice in hindrances(current(review, LEXICON))):
        answer = Acknowledge(notice=key, reason="not today")
        review = apply(review, answer, Mark(by="Ines Halloran", at=START), LEXICON)
    return review


def name_of(number: int) -> str:
    """An invented name that many patients share with few."""
    return "".join(random.Random(number).choices(_SYLLABLES, k=3)).capitalize()  # noqa: S311 — names, no secrets


def chip_of(number: int) -> str:
    """The microchip number of a patient."""
    return f"826{number:012d}"


def seed(database: Database, actor: Actor, first: int, last: int, shared: list[Body]) -> None:
    """Add the patients of those numbers with four signed records each, in the order of the years."""
    insert = _into_sqlite if database.is_sqlite else _into_server
    insert(database, _batches(actor, first, last, shared))


def _batches(
    actor: Actor, first: int, last: int, shared: list[Body]
) -> Iterator[dict[str, list[tuple[Any, ...]]]]:
    step = _BATCH // VISITS
    for begin in range(first, last, step):
        rows: dict[str, list[tuple[Any, ...]]] = {table: [] for table in COLUMNS}
        for number in range(begin, min(last, begin + step)):
            _add_patient(rows, actor, number, shared)
        yield rows


def _add_patient(
    rows: dict[str, list[tuple[Any, ...]]], actor: Actor, number: int, shared: list[Body]
) -> None:
    practice, name, chip = actor.practice_id, name_of(number), chip_of(number)
    animal = f"{number:012x}" + "a" * 20
    rows["patient"].append((animal, practice, name, "dog", chip, 1))
    rows["findable"].append((practice, "patient", animal, f"{name.lower()} dog {chip}"))
    for turn in range(VISITS):
        serial = number * VISITS + turn
        body = shared[(number * 7 + turn * 61) % len(shared)]
        opened, kept = f"{serial:012x}" + "b" * 20, f"{serial:012x}" + "c" * 20
        day = _day(number, turn)
        rows["visit"].append((opened, practice, animal, body.kind, day))
        rows["record"].append((kept, practice, opened, "signed", 2, 1))
        rows["record_version"].append(
            (kept, 1, body.body, body.review, body.sha256, actor.person_id, actor.name, stamp(START))
        )
        rows["measured"].append((kept, 1, 0, animal, day, "weight", 10 + number % 7 + turn / 10, "kg"))
        # One word of its own for each record: what somebody said only there.
        rows["findable"].append(
            (practice, "record", kept, f"{body.words} {name_of(serial).lower()}{serial % 997}")
        )


def _day(number: int, turn: int) -> date:
    return START.date() + timedelta(days=365 * turn + number % 365)


def _into_sqlite(database: Database, batches: Iterable[dict[str, list[tuple[Any, ...]]]]) -> None:
    """With the index of words made at the end, and no forcing to the disk: what is half seeded is thrown away."""
    connection = sqlite3.connect(str(database.engine.url.database), isolation_level=None)
    for pragma in ("synchronous=OFF", "foreign_keys=OFF", "cache_size=-400000", "journal_mode=WAL"):
        connection.execute(f"PRAGMA {pragma}")
    triggers = connection.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'findable'"
    ).fetchall()
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    for rows in batches:
        connection.execute("BEGIN")
        for table, names in COLUMNS.items():
            marks = ", ".join("?" * len(names))
            plain = (tuple(_plain(value) for value in row) for row in rows[table])
            connection.executemany(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})", plain)  # noqa: S608 — names of ours
        connection.execute("COMMIT")
    connection.execute("INSERT INTO findable_words(findable_words) VALUES ('rebuild')")
    for _, made in triggers:
        connection.execute(made)
    connection.execute("ANALYZE")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def _plain(value: object) -> object:
    return value.isoformat() if isinstance(value, date) else value


def _into_server(database: Database, batches: Iterable[dict[str, list[tuple[Any, ...]]]]) -> None:
    """By COPY, with the index of words made at the end."""
    url = database.engine.url.set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("SET synchronous_commit = off")
        connection.execute("SET maintenance_work_mem = '512MB'")
        found = "SELECT indexname, indexdef FROM pg_indexes WHERE indexname LIKE 'findable_words%'"
        indexes = connection.execute(found).fetchall()
        for name, _ in indexes:
            connection.execute(sql.SQL("DROP INDEX {}").format(sql.Identifier(name)))
        for rows in batches:
            with connection.transaction(), connection.cursor() as cursor:
                for table, names in COLUMNS.items():
                    with cursor.copy(f"COPY {table} ({', '.join(names)}) FROM STDIN") as copy:
                        for row in rows[table]:
                            copy.write_row(row)
        for _, made in indexes:
            connection.execute(made)
        connection.execute("VACUUM ANALYZE")
