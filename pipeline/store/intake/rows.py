"""One row of a list understood: the owner and the patient it tells of, or what is wrong with it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from datetime import date
from typing import Literal

from pipeline.record import Owner, Patient
from pipeline.record.microchip import compact, microchip_fault
from pipeline.speech.model import Frozen
from pipeline.store.intake.reading import Row, plain, words

DayOrder = Literal["day-first", "month-first"]

_OLDER_CHIP = re.compile(r"[0-9A-Fa-f]{9,10}")
"""Transponders from before the standard have nine or ten characters (see `record.microchip`)."""

_NUMBERED = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})")
_OLDEST_YEAR = 1950


class Understood(Frozen):
    """What a row tells; `notes` is what a person should look at and that stops nothing."""

    line: int
    owner: Owner | None
    owner_key: str | None
    patient: Patient | None
    notes: tuple[str, ...] = ()


def day_order(rows: Iterable[Row]) -> tuple[DayOrder | None, str | None]:
    """Whether 03/04/2020 is a day of April or of March, by those days of the list that can only be one; else why not."""
    found: set[DayOrder] = set()
    unsure = None
    for row in rows:
        match = _NUMBERED.fullmatch(row.cells.get("birth_date", ""))
        if match is None:
            continue
        first, second = int(match[1]), int(match[2])
        if first > 12 >= second:
            found.add("day-first")
        elif second > 12 >= first:
            found.add("month-first")
        elif first != second:
            unsure = row.cells["birth_date"]
    if len(found) == 1:
        return found.pop(), None
    if not found and unsure is None:
        return None, None
    why = "some can only have the day first, others only the month" if found else f"{unsure} can be two days"
    return None, why


def understand(row: Row, today: date, order: DayOrder | None) -> tuple[Understood | None, list[str]]:
    """What a row tells, or every reason why it cannot be taken."""
    if row.fault is not None:
        return None, [row.fault]
    faults: list[str] = []
    notes: list[str] = []
    cells = row.cells
    owner = _owner(cells)
    patient = None
    if "name" in cells or "species" in cells:
        patient = _patient(cells, today, order, faults, notes)
    elif owner is None:
        faults.append("names neither an owner nor a patient")
    elif left := [name for name in ("breed", "sex", "birth_date", "microchip") if name in cells]:
        faults.append(f"has {' and '.join(left)} and no name of a patient")
    if faults:
        return None, faults
    return Understood(
        line=row.line, owner=owner, owner_key=cells.get("owner_key"), patient=patient, notes=tuple(notes)
    ), []


def _owner(cells: dict[str, str]) -> Owner | None:
    name = " ".join(cells[part] for part in ("owner_first_name", "owner_name") if part in cells)
    address = ", ".join(
        cells[part] for part in ("owner_address", "owner_town", "owner_postcode") if part in cells
    )
    owner = Owner(
        name=name or None,
        phone=cells.get("owner_phone"),
        email=cells.get("owner_email"),
        address=address or None,
    )
    return owner if any(owner.model_dump().values()) else None


def _patient(
    cells: dict[str, str], today: date, order: DayOrder | None, faults: list[str], notes: list[str]
) -> Patient | None:
    for name in ("name", "species"):
        if name not in cells:
            faults.append(f"has no {name} of the patient")
    sex, neutered = _sex(cells, faults)
    born = _born(cells["birth_date"], today, order, faults) if "birth_date" in cells else None
    weight = _weight(cells["weight_kg"], faults) if "weight_kg" in cells else None
    chip = _chip(cells["microchip"], faults, notes) if "microchip" in cells else None
    if faults:
        return None
    species = words("species").get(plain(cells["species"]), cells["species"])
    return Patient(
        name=cells["name"],
        species=species,
        breed=cells.get("breed"),
        sex=sex,
        neutered=neutered,
        birth_date=born,
        weight_kg=weight,
        microchip=chip,
    )


def _sex(cells: dict[str, str], faults: list[str]) -> tuple[Literal["male", "female"] | None, bool | None]:
    said = words("sex").get(plain(cells["sex"])) if "sex" in cells else "unknown"
    if said is None:
        faults.append(f"sex {cells['sex']!r} is not understood: male or female, with neutered beside it")
        return None, None
    neutered: bool | None = True if said.endswith("neutered") else None
    if "neutered" in cells:
        told = words("neutered").get(plain(cells["neutered"]))
        if told is None:
            faults.append(f"neutered {cells['neutered']!r} is not understood: yes or no")
        elif told == "no" and neutered:
            faults.append(f"sex says {cells['sex']!r} and neutered says {cells['neutered']!r}")
        else:
            neutered = {"yes": True, "no": False, "unknown": neutered}[told]
    if said.startswith("male"):
        return "male", neutered
    return ("female" if said.startswith("female") else None), neutered


def _born(text: str, today: date, order: DayOrder | None, faults: list[str]) -> date | None:
    try:
        found = _day(text, order)
    except ValueError:
        found = None
    if found is None:
        faults.append(f"birth date {text!r} is no day: year-month-day is understood best")
    elif found > today:
        faults.append(f"birth date {text!r} lies ahead")
    elif found.year < _OLDEST_YEAR:
        faults.append(f"birth date {text!r} is older than any patient")
    else:
        return found
    return None


def _day(text: str, order: DayOrder | None) -> date | None:
    # Lists of other programs often add a time to a day.
    text = re.sub(r"[T ]\d{1,2}:\d\d(:\d\d)?(\.\d+)?Z?$", "", text)
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII):
        return date.fromisoformat(text)
    match = _NUMBERED.fullmatch(text)
    if match is None:
        return None
    first, second, year = int(match[1]), int(match[2]), int(match[3])
    day, month = (second, first) if order == "month-first" else (first, second)
    return date(year, month, day)


def _weight(text: str, faults: list[str]) -> float | None:
    bare = re.sub(r"\s*kgs?$", "", text, flags=re.IGNORECASE).replace(",", ".")
    try:
        weight = float(bare)
    except ValueError:
        weight = math.nan
    if math.isfinite(weight) and weight > 0:
        return weight
    faults.append(f"weight {text!r} is no weight in kilograms")
    return None


def _chip(text: str, faults: list[str], notes: list[str]) -> str | None:
    number = compact(text)
    if re.fullmatch(r"\d(,?\d)*e\+?\d+", number, re.IGNORECASE):
        faults.append(
            f"microchip {text!r} was rounded by a spreadsheet: make the column text there before it is saved as CSV"
        )
        return None
    fault = microchip_fault(number)
    if fault is None:
        return number
    if _OLDER_CHIP.fullmatch(number):
        notes.append(f"microchip {text!r} has the form from before ISO 11784: compare it with the reader")
        return number
    faults.append(f"microchip {text!r}: {fault[:1].lower()}{fault[1:].rstrip('.')}")
    return None
