"""How a signed record can leave from the desk, and what stands against it, for pages and programs alike."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.desk.courier import Courier
from pipeline.desk.desk import Desk
from pipeline.desk.texts import say
from pipeline.jobs import Deliver, Handover
from pipeline.jobs.delivering import Way
from pipeline.store import Actor, Client, EntryError, client_of, patient_of, record_line
from pipeline.store.consents import Consent, agreed_to_mail, mail_consent_of

OFFERED: dict[Way, tuple[str, ...]] = {
    "folder": ("pdf", "sheet", "fhir.r4b", "fhir.r5", "json", "csv", "jsonl", "ics"),
    "mail": ("sheet", "pdf"),
    "fhir": ("fhir.r4b", "fhir.r5"),
}
"""The forms of each way, called as receipts call them; the usual one first."""


@dataclass(frozen=True, slots=True)
class Exit:
    """A way out for a record: the forms to choose from, or what stands against it in a sentence."""

    way: Way
    forms: tuple[str, ...]
    against: str


def exits(desk: Desk, courier: Courier, actor: Actor, owner: Client | None) -> tuple[Exit, ...]:
    """Every way out for a record of this owner's animal, also those that are closed."""
    lacks = courier.lacks
    against = {way: lacks.get(way, "") for way in OFFERED}
    against["mail"] = against["mail"] or _against_a_letter(desk, actor, owner)
    return tuple(Exit(way, forms, against[way]) for way, forms in OFFERED.items())


def consent(desk: Desk, actor: Actor, owner: Client | None) -> Consent | None:
    """What the owner last said to e-mail."""
    return mail_consent_of(desk.database, actor, owner.id) if owner is not None else None


def hand_over(desk: Desk, courier: Courier, actor: Actor, wish: Deliver, key: str | None) -> Handover:
    """Ask for it, unless something stands against it that the desk can see.

    Raises EntryError, NotAllowedError for a draft, NotFoundError, DatabaseError.
    """
    if wish.way == "mail" and "mail" not in courier.lacks:
        line = record_line(desk.database, actor, wish.record_id)
        animal = patient_of(desk.database, actor, line.patient_id)
        owner = client_of(desk.database, actor, animal.client_id) if animal.client_id else None
        if against := _against_a_letter(desk, actor, owner):
            raise EntryError(against)
    return courier.deliveries.submit(actor, wish, key)


def _against_a_letter(desk: Desk, actor: Actor, owner: Client | None) -> str:
    if owner is None:
        return say("handing.no_owner")
    if not agreed_to_mail(desk.database, actor, owner.id):
        return say("handing.not_agreed")
    return "" if owner.email else say("handing.no_address")
