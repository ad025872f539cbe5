"""Patients and owners as forms: what is kept as fields, what was typed as values, and every field that cannot be so.

Pure. What a form holds is text; a fault is a sentence beside the field that it is about.
"""

from __future__ import annotations

import json
import re
from datetime import date
from typing import Literal

from pydantic import ValidationError

from pipeline.desk.texts import say
from pipeline.record import Owner, Patient
from pipeline.record.microchip import compact
from pipeline.store import Client, KeptPatient

SPECIES = ("dog", "cat", "rabbit", "ferret", "guinea_pig")
OTHER = "other"
PATIENT = (
    "name", "species", "species_other", "breed", "sex", "neutered", "birth_date", "age_years", "age_months",
    "weight_kg", "microchip",
)  # fmt: skip
OWNER = ("name", "phone", "email", "address")
CHOICE = "owner"
NEW, NONE = "new", "none"
"""What stands for whose a patient is, beside an owner's identifier."""

_LONGEST = 200
_OLDEST_YEARS = 100
_EMAIL = r"[^\s@,;<>]+@[^\s@,;<>]+\.[^\s@,;<>]+"

Faults = dict[str, str]


def empty_patient(**given: str) -> dict[str, str]:
    """The form of a patient that is not kept yet."""
    owner = dict.fromkeys((f"owner_{name}" for name in OWNER), "")
    return dict.fromkeys(PATIENT, "") | {CHOICE: ""} | owner | given


def patient_form(kept: KeptPatient) -> dict[str, str]:
    """The form of a patient as it is kept."""
    animal = kept.patient
    listed = animal.species in SPECIES
    return empty_patient(
        name=animal.name,
        species=animal.species if listed else OTHER,
        species_other="" if listed else animal.species,
        breed=animal.breed or "",
        sex=animal.sex or "",
        neutered={True: "yes", False: "no", None: ""}[animal.neutered],
        birth_date=animal.birth_date.isoformat() if animal.birth_date is not None else "",
        weight_kg=f"{animal.weight_kg:g}" if animal.weight_kg is not None else "",
        microchip=animal.microchip or "",
        owner=kept.client_id or NONE,
    )


def owner_form(kept: Client | None) -> dict[str, str]:
    """The form of an owner, empty for a new one."""
    return {name: (getattr(kept, name) if kept is not None else None) or "" for name in OWNER}


def read_patient(form: dict[str, str], today: date) -> tuple[Patient | None, Faults]:
    """The animal that a filled form tells of, without its owner; null with the faults of the fields."""
    faults = _too_long(form, PATIENT)
    values: dict[str, object] = {
        "name": form["name"],
        "species": _species(form),
        "breed": form["breed"] or None,
        "sex": form["sex"] or None,
        "neutered": {"yes": True, "no": False}.get(form["neutered"]),
        "weight_kg": _weight(form["weight_kg"], faults),
        "microchip": compact(form["microchip"]) or None,
        "birth_date": _born(form["birth_date"], today, faults),
        "age_months": _age(form, faults),
    }
    if not values["name"]:
        faults["name"] = say("entry.name_missing")
    if not values["species"]:
        faults["species"] = say("entry.species_missing")
    if faults:
        return None, faults
    try:
        return Patient.model_validate(values), {}
    except ValidationError as error:
        first = error.errors()[0]
        return None, {str(first["loc"][0]): say("entry.not_so", why=first["msg"])}


def read_owner(form: dict[str, str], before: Literal["", "owner_"] = "") -> tuple[Owner, Faults]:
    """The owner that a filled form tells of, whose fields have `before` before their names, and the fields' faults."""
    faults = _too_long(form, tuple(f"{before}{name}" for name in OWNER))
    given = {name: form[f"{before}{name}"] or None for name in OWNER}
    if given["email"] is not None and not re.fullmatch(_EMAIL, given["email"]):
        faults[f"{before}email"] = say("entry.email_wrong")
    return Owner.model_validate(given), faults


def seen(form: dict[str, str], names: tuple[str, ...]) -> str:
    """What a page showed when it was opened, to be sent along with what was typed into it."""
    return json.dumps({name: form[name] for name in names}, ensure_ascii=False, sort_keys=True)


def merged(
    typed: dict[str, str], shown: str, now: dict[str, str], names: tuple[str, ...]
) -> tuple[dict[str, str], dict[str, str]]:
    """What to show to the second of two who changed one thing, and what stands now where both changed a field.

    What was typed stays; a field that this person left as it was shown takes what the other one made of it.
    """
    before = _was_shown(shown)
    form, stands = dict(typed), {}
    for name in names:
        if typed[name] == before.get(name):
            form[name] = now[name]
        elif now[name] not in (before.get(name), typed[name]):
            stands[name] = now[name]
    return form, stands


def _was_shown(shown: str) -> dict[str, str]:
    try:
        read = json.loads(shown)
    except ValueError:
        return {}
    return {str(name): str(value) for name, value in read.items()} if isinstance(read, dict) else {}


def _too_long(form: dict[str, str], names: tuple[str, ...]) -> Faults:
    return {name: say("entry.too_long", most=_LONGEST) for name in names if len(form[name]) > _LONGEST}


def _species(form: dict[str, str]) -> str:
    chosen, other = form["species"], form["species_other"]
    if chosen in SPECIES:
        return chosen
    named = other.casefold().replace(" ", "_").replace("-", "_")
    return named if named in SPECIES else other


def _weight(typed: str, faults: Faults) -> float | None:
    if not typed:
        return None
    number = re.fullmatch(r"(\d{1,4}(?:[.,]\d{1,3})?)\s*(?:kg)?", typed, re.ASCII | re.IGNORECASE)
    if number is None or not (weight := float(number[1].replace(",", "."))):
        faults["weight_kg"] = say("entry.weight_wrong")
        return None
    return weight


def _born(typed: str, today: date, faults: Faults) -> date | None:
    if not typed:
        return None
    try:
        born = date.fromisoformat(typed)
    except ValueError:
        faults["birth_date"] = say("entry.date_wrong")
        return None
    if not today.year - _OLDEST_YEARS <= born.year or born > today:
        faults["birth_date"] = say("entry.date_ahead" if born > today else "entry.date_long_ago")
    return born


def _age(form: dict[str, str], faults: Faults) -> int | None:
    years, months = form["age_years"], form["age_months"]
    if not years and not months:
        return None
    if form["birth_date"]:
        faults["age_years"] = say("entry.two_ages")
        return None
    if not all(re.fullmatch(r"\d{0,3}", one, re.ASCII) for one in (years, months)):
        faults["age_years"] = say("entry.age_wrong")
        return None
    age = int(years or 0) * 12 + int(months or 0)
    if age > _OLDEST_YEARS * 12:
        faults["age_years"] = say("entry.age_wrong")
    return age
