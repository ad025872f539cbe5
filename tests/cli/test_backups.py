"""Backups on the command line, on both databases."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from commands import Run, one_line
from kept import postgres_tools

MANAGER = "Odile Farran"


@pytest.fixture(autouse=True)
def _places(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("ROSTRAL_BACKUPS", str(tmp_path / "backups"))
    monkeypatch.setenv("ROSTRAL_ANCHORS", str(tmp_path / "anchors"))
    monkeypatch.setenv("ROSTRAL_POSTGRES_TOOLS", str(postgres_tools()))


def test_a_backup_is_made_checked_and_restored(
    juniper: str, books: str | Path, tmp_path: Path, run: Run, empty_server_database: str
) -> None:
    made = run("backup", "make", "--as", MANAGER, "--json")
    assert made.exit_code == 0, made.stderr
    folder = Path(json.loads(made.stdout)["folder"])
    assert folder.parent == tmp_path / "backups"
    checked = run("backup", "check", folder)
    assert checked.exit_code == 0
    assert "all as written" in checked.stdout
    run("patient", "add", "--name", "Mopsy", "--species", "rabbit", "--as", MANAGER)

    into = tmp_path / "again.sqlite" if isinstance(books, Path) else empty_server_database
    done = run("backup", "restore", folder, "--into", into, "--as", MANAGER)
    assert done.exit_code == 0, done.stderr
    assert "MISSING at Alder Lane Surgery" in done.stdout
    assert "add patient" in done.stdout
    again = run("backup", "restore", folder, "--into", into, "--as", MANAGER)
    assert again.exit_code == 1
    assert "rostral: " in again.stderr


def test_a_restored_database_is_the_one_that_is_used(
    juniper: str, books: str | Path, tmp_path: Path, run: Run
) -> None:
    if not isinstance(books, Path):
        pytest.skip("a server's database is made empty by its own tools")
    run("backup", "make", "--to", tmp_path / "b", "--as", MANAGER)
    books.write_bytes(b"something else, " * 600)
    damaged = run("patient", "show", juniper, "--as", MANAGER)
    assert "restore a backup" in one_line(damaged.stderr)
    assert run("backup", "restore", tmp_path / "b", "--as", MANAGER).exit_code == 1
    done = run("backup", "restore", tmp_path / "b", "--replace", "--as", MANAGER)
    assert done.exit_code == 0, done.stderr
    assert run("patient", "show", juniper, "--as", MANAGER).exit_code == 0
    assert run("check", "--audit").exit_code == 0


def test_a_damaged_backup_is_told(books: str | Path, tmp_path: Path, run: Run) -> None:
    run("backup", "make", "--to", tmp_path / "b", "--as", MANAGER)
    (tmp_path / "b" / "manifest.json").write_text("{}", encoding="utf-8")
    assert run("backup", "check", tmp_path / "b").exit_code == 1
    assert run("backup", "restore", tmp_path / "b", "--as", MANAGER).exit_code == 1
    assert "no backup" in one_line(run("backup", "check", tmp_path).stderr)


def test_a_server_without_its_programs_says_what_to_install(
    books: str | Path, tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    if isinstance(books, Path):
        pytest.skip("a file needs no programs")
    monkeypatch.setenv("ROSTRAL_POSTGRES_TOOLS", str(tmp_path))
    monkeypatch.setenv("PATH", str(tmp_path))
    done = run("backup", "make", "--as", MANAGER)
    assert done.exit_code == 1
    assert "postgresql-client-" in one_line(done.stderr)
    assert not (tmp_path / "backups").exists() or list((tmp_path / "backups").iterdir()) == []
