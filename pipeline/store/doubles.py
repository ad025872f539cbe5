"""Who may be there already: an owner or a patient that somebody is about to keep a second time.

Trade knowledge, common practice, no source: one owner is told by a name, a telephone number or an e-mail address alone, since
each of them changes or is left out; one patient by its name and kind at one owner. Both are asked about, never refused.
"""

from __future__ import annotations

import re

from pipeline.record import Owner, Patient
from pipeline.store.database import Database
from pipeline.store.lists import patients_of
from pipeline.store.model import Actor, Client, KeptPatient
from pipeline.store.patients import client_of
from pipeline.store.search import plain_words, search

_MOST = 50
"""So many of one name are looked at: beyond that a name tells nobody apart."""


def owners_like(database: Database, actor: Actor, owner: Owner) -> tuple[Client, ...]:
    """Owners of the same name, telephone number or e-mail address; a number is found in the groups it was written in."""
    wanted = _marks(owner.name, owner.phone, owner.email)
    found: dict[str, Client] = {}
    for said in (owner.name, owner.phone, owner.email):
        for hit in search(database, actor, said or "", "client", _MOST):
            one = found.get(hit.id) or client_of(database, actor, hit.id)
            if wanted & _marks(one.name, one.phone, one.email):
                found[hit.id] = one
    return tuple(found.values())


def patients_like(
    database: Database, actor: Actor, animal: Patient, client_id: str | None
) -> tuple[KeptPatient, ...]:
    """Patients of that name and species at that owner, or at another one of the owner's name."""
    if client_id is None:
        return ()
    owner = client_of(database, actor, client_id)
    alike = {client_id} | {
        hit.id
        for hit in search(database, actor, owner.name or "", "client", _MOST)
        if plain_words(client_of(database, actor, hit.id).name or "") == plain_words(owner.name or "")
    }
    name, species = plain_words(animal.name), animal.species.casefold()
    return tuple(
        one
        for other in sorted(alike)
        for one in patients_of(database, actor, other)
        if plain_words(one.patient.name) == name and one.patient.species.casefold() == species
    )


def _marks(name: str | None, phone: str | None, email: str | None) -> set[str]:
    """What an owner is told by, in one form; a number's last nine digits, since its beginning is written in many ways."""
    digits = re.sub(r"\D", "", phone or "")[-9:]
    marks = {"name": " ".join(plain_words(name or "")), "phone": digits, "email": (email or "").casefold()}
    return {f"{kind}:{mark}" for kind, mark in marks.items() if mark}
