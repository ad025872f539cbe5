"""Backups made while others write: whole, checkable with standard tools, and restored with word of what is missing."""

from __future__ import annotations

import shutil
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from kept import Practice, new_practice, postgres_tools
from sqlalchemy import insert

from pipeline.store import Database, DatabaseError, audit, record_of, signed_version
from pipeline.store.backup import Manifest, backup_faults, make_backup, read_manifest
from pipeline.store.restore import (
    missing_since,
    note_restored,
    restore_file,
    restore_files,
    restore_server,
)
from pipeline.store.stamps import new_id
from pipeline.store.tables import recording

TOOLS = postgres_tools()


@pytest.fixture
def practice(address: str | Path, tmp_path: Path) -> Iterator[Practice]:
    """A practice with a signed record, whose trail is anchored."""
    database = Database(address, tmp_path / "anchors")
    made = new_practice(database)
    made.signed()
    yield made
    database.close()


def backed_up(practice: Practice, folder: Path) -> Manifest:
    """A backup; relative paths of recordings count from the folder it lies in."""
    return make_backup(
        practice.database, practice.manager, folder, practice.at(), sounds=folder.parent, tools=TOOLS
    )


def restored(folder: Path, kind: str, tmp_path: Path, empty: str | None) -> Database:
    """A backup brought back beside the first database."""
    if kind == "sqlite":
        target = tmp_path / "again" / "rostral.sqlite"
        restore_file(folder, target, Practice.start(), replace=False)
        return Database(target, tmp_path / "anchors")
    assert empty is not None
    restore_server(folder, empty, TOOLS)
    return Database(empty, tmp_path / "anchors")


def test_yesterdays_backup_is_restored_and_says_what_is_missing(
    practice: Practice, tmp_path: Path, empty_server_database: str
) -> None:
    folder = tmp_path / "backup"
    before = practice.signed()
    manifest = backed_up(practice, folder)
    after = practice.signed()
    (missing,) = missing_since(manifest, practice.database.anchors, None)
    assert ("sign", after.id) in missing.did
    assert ("sign", before.id) not in missing.did
    assert (
        missing_since(manifest, practice.database.anchors, practice.database)[0].until_seq
        >= missing.until_seq
    )

    again = restored(folder, manifest.kind, tmp_path, empty_server_database)
    assert signed_version(again, practice.vet, before.id, 1, practice.at()).version == 1
    assert any("cut off, or an older backup was restored" in fault for fault in audit(again))
    note_restored(again, practice.manager, manifest, (missing,), practice.at())
    # The anchors know of the restoring now; what comes next is held against them again.
    assert audit(again) == ()
    later = Practice(again, practice.manager, practice.vet, practice.nurse, minutes=practice.minutes)
    later.signed()
    assert audit(again) == ()
    again.close()


def test_a_backup_is_one_state_while_others_write(
    practice: Practice, tmp_path: Path, empty_server_database: str
) -> None:
    """Writers go on during the copy; the copy passes the audit and holds all that was acknowledged before it began."""
    stop = threading.Event()
    signed: list[str] = []
    failures: list[BaseException] = []

    def write() -> None:
        try:
            while not stop.is_set():
                signed.append(practice.signed().id)
        except BaseException as error:  # noqa: BLE001 — told in the test's own thread
            failures.append(error)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        while len(signed) < 3:
            stop.wait(0.01)
        acknowledged = list(signed)
        manifest = backed_up(practice, tmp_path / "backup")
    finally:
        stop.set()
        writer.join()
    assert failures == []
    again = restored(tmp_path / "backup", manifest.kind, tmp_path, empty_server_database)
    again.anchors.folder = None
    assert audit(again) == ()
    for identifier in acknowledged:
        assert record_of(again, practice.vet, identifier).state == "signed"
    again.close()


def test_the_checksums_are_those_of_the_standard_tool(practice: Practice, tmp_path: Path) -> None:
    """GNU coreutils' sha256sum reads SHA256SUMS; damage of any file is found by it and by us."""
    folder = tmp_path / "backup"
    manifest = backed_up(practice, folder)
    if shutil.which("sha256sum"):
        done = subprocess.run(
            ["sha256sum", "--check", "--strict", "SHA256SUMS"], cwd=folder, capture_output=True, check=False
        )
        assert done.returncode == 0, done.stderr
    assert backup_faults(folder) == ()
    (folder / "extra").write_text("x", encoding="utf-8")
    database = next(folder.glob("database.*"))
    data = bytearray(database.read_bytes())
    data[len(data) // 2] ^= 1
    database.write_bytes(data)
    assert set(backup_faults(folder)) == {"extra was added.", f"{database.name} is not as it was written."}
    with pytest.raises(DatabaseError, match="damaged"):
        restored(folder, manifest.kind, tmp_path, "postgresql://nobody@127.0.0.1:1/none")
    database.unlink()
    assert f"{database.name} is missing." in backup_faults(folder)


def test_recordings_go_with_it_and_come_back(practice: Practice, tmp_path: Path) -> None:
    sounds = tmp_path / "sounds"
    sounds.mkdir()
    (sounds / "one.wav").write_bytes(b"RIFF one")
    (sounds / "two.flac").write_bytes(b"fLaC two")
    visit = practice.draft().visit_id
    with practice.database.writing() as connection:
        for number, name in enumerate(("sounds/one.wav", str(sounds / "two.flac"), "sounds/gone.flac")):
            connection.execute(
                insert(recording).values(
                    id=new_id(), visit_id=visit, path=name, sha256=str(number) * 64, duration_s=1.0
                )
            )
    folder = tmp_path / "backup"
    manifest = backed_up(practice, folder)
    assert [one.path for one in manifest.files if one.copy_name is None] == ["sounds/gone.flac"]
    shutil.rmtree(sounds)
    put, failed = restore_files(folder, manifest, tmp_path)
    assert (len(put), failed) == (2, [])
    assert (sounds / "one.wav").read_bytes() == b"RIFF one"
    assert backup_faults(folder) == ()


def test_a_backup_that_fails_leaves_nothing_behind(practice: Practice, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    with pytest.raises(DatabaseError, match="cannot be written"):
        backed_up(practice, blocked / "backup")
    with pytest.raises(DatabaseError, match="is there already"):
        backed_up(practice, blocked)
    with pytest.raises(DatabaseError, match="no backup of Rostral"):
        read_manifest(tmp_path)
    assert list(tmp_path.glob("*.partial")) == []


def test_a_database_that_is_there_is_moved_aside(tmp_path: Path) -> None:
    file = tmp_path / "rostral.sqlite"
    database = Database(file)
    practice = new_practice(database)
    manifest: Manifest = backed_up(practice, tmp_path / "backup")
    later = practice.signed()
    database.close()
    with pytest.raises(DatabaseError, match="--replace"):
        restore_file(tmp_path / "backup", file, practice.at(), replace=False)
    aside = restore_file(tmp_path / "backup", file, practice.at(), replace=True)
    assert aside is not None
    old, new = Database(aside), Database(file)
    assert record_of(old, practice.vet, later.id).state == "signed"
    with new.reading() as connection:
        assert manifest.heads[0].seq == connection.exec_driver_sql("SELECT trail_seq FROM practice").scalar()
    old.close()
    new.close()


def test_a_database_that_somebody_has_open_is_not_moved(tmp_path: Path) -> None:
    """A desk that does nothing just now would go on writing in the file that was moved aside."""
    file = tmp_path / "rostral.sqlite"
    database = Database(file)
    practice = new_practice(database)
    backed_up(practice, tmp_path / "backup")
    with pytest.raises(DatabaseError, match="is in use: stop whatever works with it"):
        restore_file(tmp_path / "backup", file, practice.at(), replace=True)
    assert list(tmp_path.glob("*.restoring")) == []
    kept = practice.draft()
    assert record_of(database, practice.vet, kept.id) == kept
    database.close()
    at = practice.at()
    first = restore_file(tmp_path / "backup", file, at, replace=True)
    second = restore_file(tmp_path / "backup", file, at, replace=True)
    assert first is not None
    aside = Database(first)
    assert record_of(aside, practice.vet, kept.id) == kept
    aside.close()
    assert second not in (None, first)


def test_a_damaged_file_is_replaced_too(tmp_path: Path) -> None:
    file = tmp_path / "rostral.sqlite"
    database = Database(file)
    practice = new_practice(database)
    backed_up(practice, tmp_path / "backup")
    database.close()
    file.write_bytes(b"not a database, " * 500)
    restore_file(tmp_path / "backup", file, practice.at(), replace=True)
    again = Database(file)
    again.anchors.folder = None
    assert audit(again) == ()
    again.close()
