"""An invented practice to look around in: people, patients, recordings, and records in every state.

Everything goes the way that real work goes: recordings are heard, texts understood, drafts reviewed, signed and filed, by the same
functions. Nothing is kept that they would refuse.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from lexicon import load_lexicon
from pipeline.capture import read_audio
from pipeline.desk.passwords import first_password, hashed
from pipeline.exam import hear, make_recogniser, understand
from pipeline.record import ExamRecord, Patient, Visit
from pipeline.review import AcceptCertain, Acknowledge, current, hindrances, notice_key
from pipeline.settings import Settings
from pipeline.speech import Recogniser
from pipeline.speech.model import Transcript
from pipeline.store import (
    Actor,
    Database,
    KeptRecord,
    Practice,
    add_client,
    add_patient,
    add_person,
    add_recording,
    amend_record,
    change_practice,
    file_record,
    found_practice,
    keep_record,
    keep_sound,
    open_account,
    open_visit,
    record_of,
    review_record,
    sign_record,
)

Told = Callable[[str], None]

_ANSWER = "looked at, left as it is"


@dataclass(frozen=True, slots=True)
class SignIn:
    """With what somebody of the invented practice signs in."""

    name: str
    role: str
    login: str


@dataclass(frozen=True, slots=True)
class Demonstration:
    """Who can sign in, all with the one password that was made for this practice."""

    people: tuple[SignIn, ...]
    password: str


def fill(database: Database, settings: Settings, folder: Path, at: datetime, told: Told) -> Demonstration:
    """Make the practice in an empty database; `folder` is that of recordings. `told` hears what is being done.

    Raises what making a recogniser, hearing and keeping raise.
    """
    table = tomllib.loads((resources.files("pipeline.desk") / "demonstration.toml").read_text("utf-8"))
    maker = _Maker(database, folder, at, table)
    told("people and patients")
    demonstration = maker.people()
    maker.patients()
    for row in table["earlier"]:
        maker.earlier(row)
    for row in table["typed"]:
        maker.typed(row)
    recogniser = make_recogniser(settings)
    for row in table["recorded"]:
        told(f"listening to {row['sample']}")
        maker.recorded(row, recogniser)
    return demonstration


class _Maker:
    def __init__(self, database: Database, folder: Path, at: datetime, table: dict[str, Any]) -> None:
        self._database, self._folder, self._at, self._table = database, folder, at, table
        self._lexicon = load_lexicon()
        self._who: dict[str, Actor] = {}
        self._animals: dict[str, tuple[str, Patient]] = {}

    def people(self) -> Demonstration:
        """The practice, its letterhead, its people and their one password."""
        rows = self._table["person"]
        long_ago = self._at - timedelta(days=800)
        manager = found_practice(self._database, self._table["practice"]["name"], rows[0]["name"], long_ago)
        change_practice(
            self._database,
            manager,
            Practice(id=manager.practice_id, **self._table["practice"]),
            long_ago,
        )
        password = first_password()
        hash_ = hashed(password)
        for row in rows:
            person = (
                manager
                if row is rows[0]
                else add_person(self._database, manager, row["name"], row["role"], long_ago)
            )
            open_account(self._database, manager, person.person_id, row["login"], hash_, long_ago)
            self._who[row["name"]] = person
        people = tuple(SignIn(row["name"], row["role"], row["login"]) for row in rows)
        return Demonstration(people, password)

    def patients(self) -> None:
        """The patients of the bundled dictations, with their owners."""
        nurse = next(actor for actor in self._who.values() if actor.role == "nurse")
        long_ago = self._at - timedelta(days=790)
        names = {row["sample"] for kind in ("earlier", "typed", "recorded") for row in self._table[kind]}
        for name in sorted(names):
            animal = Patient.model_validate_json(_sample(name, ".patient.json").read_text("utf-8"))
            owner = add_client(self._database, nurse, animal.owner, long_ago) if animal.owner else None
            kept = add_patient(self._database, nurse, animal, owner.id if owner else None, self._at)
            self._animals[name] = (kept.id, kept.patient)

    def earlier(self, row: dict[str, Any]) -> None:
        """A visit of the past: said, reviewed, signed, and mostly filed."""
        at = self._at - timedelta(days=row["days_ago"])
        vet = self._who[row["by"]]
        kept = self._signed(self._said(row, at), vet, at + timedelta(minutes=20))
        if row.get("amended"):
            later = at + timedelta(minutes=50)
            kept = amend_record(self._database, vet, kept, later)
            kept = self._signed(kept, vet, later + timedelta(minutes=2), row["amended"])
        if row["state"] == "filed":
            nurse = next(actor for actor in self._who.values() if actor.role == "nurse")
            file_record(self._database, nurse, kept, row["note"], at + timedelta(hours=2))

    def typed(self, row: dict[str, Any]) -> None:
        """A draft of today that nobody looked at yet."""
        self._said(row, self._at - timedelta(hours=1))

    def recorded(self, row: dict[str, Any], recogniser: Recogniser) -> None:
        """A draft of today from its recording."""
        at, vet = self._at - timedelta(minutes=30), self._who[row["by"]]
        patient_id, animal = self._animals[row["sample"]]
        opened = open_visit(self._database, vet, patient_id, row["kind"], at)
        visit = Visit(kind=row["kind"], on=opened.on)
        with resources.as_file(_sound(row["sample"])) as file:
            sound = read_audio(file)
            path, sha256 = keep_sound(file, self._folder)
        recording = add_recording(self._database, vet, opened.id, path, sha256, sound.duration_s, at)
        understood = understand(hear(sound, recogniser, animal, visit), animal, visit)
        keep_record(self._database, vet, opened.id, understood, at, recording_id=recording.id)

    def _said(self, row: dict[str, Any], at: datetime) -> KeptRecord:
        vet = self._who[row["by"]]
        patient_id, animal = self._animals[row["sample"]]
        opened = open_visit(self._database, vet, patient_id, row["kind"], at)
        said = " ".join(row["said"].split())
        record: ExamRecord = understand(
            Transcript.from_text(said), animal, Visit(kind=row["kind"], on=opened.on)
        )
        return keep_record(self._database, vet, opened.id, record, at)

    def _signed(self, kept: KeptRecord, vet: Actor, at: datetime, reason: str | None = None) -> KeptRecord:
        kept = review_record(self._database, vet, kept, (AcceptCertain(),), self._lexicon, at)
        assert kept.review is not None  # noqa: S101 - a draft
        waiting = hindrances(current(kept.review, self._lexicon))
        if waiting:
            answers = tuple(Acknowledge(notice=notice_key(notice), reason=_ANSWER) for notice in waiting)
            kept = review_record(self._database, vet, kept, answers, self._lexicon, at)
        sign_record(self._database, vet, kept, self._lexicon, at, reason)
        return record_of(self._database, vet, kept.id)


def _sample(name: str, ending: str) -> Traversable:
    return resources.files("audio_samples") / f"{name}{ending}"


def _sound(name: str) -> Traversable:
    return next(file for ending in (".flac", ".ogg") if (file := _sample(name, ending)).is_file())
