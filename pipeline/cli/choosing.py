"""Which patient, owner or record a user means: by identifier, microchip number, or words that only one has."""

from __future__ import annotations

import re

from pipeline.cli.border import CallError
from pipeline.cli.keeping import Books
from pipeline.record import Patient
from pipeline.store import (
    Client,
    KeptPatient,
    client_of,
    full_id,
    patient_by_microchip,
    patient_of,
    search,
)
from pipeline.store.lists import Thing
from pipeline.store.search import Kind

_SHOWN = 8
# Shorter ones are words: "abba" is a name, too.
_IDENTIFIER = re.compile(r"[0-9a-fA-F]{12,32}")


def choose_patient(books: Books, given: str) -> KeptPatient:
    """The one patient of that identifier, microchip number or words. Raises CallError, NotFoundError."""
    chipped = patient_by_microchip(books.database, books.actor, given)
    if chipped is not None:
        return chipped
    return patient_of(books.database, books.actor, _chosen(books, given, "patient", "patient"))


def choose_owner(books: Books, given: str) -> Client:
    """The one owner of that identifier or those words. Raises CallError, NotFoundError."""
    return client_of(books.database, books.actor, _chosen(books, given, "owner", "client"))


def choose_record(books: Books, given: str) -> str:
    """The identifier of the record that begins so. Raises EntryError, NotFoundError."""
    return full_id(books.database, books.actor, "record", given)


def patient_words(animal: Patient) -> str:
    """A patient in a few words: Bramley, dog, lurcher."""
    return ", ".join(word for word in (animal.name, animal.species, animal.breed) if word)


def owner_words(owner: Client) -> str:
    """An owner in a few words: what is known first of name, telephone, e-mail and address."""
    if owner.erased:
        return "(erased)"
    known = (owner.name, owner.phone, owner.email, owner.address)
    return next((word for word in known if word), "(nothing known)")


def _chosen(books: Books, given: str, thing: Thing, kind: Kind) -> str:
    if _IDENTIFIER.fullmatch(given.strip()):
        return full_id(books.database, books.actor, thing, given)
    hits = search(books.database, books.actor, given, kind, limit=_SHOWN + 1)
    if not hits:
        raise CallError(
            f"No {thing} is found by {given!r}. Give other words, or see who there is: rostral find WORDS"
        )
    if len(hits) == 1:
        return hits[0].id
    listed = "; ".join(f"{_words(books, kind, hit.id)} ({hit.id})" for hit in hits[:_SHOWN])
    more = " and more" if len(hits) > _SHOWN else ""
    raise CallError(f"Several are found by {given!r}: {listed}{more}. Give the identifier of the right one.")


def _words(books: Books, kind: Kind, identifier: str) -> str:
    if kind == "patient":
        return patient_words(patient_of(books.database, books.actor, identifier).patient)
    return owner_words(client_of(books.database, books.actor, identifier))
