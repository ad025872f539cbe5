"""The commands about owners and their animals."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pipeline.cli.border import CallError
from pipeline.cli.choosing import choose_owner, choose_patient, owner_words, patient_words
from pipeline.cli.columns import show_facts, show_rows
from pipeline.cli.inputs import field_fault, read_day, read_patient
from pipeline.cli.keeping import Books, open_books
from pipeline.cli.screen import output, remark, write_json
from pipeline.record import Owner, Patient
from pipeline.record.microchip import microchip_fault
from pipeline.settings import Settings
from pipeline.store import (
    Client,
    KeptPatient,
    add_client,
    add_patient,
    change_client,
    change_patient,
    client_of,
    patients_of,
    visits_of,
)
from pipeline.store.consents import note_mail_consent

_OWNER_FIELDS = ("name", "phone", "email", "address")


def add_owner(settings: Settings, given: dict[str, str | None]) -> None:
    """Keep a new owner."""
    with open_books(settings) as books:
        owner = add_client(books.database, books.actor, Owner.model_validate(given), books.at())
        output().print(f"{owner_words(owner)}  {owner.id}", soft_wrap=True)


def change_owner(settings: Settings, which: str, given: dict[str, str | None]) -> None:
    """Keep what is known now of an owner; an empty text takes a line away."""
    with open_books(settings) as books:
        owner = choose_owner(books, which)
        known = {
            name: getattr(owner, name) if given[name] is None else given[name] or None
            for name in _OWNER_FIELDS
        }
        change_client(books.database, books.actor, owner, Owner.model_validate(known), books.at())
        _show_owner(books, client_of(books.database, books.actor, owner.id))


def keep_consent(settings: Settings, which: str, *, mail: bool) -> None:
    """Keep whether an owner agrees to e-mail."""
    with open_books(settings) as books:
        owner = choose_owner(books, which)
        note_mail_consent(books.database, books.actor, owner.id, books.at(), given=mail)
        agreed = "agrees" if mail else "does not agree"
        output().print(f"{owner_words(owner)} {agreed} to e-mail.", soft_wrap=True)


def show_owner(settings: Settings, which: str, *, as_json: bool) -> None:
    """Show an owner and their animals."""
    with open_books(settings) as books:
        owner = choose_owner(books, which)
        if as_json:
            animals = patients_of(books.database, books.actor, owner.id)
            write_json(
                {
                    **owner.model_dump(mode="json"),
                    "patients": [one.model_dump(mode="json") for one in animals],
                }
            )
            return
        _show_owner(books, owner)


def new_patient(settings: Settings, file: Path | None, given: dict[str, Any], owner: str | None) -> None:
    """Keep a new patient, from a patient file or from options; the file's owner is kept, too."""
    read = read_patient(file)
    animal = _patient({**(read.model_dump() if read is not None else {}), **_given(given)})
    with open_books(settings) as books:
        of = choose_owner(books, owner).id if owner is not None else animal.owner
        if isinstance(of, Owner) and not any(of.model_dump().values()):
            of = None
        kept = add_patient(books.database, books.actor, animal, of, books.at())
        output().print(f"{patient_words(kept.patient)}  {kept.id}", soft_wrap=True)
        _remark_on_chip(kept.patient)


def edit_patient(settings: Settings, which: str, given: dict[str, Any], owner: str | None) -> None:
    """Keep what is known now of a patient."""
    with open_books(settings) as books:
        kept = choose_patient(books, which)
        client_id = choose_owner(books, owner).id if owner is not None else kept.client_id
        changes = _given(given)
        animal = _patient({**kept.patient.model_dump(), **changes})
        changed = change_patient(books.database, books.actor, kept, animal, client_id, books.at())
        _show_patient(books, changed)
        _remark_on_chip(changed.patient)


def show_patient(settings: Settings, which: str, *, as_json: bool) -> None:
    """Show a patient, its owner and its visits."""
    with open_books(settings) as books:
        kept = choose_patient(books, which)
        if as_json:
            visits = visits_of(books.database, books.actor, kept.id)
            write_json(
                {**kept.model_dump(mode="json"), "visits": [one.model_dump(mode="json") for one in visits]}
            )
            return
        _show_patient(books, kept)


def _show_owner(books: Books, owner: Client) -> None:
    show_facts((*((name, getattr(owner, name)) for name in _OWNER_FIELDS), ("identifier", owner.id)))
    if owner.erased:
        remark("This owner's personal data were erased.")
    animals = patients_of(books.database, books.actor, owner.id)
    if animals:
        output().print()
        show_rows(("patient", "identifier"), [(patient_words(one.patient), one.id) for one in animals])


def _show_patient(books: Books, kept: KeptPatient) -> None:
    animal = kept.patient
    owner = client_of(books.database, books.actor, kept.client_id) if kept.client_id else None
    neutered = {True: "yes", False: "no", None: None}[animal.neutered]
    show_facts(
        (
            ("patient", patient_words(animal)),
            ("sex", animal.sex),
            ("neutered", neutered),
            ("born", animal.birth_date),
            ("weight kg", animal.weight_kg),
            ("microchip", animal.microchip),
            ("owner", f"{owner_words(owner)}  {owner.id}" if owner else None),
            ("identifier", kept.id),
        )
    )
    visits = visits_of(books.database, books.actor, kept.id)
    if visits:
        output().print()
        rows = [(one.on, one.kind, one.state or "no record", one.record_id or one.visit_id) for one in visits]
        show_rows(("day", "visit", "state", "record"), rows)


def _given(options: dict[str, Any]) -> dict[str, Any]:
    changes = {name: value for name, value in options.items() if value is not None}
    if "birth_date" in changes:
        changes["birth_date"] = read_day(changes["birth_date"], "--born") if changes["birth_date"] else None
        changes["age_months"] = None
    return {name: None if value == "" else value for name, value in changes.items()}


def _patient(fields: dict[str, Any]) -> Patient:
    try:
        return Patient.model_validate(fields)
    except ValidationError as error:
        raise CallError(f"The patient cannot be kept so: {field_fault(error.errors()[0])}.") from None


def _remark_on_chip(animal: Patient) -> None:
    fault = microchip_fault(animal.microchip) if animal.microchip else None
    if fault is not None:
        remark(f"{fault} It was kept as given: compare it with the reader.")
