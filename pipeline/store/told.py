"""What the trail and its anchors say there must be, for an audit to take off what is there: what is left over is missing.

It lies in a private file of SQLite's, which nobody else sees and which is gone when it is closed: what a million records need
does not fit in the memory of a practice's computer.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import Any, NamedTuple

from pipeline.store.anchors import Anchored

_TABLES = """
PRAGMA journal_mode = OFF;
PRAGMA synchronous = OFF;
PRAGMA cache_size = -32768;
CREATE TABLE patient (id PRIMARY KEY) WITHOUT ROWID;
CREATE TABLE visit (id PRIMARY KEY, practice, patient, kind, day) WITHOUT ROWID;
CREATE TABLE record (id PRIMARY KEY, practice, visit, state, draft, version DEFAULT 0, aside) WITHOUT ROWID;
CREATE TABLE signed (record, version, sha256, stored, reason, by, at, PRIMARY KEY (record, version)) WITHOUT ROWID;
CREATE TABLE anchor (practice, seq, sha256, at, did, PRIMARY KEY (practice, seq)) WITHOUT ROWID;
BEGIN;
"""


class Person(NamedTuple):
    """Somebody as the trail has them now."""

    practice: str
    name: str
    role: str
    active: bool


class Signed(NamedTuple):
    """What a signature covers: checksums of the text and of the very bytes, why, who and when."""

    sha256: str
    stored: str
    reason: str
    by: str
    at: str


class Stands(NamedTuple):
    """How a record stands: its draft's checksum is null without one, its version is the last signed one.

    `aside` is since when it is set aside, null if it is not.
    """

    practice: str
    visit: str
    state: str
    draft: str | None
    version: int
    aside: str | None


class Told:
    """Close it at the end."""

    def __init__(self) -> None:
        self._tables = sqlite3.connect("", isolation_level=None)
        self._tables.executescript(_TABLES)
        self.people: dict[str, Person] = {}
        self.events = 0
        self.versions = 0
        self.anchored = 0

    def close(self) -> None:
        """Let go of all of it."""
        self._tables.close()

    # --- what is told ---------------------------------------------------------------------------------

    def anchor(self, line: Anchored) -> None:
        """Take a line from outside the database; where a backup was restored, those of what it did not hold are over."""
        self.anchored += 1
        if line.anew_from is not None:
            self._do("DELETE FROM anchor WHERE practice = ? AND seq >= ?", line.practice, line.anew_from)
        did = "\n".join(f"{action} {subject}" for action, subject in line.did)
        self._do(
            "REPLACE INTO anchor VALUES (?, ?, ?, ?, ?)", line.practice, line.seq, line.sha256, line.at, did
        )

    def take(self, row: Any, detail: dict[str, Any]) -> None:
        """Follow one event. Raises ValueError, KeyError, TypeError or sqlite3.Error for one that says nothing sensible."""
        if not isinstance(detail, dict):
            raise TypeError("the detail of an event is an object")
        action, subject, practice = row["action"], row["subject"], row["practice_id"]
        match action:
            case "add_person":
                self.people[subject] = Person(practice, str(detail["name"]), str(detail["role"]), active=True)
            case "retire_person":
                self.people[subject] = self.people[subject]._replace(active=False)
            case "add_patient":
                self._do("REPLACE INTO patient VALUES (?)", subject)
            case "open_visit":
                said = (str(detail[name]) for name in ("patient", "kind", "on"))
                self._do("REPLACE INTO visit VALUES (?, ?, ?, ?, ?)", subject, practice, *said)
            case "keep_record":
                self._do(
                    "REPLACE INTO record (id, practice, visit, state, draft) VALUES (?, ?, ?, 'draft', ?)",
                    subject,
                    practice,
                    str(detail["visit"]),
                    str(detail["review"]),
                )
            case "keep_draft" | "amend":
                self._do(
                    "UPDATE record SET state = 'draft', draft = ? WHERE id = ?",
                    str(detail["review"]),
                    subject,
                )
            case "sign":
                self._sign(row, detail)
            case "file":
                self._do("UPDATE record SET state = 'filed' WHERE id = ?", subject)
            case "leave_amendment":
                self._do(
                    "UPDATE record SET state = ?, draft = NULL WHERE id = ?", str(detail["state"]), subject
                )
            case "set_aside":
                self._do("UPDATE record SET aside = ? WHERE id = ?", row["at"], subject)
            case "take_up":
                self._do("UPDATE record SET aside = NULL WHERE id = ?", subject)

    def _sign(self, row: Any, detail: dict[str, Any]) -> None:
        version = int(detail["version"])
        said = (str(detail[name]) for name in ("sha256", "stored", "reason"))
        self._do(
            "REPLACE INTO signed VALUES (?, ?, ?, ?, ?, ?, ?)",
            *(row["subject"], version, *said, row["person_id"], row["at"]),
        )
        self._do(
            "UPDATE record SET state = 'signed', draft = NULL, version = max(version, ?) WHERE id = ?",
            version,
            row["subject"],
        )
        self.versions += 1

    # --- what it is held against ----------------------------------------------------------------------

    def anchor_at(self, practice: str, seq: int) -> tuple[str, str] | None:
        """The checksum that was anchored of an event, and when; null where none was."""
        found: tuple[str, str] | None = self._one(
            "SELECT sha256, at FROM anchor WHERE practice = ? AND seq = ?", practice, seq
        )
        return found

    def anchors_from(self, practice: str, seq: int) -> Iterator[tuple[int, str, list[tuple[str, str]]]]:
        """What was anchored from an event on: number, time, and what was done to what."""
        rows = self._do(
            "SELECT seq, at, did FROM anchor WHERE practice = ? AND seq >= ? ORDER BY seq", practice, seq
        )
        for number, at, did in rows:
            deeds = (line.partition(" ") for line in did.splitlines())
            yield number, at, [(action, subject) for action, _, subject in deeds]

    def anchored_practices(self) -> set[str]:
        """Practices that were anchored."""
        return {practice for (practice,) in self._do("SELECT DISTINCT practice FROM anchor")}

    def off_patient(self, identifier: object) -> None:
        """Take a patient off that is there."""
        self._do("DELETE FROM patient WHERE id = ?", identifier)

    def off_visit(self, identifier: object) -> tuple[str, str, str, str] | None:
        """Take a visit off that is there: what is told of its practice, patient, kind and day; null if nothing."""
        said: tuple[str, str, str, str] | None = self._one(
            "SELECT practice, patient, kind, day FROM visit WHERE id = ?", identifier
        )
        self._do("DELETE FROM visit WHERE id = ?", identifier)
        return said

    def off_version(self, record: object, version: object) -> Signed | None:
        """Take a signed version off that is there; null if it is not told of."""
        chosen = "FROM signed WHERE record = ? AND version = ?"
        said = self._one(f"SELECT sha256, stored, reason, by, at {chosen}", record, version)
        self._do(f"DELETE {chosen}", record, version)
        return None if said is None else Signed(*said)

    def off_record(self, identifier: object) -> Stands | None:
        """Take a record off that is there; null if it is not told of."""
        said = self._one(
            "SELECT practice, visit, state, draft, version, aside FROM record WHERE id = ?", identifier
        )
        self._do("DELETE FROM record WHERE id = ?", identifier)
        return None if said is None else Stands(*said)

    def left_patients(self) -> Iterator[str]:
        """Patients that were not taken off."""
        return (one for (one,) in self._do("SELECT id FROM patient ORDER BY id"))

    def left_visits(self) -> Iterator[str]:
        """Visits that were not taken off."""
        return (one for (one,) in self._do("SELECT id FROM visit ORDER BY id"))

    def left_versions(self) -> Iterator[tuple[str, int]]:
        """Signed versions that were not taken off."""
        return iter(self._do("SELECT record, version FROM signed ORDER BY record, version"))

    def left_records(self) -> Iterator[str]:
        """Records that were not taken off."""
        return (one for (one,) in self._do("SELECT id FROM record ORDER BY id"))

    def _do(self, statement: str, *values: object) -> sqlite3.Cursor:
        return self._tables.execute(statement, values)

    def _one(self, statement: str, *values: object) -> Any:
        return self._do(statement, *values).fetchone()
