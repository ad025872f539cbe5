"""`rostral export`: documents of signed records and of drafts, whole or not there, gone on with after a kill."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pypdf
import pytest
from archival import assert_archival, elements, opened
from commands import Process, Run, one_line
from kept import START, Practice, new_practice, understood
from PIL import Image

from lexicon import load_lexicon
from pipeline.cli.border import WorkError
from pipeline.cli.export_folder import ExportFolder
from pipeline.filing.fhir import read_fhir_document
from pipeline.store import Database, events_of


@pytest.fixture
def books(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Practice]:
    place = tmp_path / "kept.sqlite"
    monkeypatch.setenv("ROSTRAL_DATABASE", str(place))
    monkeypatch.setenv("ROSTRAL_PERSON", "Tobin Marsh")
    database = Database(place)
    yield new_practice(database)
    database.close()


def test_every_form_of_a_signed_record(run: Run, books: Practice, tmp_path: Path) -> None:
    record, to = books.signed().id, tmp_path / "out"
    forms = [
        part for form in ("pdf", "sheet", "fhir", "json", "csv", "jsonl", "ics") for part in ("--as", form)
    ]
    done = run("export", record, *forms, "--to", str(to))
    assert done.exit_code == 0, done.stderr
    assert (to / f"{record}-v1.pdf").read_bytes().startswith(b"%PDF")
    document, release = read_fhir_document(
        (to / f"{record}-v1.r4b.fhir.json").read_text("utf-8"), load_lexicon()
    )
    assert (document.record_id, document.version, release) == (record, 1, "R4B")
    assert json.loads((to / f"{record}-v1.json").read_text("utf-8"))["state"] == "signed"
    assert b"BEGIN:VEVENT" in (to / f"{record}-v1.ics").read_bytes()
    noted = [e.detail["form"] for e in events_of(books.database, books.vet, record) if e.action == "export"]
    assert noted == ["pdf", "sheet", "fhir", "json", "csv", "jsonl", "ics"]


def test_documents_are_of_the_practices_paper_and_in_its_words(
    run: Run, books: Practice, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record, to, words = books.signed().id, tmp_path / "out", tmp_path / "words.toml"
    words.write_text('[sheet]\ntitle = "{name} was here"\n', encoding="utf-8")
    monkeypatch.setenv("ROSTRAL_PAPER", "letter")
    monkeypatch.setenv("ROSTRAL_DOCUMENT_WORDS", str(words))
    done = run("export", record, "--as", "sheet", "--to", str(to))
    assert done.exit_code == 0, done.stderr
    sheet = pypdf.PdfReader(to / f"{record}-v1.sheet.pdf")
    assert sheet.metadata is not None
    assert str(sheet.metadata.title).startswith("Bramley was here")
    assert sheet.pages[0].mediabox.width == 612  # letter: 8.5 inches of 72 points
    words.write_text('[sheet]\ntitle = "{nam} was here"\n', encoding="utf-8")
    wrong = run("export", record, "--as", "sheet", "--to", str(tmp_path / "other"))
    assert wrong.exit_code == 1
    assert "nothing is filled in for {nam}" in one_line(wrong.stderr)


def test_times_are_printed_in_the_practices_zone_and_kept_in_utc(
    run: Run, books: Practice, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Zones of the tz database: Kathmandu is 5 hours 45 minutes ahead of UTC all year."""
    record, to = books.signed().id, tmp_path / "out"
    [signed] = [e.at for e in events_of(books.database, books.vet, record) if e.action == "sign"]
    monkeypatch.setenv("ROSTRAL_ZONE", "Asia/Kathmandu")
    done = run("export", record, "--as", "pdf", "--as", "json", "--to", str(to))
    assert done.exit_code == 0, done.stderr
    there = signed + timedelta(hours=5, minutes=45)
    printed = pypdf.PdfReader(to / f"{record}-v1.pdf").pages[0].extract_text()
    assert f"{there.day} {there:%B %Y, %H:%M} UTC+05:45" in printed
    kept = json.loads((to / f"{record}-v1.json").read_text("utf-8"))
    assert kept["signed_at"].endswith("Z")
    monkeypatch.setenv("ROSTRAL_ZONE", "Asia/Katmandoo")
    wrong = run("export", record, "--as", "pdf", "--to", str(to))
    assert wrong.exit_code == 2
    assert "ROSTRAL_ZONE cannot be 'Asia/Katmandoo': there is no time zone of that name" in one_line(
        wrong.stderr
    )


def test_without_a_zone_the_machines_own_is_taken(books: Practice, tmp_path: Path, process: Process) -> None:
    record, to = books.signed().id, tmp_path / "out"
    done = process(
        "export", record, "--as", "pdf", "--to", str(to), TZ="XYZ-3"
    )  # POSIX: three hours ahead of UTC
    assert done.returncode == 0, done.stderr
    assert " XYZ" in pypdf.PdfReader(to / f"{record}-v1.pdf").pages[0].extract_text()


def drawn(form: str, side: int = 40) -> bytes:
    out = io.BytesIO()
    Image.effect_noise((side, side), 90).save(
        out, form
    )  # noise cannot be packed: its size is that of its points
    return out.getvalue()


@pytest.mark.parametrize(
    "logo",
    [
        drawn("PNG"),
        drawn("JPEG"),
        b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 4"><circle cx="4" cy="2" r="2"/></svg>',
    ],
    ids=["png", "jpeg", "svg"],
)
def test_the_logo_stands_in_the_letterhead_with_its_text(
    run: Run, books: Practice, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, logo: bytes
) -> None:
    """ISO 14289-1 7.3: a figure has alternative text. The files stay archival."""
    record, to, file = books.signed().id, tmp_path / "out", tmp_path / "logo"
    file.write_bytes(logo)
    monkeypatch.setenv("ROSTRAL_LOGO", str(file))
    done = run("export", record, "--as", "pdf", "--as", "sheet", "--to", str(to))
    assert done.exit_code == 0, done.stderr
    for name, part in ((f"{record}-v1.pdf", "3"), (f"{record}-v1.sheet.pdf", "2")):
        pdf = (to / name).read_bytes()
        assert_archival(pdf, part=part)
        file_of = opened(pdf)  # held: its objects go with it
        figures = [tag for tag in elements(file_of.Root.StructTreeRoot) if tag.S == "/Figure"]
        assert "Alder Lane Surgery" in [str(tag.Alt) for tag in figures]


@pytest.mark.parametrize(
    ("logo", "said"),
    [
        (None, "No such file or directory. Put the picture there, or correct the setting."),
        (drawn("PNG", side=600), "bytes: give a picture of at most 200,000"),
        (drawn("GIF"), "the logo is no PNG, JPEG or SVG: save it as one of these"),
        (drawn("PNG")[:50], "Save the picture that ROSTRAL_LOGO names again"),
    ],
    ids=["missing", "too large", "no picture", "torn"],
)
def test_a_logo_that_cannot_be_printed_is_told(
    run: Run,
    books: Practice,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    logo: bytes | None,
    said: str,
) -> None:
    """And what prints no letterhead goes on without it."""
    record, to, file = books.signed().id, tmp_path / "out", tmp_path / "logo.png"
    if logo is not None:
        file.write_bytes(logo)
    monkeypatch.setenv("ROSTRAL_LOGO", str(file))
    done = run("export", record, "--as", "pdf", "--to", str(to))
    assert done.exit_code == 1
    assert said in one_line(done.stderr)
    assert "ROSTRAL_LOGO" in done.stderr
    assert run("export", record, "--as", "csv", "--to", str(to)).exit_code == 0


def test_one_text_goes_to_standard_output(run: Run, books: Practice) -> None:
    record = books.signed().id
    done = run("export", record, "--as", "fhir", "--release", "R5")
    assert json.loads(done.stdout)["resourceType"] == "Bundle"


def test_a_range_of_days_is_one_table(run: Run, books: Practice, tmp_path: Path) -> None:
    ids = {books.signed().id for _ in range(3)}
    to, day = tmp_path / "out", START.date()
    assert (
        run("export", "--since", str(day), "--until", str(day), "--as", "csv", "--to", str(to)).exit_code == 0
    )
    with (to / "facts.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["record"] for row in rows} == ids
    assert (to / "columns.csv").exists()
    late = run("export", "--since", str(day + timedelta(days=1)), "--to", str(to))
    assert "No signed record is of these days" in one_line(late.stderr)


def test_a_draft_from_a_file_says_so(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "exam.json"
    file.write_text(understood().model_dump_json(), encoding="utf-8")
    to = tmp_path / "out"
    done = run("export", str(file), "--as", "fhir", "--as", "pdf", "--as", "json", "--to", str(to))
    assert done.exit_code == 0, done.stderr
    assert "draft" in done.stderr
    [fhir] = to.glob("*.fhir.json")
    assert json.loads(fhir.read_text("utf-8"))["entry"][0]["resource"]["status"] == "preliminary"
    refused = run("export", str(file), "--as", "sheet", "--to", str(to))
    assert refused.exit_code == 1
    assert "holds only what a vet signed" in one_line(refused.stderr)


def test_an_unsigned_record_is_refused(run: Run, books: Practice, tmp_path: Path) -> None:
    refused = run("export", books.draft().id, "--to", str(tmp_path / "out"))
    assert "draft that nobody signed" in one_line(refused.stderr)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        ([], "Say which records"),
        (["abcd", "--as", "word"], "There is no form 'word'"),
        (["abcd", "--as", "fhir", "--release", "R2"], "There is no release 'R2'"),
        (["abcd", "--as", "csv", "--as", "pdf"], "--to FOLDER"),
        (["--since", "2026-02-02", "--until", "2026-01-01", "--to", "x"], "exchange them"),
        (["--since", "tomorrow", "--to", "x"], "no date"),
    ],
)
def test_wrong_calls_are_told(run: Run, call: list[str], said: str) -> None:
    done = run("export", *call)
    assert done.exit_code == 2
    assert said in one_line(done.stderr)


def test_a_killed_export_goes_on(books: Practice, tmp_path: Path, run: Run) -> None:
    """Killed with -9 while it writes: what is there is whole, and the same call writes only the rest."""
    ids = [books.signed().id for _ in range(12)]
    to = tmp_path / "out"
    call = [
        sys.executable,
        "-m",
        "pipeline.cli",
        "export",
        *ids,
        "--as",
        "pdf",
        "--as",
        "fhir",
        "--to",
        str(to),
    ]
    with subprocess.Popen(
        call, env=dict(os.environ), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        listed = to / "exported.jsonl"
        while not (listed.exists() and b"\n" in listed.read_bytes()) and process.poll() is None:
            time.sleep(0.01)
        process.send_signal(signal.SIGKILL)
    whole, _, _ = listed.read_text("utf-8").rpartition("\n")
    lines = [json.loads(line) for line in whole.splitlines()]
    assert 0 < len(lines) < 24
    for line in lines:
        assert hashlib.sha256((to / line["file"]).read_bytes()).hexdigest() == line["sha256"]
    before = {line["file"]: (to / line["file"]).stat().st_mtime_ns for line in lines}
    (to / "odd.half").write_bytes(b"torn")
    done = run(*call[3:])
    assert done.exit_code == 0, done.stderr
    assert f"{24 - len(lines)} files written" in done.stdout
    assert f"{len(lines)} were there already" in done.stdout
    assert {name: (to / name).stat().st_mtime_ns for name in before} == before
    assert len(list(to.glob("*.pdf"))) == len(list(to.glob("*.fhir.json"))) == 12
    assert list(to.glob("*.half")) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs the device that is always full")
def test_a_full_disk_is_one_line_and_nothing_half(tmp_path: Path) -> None:
    """Linux's /dev/full answers every write as a full disk does."""
    with ExportFolder(tmp_path) as folder:
        folder.put("a", 1, "json", "a.json", b"whole")

    def write_on() -> None:
        with ExportFolder(tmp_path) as folder:
            (tmp_path / "b.json.half").symlink_to("/dev/full")
            folder.put("b", 1, "json", "b.json", b"lost")

    with pytest.raises(WorkError, match=r"No space left on device.*goes on from there"):
        write_on()
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.json", "exported.jsonl"]
    with ExportFolder(tmp_path) as folder:
        assert folder.has("a", 1, "json")
        assert not folder.has("b", 1, "json")


def test_a_folder_that_cannot_be_is_one_line(run: Run, books: Practice, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    done = run("export", books.signed().id, "--to", str(tmp_path / "file" / "out"))
    assert done.exit_code == 1
    assert "cannot be written" in one_line(done.stderr)


def test_a_name_that_no_file_can_have_is_no_record(run: Run, books: Practice) -> None:
    refused = run("export", "x" * 300, "--as", "json")
    assert refused.exit_code in {1, 2}
    assert "Internal error" not in one_line(refused.stderr)
