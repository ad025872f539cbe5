"""A practice with recorded visits, and workers that are processes of their own."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import wave
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

from lexicon import load_lexicon
from pipeline.capture import SAMPLE_RATE_HZ, read_audio
from pipeline.exam import understand
from pipeline.jobs import Job, Jobs, Transcribe
from pipeline.record import Patient, Visit
from pipeline.review import AcceptCertain, Acknowledge, current, hindrances, notice_key
from pipeline.settings import Settings
from pipeline.speech import Transcript
from pipeline.store import (
    Actor,
    Database,
    KeptRecord,
    KeptRecording,
    add_patient,
    add_person,
    add_recording,
    found_practice,
    keep_record,
    keep_sound,
    open_visit,
    review_record,
    sign_record,
)

ROOT = Path(__file__).parents[2]
START = datetime(2025, 6, 16, 9, 0, tzinfo=UTC)
DOG = Patient(name="Bramley", species="dog", breed="lurcher", birth_date=date(2020, 4, 2), sex="male")
SETTINGS = Settings(model="tiny.en", device="cpu", threads=1)


@dataclass
class Clinic:
    """A practice of two people in a database, the folder of its recordings, and its workers."""

    database: Database
    address: str | Path
    folder: Path
    manager: Actor
    vet: Actor
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def recordings(self) -> Path:
        """Where the sounds of visits lie."""
        return self.folder / "recordings"

    def jobs(self, settings: Settings = SETTINGS) -> Jobs:
        """The practice's jobs; signs of life are quick, so that tests are."""
        return Jobs(self.database, settings, self.recordings, beat_s=0.2, dead_after_s=2)

    def recorded(self, sound: Path) -> KeptRecording:
        """A new visit with its recording."""
        patient = add_patient(self.database, self.vet, DOG, None, START)
        visit = open_visit(self.database, self.vet, patient.id, "recheck", START)
        path, sha256 = keep_sound(sound, self.recordings)
        return add_recording(
            self.database, self.vet, visit.id, path, sha256, read_audio(sound).duration_s, START
        )

    def draft(self, said: str) -> KeptRecord:
        """A draft of a text, of a new visit."""
        patient = add_patient(self.database, self.vet, DOG, None, START)
        visit = open_visit(self.database, self.vet, patient.id, "recheck", START)
        understood = understand(Transcript.from_text(said), DOG, Visit(kind="recheck", on=START.date()))
        return keep_record(self.database, self.vet, visit.id, understood, START)

    def signed(self, said: str) -> KeptRecord:
        """A signed record of a text, of a new visit."""
        lexicon = load_lexicon()
        kept = review_record(self.database, self.vet, self.draft(said), (AcceptCertain(),), lexicon, START)
        assert kept.review is not None
        answers = tuple(
            Acknowledge(notice=notice_key(notice), reason="not today")
            for notice in hindrances(current(kept.review, lexicon))
        )
        kept = review_record(self.database, self.vet, kept, answers, lexicon, START)
        return sign_record(self.database, self.vet, kept, lexicon, START)

    def asked(self, jobs: Jobs, recording: KeptRecording) -> Job:
        """The job that writes a recording down."""
        return jobs.submit(
            self.vet, "transcribe", Transcribe(recording_id=recording.id), key=f"transcribe {recording.id}"
        )

    def start_worker(self, *options: str, **variables: str) -> subprocess.Popen[bytes]:
        """A `rostral worker` of its own; `variables` are settings."""
        environment = {
            **os.environ,
            "ROSTRAL_DATABASE": str(self.address),
            "ROSTRAL_RECORDINGS": str(self.recordings),
            "ROSTRAL_ANCHORS": str(self.folder / "anchors"),
            "ROSTRAL_MODEL": SETTINGS.model,
            "ROSTRAL_THREADS": "1",
            "PYTHONPATH": str(ROOT),
            **variables,
        }
        command = [sys.executable, "-m", "pipeline.cli", "worker", "--silence", "3", *options]
        with (self.folder / f"worker{len(self.workers)}.log").open("wb") as log:
            worker = subprocess.Popen(command, env=environment, cwd=ROOT, stdout=log, stderr=log)
        self.workers.append(worker)
        return worker

    def logs(self) -> str:
        """All that the workers wrote."""
        return "".join(file.read_text(encoding="utf-8") for file in sorted(self.folder.glob("worker*.log")))


def new_clinic(database: Database, address: str | Path, folder: Path) -> Clinic:
    """A practice with a manager and a vet."""
    manager = found_practice(database, "Alder Lane Surgery", "Odile Farran", START)
    vet = add_person(database, manager, "Ines Halloran", "vet", START)
    return Clinic(database, address, folder, manager, vet)


def cut(sound: Path, to: Path, from_s: float, length_s: float) -> Path:
    """A piece of a sound file, as a file of its own."""
    pcm = read_audio(sound).pcm[round(from_s * SAMPLE_RATE_HZ) :][: round(length_s * SAMPLE_RATE_HZ)]
    with wave.open(str(to), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(SAMPLE_RATE_HZ)
        file.writeframes(pcm.astype("<i2").tobytes())
    return to


def wait_until(met: Callable[[], object], within_s: float = 900) -> None:
    """Wait until it is so; generously, for the machine may be busy."""
    end = time.monotonic() + within_s
    while not met():
        assert time.monotonic() < end, "it did not come to pass"
        time.sleep(0.1)
