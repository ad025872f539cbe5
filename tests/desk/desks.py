"""An invented practice with sign-ins, its desk, and browsers of its people that are no browsers but speak as one."""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fastapi.testclient import TestClient
from httpx2 import Response

from pipeline.desk import Desk, DeskOptions, create_app
from pipeline.desk.passwords import hashed
from pipeline.settings import Settings
from pipeline.store import Actor, Database, add_person, found_practice, open_account

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
    options = DeskOptions(data=folder, settings=Settings(model="tiny.en"), set_up_code=code)
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
