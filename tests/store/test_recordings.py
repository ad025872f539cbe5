"""Recordings: kept once, whole, found again; a damaged or lost file is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from kept import DOG, START, Practice, new_practice, understood

from pipeline.store import (
    Database,
    EntryError,
    KeptRecording,
    NotFoundError,
    SoundError,
    SoundUnreachableError,
    add_patient,
    add_recording,
    audit,
    events_of,
    keep_record,
    keep_sound,
    open_visit,
    recording_of,
    recordings_of,
    sound_of,
)


@pytest.fixture
def practice(database: Database) -> Practice:
    return new_practice(database)


def recorded(practice: Practice, folder: Path, sound: bytes = b"sound") -> KeptRecording:
    """A recording of a new visit; the store looks into no sound, so any bytes will do."""
    file = folder / "Visit.FLAC"
    file.write_bytes(sound)
    patient = add_patient(practice.database, practice.nurse, DOG, None, START)
    visit = open_visit(practice.database, practice.nurse, patient.id, "recheck", START)
    path, sha256 = keep_sound(file, folder / "recordings")
    return add_recording(practice.database, practice.nurse, visit.id, path, sha256, 12.5, START)


def test_the_same_sound_twice_is_one_recording(practice: Practice, tmp_path: Path) -> None:
    kept = recorded(practice, tmp_path)
    again = add_recording(
        practice.database, practice.vet, kept.visit_id, kept.path, kept.sha256, 12.5, practice.at()
    )
    assert again == kept
    assert recordings_of(practice.database, practice.vet, kept.visit_id) == (kept,)
    assert recording_of(practice.database, practice.vet, kept.id) == kept
    assert [event.action for event in events_of(practice.database, practice.vet, kept.id)] == [
        "add_recording"
    ]
    assert audit(practice.database) == ()


def test_the_sound_lies_there_once_under_its_checksum(practice: Practice, tmp_path: Path) -> None:
    kept = recorded(practice, tmp_path)
    recorded(practice, tmp_path)
    files = [file for file in (tmp_path / "recordings").rglob("*") if file.is_file()]
    assert files == [sound_of(kept, tmp_path / "recordings")]
    assert files[0].name == f"{kept.sha256}.flac"


def test_a_damaged_or_lost_sound_is_told(practice: Practice, tmp_path: Path) -> None:
    kept = recorded(practice, tmp_path)
    file = sound_of(kept, tmp_path / "recordings")
    file.write_bytes(b"soand")
    with pytest.raises(SoundError, match="not what was kept"):
        sound_of(kept, tmp_path / "recordings")
    file.unlink()
    with pytest.raises(SoundUnreachableError, match="reachable from this machine"):
        sound_of(kept, tmp_path / "recordings")
    with pytest.raises(SoundError, match="cannot be kept"):
        keep_sound(tmp_path / "none.wav", tmp_path / "recordings")


def test_no_other_practice_reaches_a_recording(practice: Practice, tmp_path: Path) -> None:
    kept = recorded(practice, tmp_path)
    stranger = new_practice(practice.database, "Beech Row Vets").vet
    assert recordings_of(practice.database, stranger, kept.visit_id) == ()
    with pytest.raises(NotFoundError):
        recording_of(practice.database, stranger, kept.id)
    with pytest.raises(NotFoundError):
        add_recording(practice.database, stranger, kept.visit_id, kept.path, "0" * 64, 1, START)
    with pytest.raises(EntryError, match="holds no sound"):
        add_recording(practice.database, practice.vet, kept.visit_id, kept.path, "0" * 64, 0, START)


def test_a_record_of_an_origin_is_kept_once(practice: Practice, tmp_path: Path) -> None:
    """As when a job's step is done again: the kept record is given as it is now, and no event is added."""
    kept = recorded(practice, tmp_path)
    first, again = (
        keep_record(
            practice.database,
            practice.vet,
            kept.visit_id,
            understood(),
            practice.at(),
            recording_id=kept.id,
            origin="a job",
        )
        for _ in range(2)
    )
    assert again == first
    assert [event.action for event in events_of(practice.database, practice.vet, first.id)] == ["keep_record"]
