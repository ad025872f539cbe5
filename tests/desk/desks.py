"""An invented practice with sign-ins, its desk, and browsers of its people that are no browsers but speak as one."""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from fastapi.testclient import TestClient
from httpx2 import Response

from lexicon import load_lexicon
from pipeline.desk import Desk, DeskOptions, create_app
from pipeline.desk.passwords import hashed
from pipeline.exam import understand
from pipeline.record import Owner, Patient, Visit
from pipeline.review import AcceptCertain, Acknowledge, current, hindrances, notice_key
from pipeline.settings import Settings
from pipeline.speech.model import Transcript
from pipeline.store import (
    Actor,
    Database,
    KeptRecord,
    add_client,
    add_patient,
    add_person,
    file_record,
    found_practice,
    keep_record,
    open_account,
    open_visit,
    review_record,
    sign_record,
)
from pipeline.store.setting_aside import set_aside

PASSWORD = "grass-snake-09"
ROLES = ("vet", "nurse", "manager")
HOME = "http://localhost"


@functools.cache
def password_hash() -> str:
    return hashed(PASSWORD)


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now = datetime(2025, 6, 16, 9, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def forward(self, **by: float) -> None:
        self.now += timedelta(**by)


@dataclass
class Practice:
    """A practice whose people sign in with their role as name."""

    desk: Desk
    clock: Clock
    people: dict[str, Actor]

    @property
    def database(self) -> Database:
        return self.desk.database

    def browser(self, role: str | None = None) -> Browser:
        """A browser, signed in as who has the role."""
        opened = Browser(self.desk)
        if role is not None:
            assert opened.sign_in(role).status_code == 303
        return opened


class Browser(TestClient):
    """Follows no redirect by itself, and sends forms with their token, as pages do."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(create_app(desk), base_url=HOME, follow_redirects=False)

    def token(self) -> str:
        """The token of the forms of this browser."""
        found = re.search(r'name="form_token" value="([0-9a-f]{64})"', self.get("/no-such-page").text)
        assert found
        return found[1]

    def fill(self, address: str, **fields: str) -> Response:
        """Send a form of a page."""
        return self.post(address, data={**fields, "form_token": self.token()})

    def sign_in(self, login: str, password: str = PASSWORD, **more: str) -> Response:
        return self.fill("/sign-in", login=login, password=password, **more)


def new_desk(database: Database, folder: Path, code: str | None = None) -> tuple[Desk, Clock]:
    clock = Clock()
    options = DeskOptions(folder, folder / "recordings", settings=Settings(model="tiny.en"), set_up_code=code)
    return Desk(database, options, clock), clock


def new_practice(database: Database, folder: Path, name: str = "Fennel Row Surgery") -> Practice:
    desk, clock = new_desk(database, folder)
    manager = found_practice(database, name, "Odile Farran", clock())
    people = {
        "manager": manager,
        "vet": add_person(database, manager, "Ines Halloran", "vet", clock()),
        "nurse": add_person(database, manager, "Tobin Marsh", "nurse", clock()),
    }
    for role, person in people.items():
        open_account(database, manager, person.person_id, role, password_hash(), clock())
    return Practice(desk, clock, people)


DOG = Patient(name="Bramley", species="dog", breed="lurcher", birth_date=date(2020, 4, 2), sex="male")
SAID = "Left ear red, no discharge. Eyes clear. Heart rate one twenty. Weight twelve kilos. Recheck the ear in ten days."
QUESTIONS = "Left ear red. Heart rate two hundred and sixty. Weight twelve kilos. Recheck in a week."
WHOLE = (
    "Bright. Weight twelve kilos, body condition five out of nine. Temperature thirty eight five. Nose clean. Gums pink, refill"
    " under two seconds. Eyes clear. Left ear red. Lymph nodes normal. Heart rate one hundred, no murmur. Lungs clear, resp rate"
    " twenty. Abdomen soft. Urogenital normal. Skin clean. No lameness. Neurologically normal. Recheck the ear in ten days."
)


def draft(practice: Practice, said: str = SAID, animal: Patient = DOG) -> KeptRecord:
    """A draft of a new patient with an owner."""
    database, nurse, vet = practice.database, practice.people["nurse"], practice.people["vet"]
    at = practice.clock()
    owner = add_client(database, nurse, Owner(name="Cass Orrin", phone="555 0101"), at)
    kept = add_patient(database, nurse, animal, owner.id, at)
    visit = open_visit(database, nurse, kept.id, "recheck", at)
    understood = understand(Transcript.from_text(said), animal, Visit(kind="recheck", on=visit.on))
    return keep_record(database, vet, visit.id, understood, at)


def aside(practice: Practice) -> KeptRecord:
    """A draft that was set aside."""
    at = practice.clock()
    return set_aside(practice.database, practice.people["nurse"], draft(practice), "begun by mistake", at)


def signed(practice: Practice, said: str = WHOLE, animal: Patient = DOG) -> KeptRecord:
    """A signed record, its questions answered."""
    database, vet, lexicon = practice.database, practice.people["vet"], load_lexicon()
    kept = review_record(
        database, vet, draft(practice, said, animal), (AcceptCertain(),), lexicon, practice.clock()
    )
    assert kept.review is not None
    waiting = hindrances(current(kept.review, lexicon))
    if waiting:
        answers = tuple(Acknowledge(notice=notice_key(one), reason="looked at") for one in waiting)
        kept = review_record(database, vet, kept, answers, lexicon, practice.clock())
    return sign_record(database, vet, kept, lexicon, practice.clock())


def filed(practice: Practice) -> KeptRecord:
    """A record that was filed."""
    return file_record(
        practice.database, practice.people["nurse"], signed(practice), "cabinet 3", practice.clock()
    )
