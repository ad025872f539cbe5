"""Export of everything, erasure and retention on the command line."""

from __future__ import annotations

import json
import shutil
import subprocess
import zipfile
from pathlib import Path

import pytest
from commands import Run, one_line

VET, MANAGER = "Ines Halloran", "Odile Farran"


@pytest.fixture
def record(juniper: str, run: Run) -> str:
    """A signed record of the patient, in which its owner is spoken of."""
    run("extract", "-", "--keep", juniper, "--as", VET, given="Left ear red, Mrs Whitlock. Eyes clear.")  # fmt: skip
    (line,) = json.loads(run("record", "list", "--json", "--as", VET).stdout)
    run("record", "accept", line["id"], "--certain", "--as", VET)
    for row in run("record", "facts", line["id"], "--as", VET).stdout.splitlines():
        if row.split()[1:2] in (["warning"], ["critical"]):
            run("record", "acknowledge", line["id"], row.split()[0], "--because", "not today", "--as", VET)
    assert run("record", "sign", line["id"], "--as", VET).exit_code == 0
    return str(line["id"])


def test_everything_of_an_owner_is_one_file_that_checks_itself(record: str, tmp_path: Path, run: Run) -> None:
    """GNU coreutils' sha256sum checks it; the printed record is a PDF; the signed version reads as it was signed."""
    done = run("owner", "export", "Whitlock", "--to", tmp_path / "all.zip", "--as", VET)
    assert done.exit_code == 0, done.stderr
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        archive.extractall(tmp_path / "all")
    names = {file.name for file in (tmp_path / "all").rglob("*")}
    assert {"README.txt", "owner.json", "patient.json", "trail.json", "version-1.json", "record.pdf"} <= names
    if shutil.which("sha256sum"):
        command = ["sha256sum", "--check", "--strict", "SHA256SUMS"]
        assert subprocess.run(command, cwd=tmp_path / "all", capture_output=True, check=False).returncode == 0
    version = json.loads(next((tmp_path / "all").rglob("version-1.json")).read_text(encoding="utf-8"))
    shown = json.loads(run("record", "show", record, "--json", "--as", VET).stdout)
    assert version["record"] == shown["record"]
    assert next((tmp_path / "all").rglob("record.pdf")).read_bytes().startswith(b"%PDF-")
    assert run("owner", "export", "Whitlock", "--to", tmp_path / "all.zip", "--as", VET).exit_code == 2


def test_everything_of_a_patient_is_a_folder(record: str, tmp_path: Path, run: Run) -> None:
    done = run("patient", "export", "Juniper", "--to", tmp_path / "juniper", "--as", VET)
    assert done.exit_code == 0, done.stderr
    assert (tmp_path / "juniper" / "patient.json").is_file()
    assert not (tmp_path / "juniper" / "owner.json").exists()
    assert list(tmp_path.glob("*.partial")) == []


def test_erasing_shows_first_and_does_it_when_told(record: str, run: Run) -> None:
    words = ("owner", "erase", "Whitlock", "--because", "asked for", "--as", MANAGER)
    shown = run(*words)
    assert shown.exit_code == 0
    assert f"record {record}, version 1: … Left ear red, Mrs Whitlock. Eyes clear. …" in shown.stdout
    assert "Nothing was erased" in shown.stdout
    assert run("owner", "show", "Whitlock", "--as", VET).exit_code == 0
    assert "Erased: name, phone" in run(*words, "--yes").stdout
    assert run("owner", "show", "Whitlock", "--as", VET).exit_code == 2
    assert run("check", "--audit").exit_code == 0


def test_what_is_due_is_listed_and_nothing_is_removed(juniper: str, run: Run) -> None:
    assert "retention" in one_line(run("record", "due", "--as", MANAGER).stderr)
    assert "7 years" in run("practice", "retention", "--years", "7", "--as", MANAGER).stdout
    run("extract", "-", "--keep", juniper, "--date", "2012-03-04", "--as", VET, given="Left ear red.")
    due = json.loads(run("record", "due", "--json", "--as", MANAGER).stdout)
    assert [(one["patient"], one["last_visit"]) for one in due] == [("Juniper", "2012-03-04")]
    assert "Nothing was removed" in run("record", "due", "--as", MANAGER).stderr
    assert "No time is set" in run("practice", "retention", "--forget", "--as", MANAGER).stdout
