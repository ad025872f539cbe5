"""Holds the rows of a list against each other and against what is kept; writes all of them, or nothing."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import Connection, select

from pipeline.record import Owner, Patient
from pipeline.speech.model import Frozen
from pipeline.store.database import Database
from pipeline.store.errors import EntryError
from pipeline.store.intake.reading import Sheet, plain
from pipeline.store.intake.rows import DayOrder, Understood, day_order, understand
from pipeline.store.model import Actor
from pipeline.store.patients import insert_client, insert_patient
from pipeline.store.tables import client, patient
from pipeline.store.trail import Change, change


class Fault(Frozen):
    """What is wrong with a row, or worth a look: the line of the file that it begins on, and why."""

    line: int
    reason: str


class Intake(Frozen):
    """What became, or would become, of a list. `written` is false for a dry run and where any row is wrong."""

    rows: int
    owners: int
    owners_known: int
    patients: int
    faults: tuple[Fault, ...]
    notes: tuple[Fault, ...]
    written: bool


class _DryRunError(Exception):
    """Leaves a transaction without a trace."""


def take_in(
    database: Database,
    actor: Actor,
    sheet: Sheet,
    at: datetime,
    *,
    source: str,
    write: bool,
    order: DayOrder | None = None,
) -> Intake:
    """Take a list in, in one transaction: all rows, or none when one is wrong or `write` is not set.

    `source` is a checksum of the file, for the trail. Raises EntryError when its dates can be read two ways.
    """
    if order is None:
        order, why = day_order(sheet.rows)
        if why is not None:
            raise EntryError(f"The birth dates cannot be read: {why}. Say --dates day-first or month-first.")
    faults: list[Fault] = []
    taken: list[Understood] = []
    for row in sheet.rows:
        understood, reasons = understand(row, at.date(), order)
        faults += [Fault(line=row.line, reason=reason) for reason in reasons]
        if understood is not None:
            taken.append(understood)
    notes = [Fault(line=one.line, reason=note) for one in taken for note in one.notes]
    writing = _Writing(taken)
    try:
        with change(database, actor, at) as made:
            faults += writing.check(made.connection, actor)
            if not faults and write:
                writing.write(made)
                made.note(
                    "import",
                    actor.practice_id,
                    file=source,
                    owners=len(writing.owners),
                    patients=len(writing.patients),
                )
            else:
                raise _DryRunError
    except _DryRunError:
        pass
    return Intake(
        rows=len(sheet.rows),
        owners=len(writing.owners),
        owners_known=writing.known,
        patients=len(writing.patients),
        faults=tuple(sorted(faults, key=lambda fault: fault.line)),
        notes=tuple(notes),
        written=bool(write and not faults),
    )


class _Writing:
    """Rows on their way into the tables: which owners are new, and whose each patient is."""

    def __init__(self, taken: Iterable[Understood]) -> None:
        self._taken = tuple(taken)
        self.owners: dict[str, Owner] = {}
        self.patients: list[tuple[Patient, str | None]] = []
        self.known = 0
        self._kept: dict[str, str] = {}

    def check(self, connection: Connection, actor: Actor) -> list[Fault]:
        """Settle owners and patients; every row that repeats another one or what is kept is a fault."""
        self._kept = _kept_owners(connection, actor)
        animals, chips = _kept_patients(connection, actor)
        seen: dict[tuple[str | None, str, str], int] = {}
        seen_chips: dict[str, int] = {}
        faults: list[Fault] = []
        keys: dict[str, str] = {}
        used: set[str] = set()
        for one in self._taken:
            owner, fault = self._owner_of(one, keys)
            if owner is not None and owner in self._kept:
                used.add(owner)
            reasons = [fault] if fault else []
            if one.patient is not None:
                reasons += _repeats(
                    one, owner, self._kept.get(owner or ""), (animals, chips), (seen, seen_chips)
                )
                if not reasons:
                    self.patients.append((one.patient, owner))
            faults += [Fault(line=one.line, reason=reason) for reason in reasons]
        self.known = len(used)
        return faults

    def write(self, made: Change) -> None:
        """Insert what was settled."""
        identifiers = dict(self._kept)
        for mark, owner in self.owners.items():
            identifiers[mark] = insert_client(made, owner).id
        for animal, of in self.patients:
            insert_patient(made, animal, identifiers[of] if of is not None else None)

    def _owner_of(self, one: Understood, keys: dict[str, str]) -> tuple[str | None, str | None]:
        """The mark of a row's owner, by which rows of one owner are told; and what is wrong with them."""
        if one.owner is None:
            if one.owner_key is None or one.owner_key in keys:
                return keys.get(one.owner_key or ""), None
            return None, f"owner number {one.owner_key!r} has no name in this row, nor in one before"
        mark = _mark(one.owner.name, one.owner.phone, one.owner.email, one.owner.address)
        if one.owner_key is not None:
            first = keys.setdefault(one.owner_key, mark)
            if first != mark and first in self.owners and _name(self.owners[first]) != _name(one.owner):
                return None, f"owner number {one.owner_key!r} is another owner's in a row before"
            mark = first
        if mark not in self._kept:
            self.owners.setdefault(mark, one.owner)
        return mark, None


def _repeats(
    one: Understood,
    owner: str | None,
    client_id: str | None,
    kept: tuple[set[tuple[str | None, str, str]], dict[str, str]],
    seen: tuple[dict[tuple[str | None, str, str], int], dict[str, int]],
) -> list[str]:
    assert one.patient is not None  # noqa: S101 — only rows with patients come here
    reasons = []
    name, species, chip = plain(one.patient.name), one.patient.species, one.patient.microchip
    if chip is not None:
        if chip in kept[1]:
            reasons.append(f"microchip {chip} is that of {kept[1][chip]}, who is kept already")
        elif (line := seen[1].setdefault(chip, one.line)) != one.line:
            reasons.append(f"microchip {chip} stands in line {line}, too")
    if client_id is not None and (client_id, name, species) in kept[0]:
        reasons.append(f"{one.patient.name} of this owner is kept already")
    elif (line := seen[0].setdefault((owner, name, species), one.line)) != one.line and (
        owner or chip is None
    ):
        reasons.append(f"{one.patient.name}, {species}, of the same owner stands in line {line}, too")
    return reasons


def _mark(*known: str | None) -> str:
    return "\x1f".join(plain(part) if part else "" for part in known)


def _name(owner: Owner) -> str:
    return plain(owner.name or "")


def _kept_owners(connection: Connection, actor: Actor) -> dict[str, str]:
    rows = connection.execute(
        select(client).where(client.c.practice_id == actor.practice_id, client.c.erased_at.is_(None))
    )
    return {_mark(row.name, row.phone, row.email, row.address): row.id for row in rows}


def _kept_patients(
    connection: Connection, actor: Actor
) -> tuple[set[tuple[str | None, str, str]], dict[str, str]]:
    animals: set[tuple[str | None, str, str]] = set()
    chips: dict[str, str] = {}
    columns = (patient.c.client_id, patient.c.name, patient.c.species, patient.c.microchip)
    for row in connection.execute(select(*columns).where(patient.c.practice_id == actor.practice_id)):
        animals.add((row.client_id, plain(row.name), row.species))
        if row.microchip is not None:
            chips[row.microchip] = row.name
    return animals, chips
