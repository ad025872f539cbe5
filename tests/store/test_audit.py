"""Whatever other hands change in signed records or the trail is found, and so is an end that was cut off."""

from __future__ import annotations

import json
import random
import string
from pathlib import Path
from typing import Any

import pytest
from hands import as_intruder
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from kept import Practice, new_practice
from sqlalchemy import LargeBinary, Table, delete, insert, literal, select, type_coerce, update

from pipeline.store import Database, audit
from pipeline.store.stamps import canonical
from pipeline.store.tables import event, person, practice, record, record_version, visit
from pipeline.store.trail import event_sha256

SMALL = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def kept(database: Database) -> Practice:
    """A practice with two signed records and a draft."""
    made = new_practice(database)
    made.signed()
    made.signed()
    made.draft()
    assert audit(database) == ()
    return made


def _cells(database: Database, table: Table, column: Any) -> list[tuple[dict[str, Any], Any]]:
    """What lies in a column, row by row, each with the row's key."""
    raw = type_coerce(column, LargeBinary) if column.name in ("body", "review") else column
    with database.reading() as connection:
        rows = connection.execute(select(*table.primary_key, raw.label("cell")))
        return [
            ({key.name: row[key.name] for key in table.primary_key}, row["cell"]) for row in rows.mappings()
        ]


def _other(value: Any, chance: random.Random) -> Any:
    """The value with one byte or character of it changed or one added, or another number."""
    if isinstance(value, int):
        return chance.choice([n for n in (-1, 0, value + 1000, 2**31 - 1) if n != value])
    if value is None:
        return "x"
    letters: Any = bytes(range(256)) if isinstance(value, bytes) else string.ascii_letters + " é0"
    place = chance.randrange(len(value) + 1)
    letter = chance.randrange(len(letters))
    other = value[:place] + letters[letter : letter + 1] + value[place + 1 :]
    return other if other != value else _other(value, chance)


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32))
def test_no_byte_of_signed_records_and_trail_changes_unseen(kept: Practice, seed: int) -> None:
    """Any byte of any column of any row, on both databases; then it is put back, and the audit is content again."""
    chance = random.Random(seed)  # noqa: S311 — a choice, no secret
    table = chance.choice((record_version, event))
    column = chance.choice([*table.c])
    key, value = chance.choice(_cells(kept.database, table, column))
    other = _other(value, chance)
    length = getattr(column.type, "length", None)
    if length is not None and len(other) > length:
        other = other[-length:]  # the column takes no more
    kind = LargeBinary() if isinstance(value, bytes) else column.type

    def write(new: Any, where: dict[str, Any]) -> None:
        statement = update(table).values({column.name: type_coerce(literal(new, kind), kind)})
        for name, at in where.items():
            statement = statement.where(table.c[name] == at)
        as_intruder(kept.database, statement)

    write(other, key)
    assert audit(kept.database) != (), (column, key, value, other)
    write(value, {**key, **({column.name: other} if column.name in key else {})})
    assert audit(kept.database) == ()


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        (update(record).values(visit_id="0" * 32), "Visit or version"),
        (update(visit).values(patient_id="0" * 32), "kind or day of visit"),
        (update(visit).values(kind="senior"), "kind or day of visit"),
        (update(visit).values(practice_id="0" * 32), "kind or day of visit"),
        (update(record).values(practice_id="0" * 32), "Visit or version"),
        (delete(visit), "is in the trail and is gone"),
        (update(person).values(role="vet"), "Name, role or access"),
        (update(person).values(active=False), "Name, role or access"),
        (delete(person).where(person.c.role == "nurse"), "Person .* is in the trail"),
        (update(practice).values(trail_sha256="0" * 64), "row was altered"),
        (delete(practice), "the practice itself is gone"),
        (update(record_version).values(signed_name="Perrin Vale"), "who signed it"),
        (update(record_version).values(signed_at="2020-01-01T00:00:00.000000Z"), "who signed it"),
    ],
)
def test_what_stands_around_a_record_is_held_against_the_trail(
    kept: Practice, statement: object, says: str
) -> None:
    as_intruder(kept.database, statement)
    with pytest.raises(AssertionError, match=says):
        assert audit(kept.database) == ()


# --- the end of the trail --------------------------------------------------------------------------


@pytest.fixture
def anchored(address: Any, tmp_path: Any) -> Any:
    """A practice whose trail is anchored in a folder, whichever the database."""
    opened = Database(address, tmp_path / "anchors")
    made = new_practice(opened)
    made.signed()
    yield made
    opened.close()


def _cut(made: Practice, to: int) -> None:
    """Cut the trail off after an event, with all that came later, and set the practice's row to fit."""
    database = made.database
    with database.reading() as connection:
        last = connection.execute(select(event.c.sha256).where(event.c.seq == to)).scalar_one()
    for statement in (
        delete(event).where(event.c.seq > to),
        delete(record_version),
        delete(record),
        delete(visit),
        update(practice).values(trail_seq=to, trail_sha256=last),
    ):
        as_intruder(database, statement)


def test_an_end_cut_off_together_with_the_head_is_found(anchored: Practice) -> None:
    _cut(anchored, 4)
    (fault, *_) = audit(anchored.database)
    assert "cut off, or an older backup was restored" in fault
    assert "sign " in fault


def test_without_anchors_a_fitting_end_would_pass(database: Database) -> None:
    """Why the anchors are there: nothing inside the database can tell."""
    made = new_practice(database)
    made.signed()
    database.anchors.folder = None
    _cut(made, 4)
    assert [fault for fault in audit(database) if "Patient" not in fault] == []


def test_a_trail_that_was_written_anew_is_found(anchored: Practice) -> None:
    """Every checksum fits, since all were made again; the anchors know the ones before."""
    database = anchored.database
    with database.reading() as connection:
        rows = [dict(row) for row in connection.execute(select(event).order_by(event.c.seq)).mappings()]
    previous = rows[2]["sha256"]
    for row in rows[3:]:
        if row["action"] == "sign":
            row["detail"] = canonical({**json.loads(row["detail"]), "reason": ""})
        row["at"], row["previous"] = "2025-06-17" + row["at"][10:], previous
        previous = row["sha256"] = event_sha256(row)
    as_intruder(database, delete(event).where(event.c.seq > 3))
    as_intruder(database, insert(event).values(rows[3:]))
    as_intruder(database, update(practice).values(trail_sha256=previous))
    assert any("written anew" in fault for fault in audit(database))


def test_a_line_of_the_anchors_that_was_altered_is_told(anchored: Practice) -> None:
    folder = anchored.database.anchors.folder
    assert folder is not None
    (file,) = folder.iterdir()
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    file.write_text("".join([*lines[:-1], "x" + lines[-1]]), encoding="utf-8")
    (fault,) = audit(anchored.database)
    assert "altered" in fault
    # A line that a crash tore off is none: the change was there before it.
    file.write_text("".join(lines) + '{"at":', encoding="utf-8")
    assert audit(anchored.database) == ()


def test_anchors_that_cannot_be_written_stop_no_change(anchored: Practice, tmp_path: Any) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    anchored.database.anchors.folder = blocked
    anchored.draft()
    assert "ROSTRAL_ANCHORS" in (anchored.database.anchors.fault or "")


def test_anchors_hold_no_names(anchored: Practice) -> None:
    folder = anchored.database.anchors.folder
    assert folder is not None
    text = "".join(file.read_text(encoding="utf-8") for file in folder.iterdir())
    assert "Halloran" not in text
    assert "Bramley" not in text


def test_anchors_that_cannot_be_read_are_a_fault(tmp_path: Path) -> None:
    """Nobody is told that all is well who could not look: here a file stands in the folder's place."""
    database = Database(tmp_path / "rostral.sqlite", tmp_path / "anchors")
    new_practice(database)
    assert audit(database) == ()
    (tmp_path / "anchors").rename(tmp_path / "elsewhere")
    (tmp_path / "anchors").write_text("", encoding="utf-8")
    (fault,) = audit(database)
    assert fault.startswith(f"The anchors in {tmp_path / 'anchors'} cannot be read")
    database.close()
