"""Whom an examination is of, and what becomes of its record: shown, or also kept in the practice's database."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from pipeline.cli.border import CallError
from pipeline.cli.choosing import choose_patient, patient_words
from pipeline.cli.inputs import read_patient, read_visit
from pipeline.cli.keeping import Books, open_books
from pipeline.cli.kept import Request
from pipeline.cli.screen import remark
from pipeline.record import ExamRecord, Patient, Visit
from pipeline.settings import Settings
from pipeline.store import KeptPatient, KeptRecord, keep_record, open_visit


@dataclass(frozen=True, slots=True)
class Examined:
    """The patient and the visit; `keep` writes the record of it as a draft where that was asked for."""

    patient: Patient | None
    visit: Visit
    books: Books | None = None
    kept: KeptPatient | None = None

    def keep(self, record: ExamRecord) -> KeptRecord | None:
        """Keep the record as a draft of a new visit, and say where; null where it is only shown."""
        if self.books is None or self.kept is None:
            return None
        return keep_of(self.books, self.kept, record)


@contextmanager
def examined(settings: Settings, request: Request) -> Iterator[Examined]:
    """Settle whom the examination is of before it is listened to. Raises CallError, WorkError, StoreError."""
    visit = read_visit(request.kind, request.day)
    described = read_patient(request.patient)
    if request.keep_for is None:
        yield Examined(described, visit)
        return
    with open_books(settings) as books:
        kept = choose_patient(books, request.keep_for)
        must_be_same(described, kept)
        yield Examined(kept.patient, visit, books, kept)


def keep_of(books: Books, kept: KeptPatient, record: ExamRecord) -> KeptRecord:
    """Open a visit of a patient on the record's day and keep the record there as a draft. Raises StoreError."""
    visit = open_visit(
        books.database, books.actor, kept.id, record.visit.kind, books.at(), on=record.visit.on
    )
    draft = keep_record(books.database, books.actor, visit.id, record, books.at())
    remark(
        f"Kept as a draft of {patient_words(kept.patient)}, {visit.on}: {draft.id}."
        f" To review it: rostral record facts {draft.id}"
    )
    return draft


def must_be_same(described: Patient | None, kept: KeptPatient) -> None:
    """Refuse to keep what a file says is another animal's. Raises CallError."""
    if described is None:
        return
    ours = kept.patient
    for name in ("name", "species", "microchip", "birth_date", "sex"):
        told, known = getattr(described, name), getattr(ours, name)
        if told is not None and known is not None and _plain(told) != _plain(known):
            raise CallError(
                f"These are two animals, or one of them is entered wrong: {name.replace('_', ' ')} is {told} in"
                f" what was given and {known} for {patient_words(ours)} ({kept.id}). Name the right patient,"
                " or correct the one that is wrong."
            )


def _plain(value: object) -> str:
    return "".join(character for character in str(value).casefold() if character.isalnum())
