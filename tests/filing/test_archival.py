"""Documents against the standards they say they keep."""

from __future__ import annotations

import hashlib
import io
import itertools
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pypdf
import pytest
from archival import assert_archival, assert_attached, elements, opened, poppler, text_of
from signed import LEXICON, OWNER, PRACTICE, RECORD_ID, amended, sample, signed, weights

from pipeline.filing import PaperName, clinical_record_pdf, draft_pdf, take_home_sheet_pdf
from pipeline.record import ExamRecord
from pipeline.review import CorrectFinding, FindingChanges

PAST = {"weight": weights(26.9, 27.5, 28.8, 28.2)}
NAMES = ("cat_senior", "dog_chatty", "dog_incomplete", "rabbit_vaccination")


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", NAMES)
def test_records_keep_the_archival_and_the_accessible_standard(name: str, paper: PaperName) -> None:
    pdf = clinical_record_pdf([sample(name)], PRACTICE, LEXICON, client=OWNER, past=PAST, paper=paper).pdf
    assert_archival(pdf, part="3")


@pytest.mark.parametrize("name", NAMES)
def test_sheets_keep_the_archival_and_the_accessible_standard(name: str) -> None:
    pdf = take_home_sheet_pdf(sample(name), PRACTICE, LEXICON, past=PAST).pdf
    assert_archival(pdf, part="2")


def test_papers_have_their_sizes() -> None:
    """ISO 216: A4 is 210 by 297 mm. Letter is 8.5 by 11 inches."""
    version = signed("Ears clean.")
    sizes: dict[PaperName, tuple[int, int]] = {"a4": (595, 842), "letter": (612, 792)}
    for paper, size in sizes.items():
        file = opened(clinical_record_pdf([version], PRACTICE, LEXICON, paper=paper).pdf)
        box = file.pages[0].mediabox
        assert (round(float(box[2])), round(float(box[3]))) == size


def test_each_version_is_attached_as_it_was_signed(tmp_path: Path) -> None:
    """Byte for byte, by the checksum on the page too, and read back as the same record by two readers."""
    versions = amended(
        [signed("Left ear red. Eyes clear.")],
        "The other ear was meant.",
        [CorrectFinding(fact="f2", changes=FindingChanges(side="right"))],
    )
    pdf = clinical_record_pdf(versions, PRACTICE, LEXICON).pdf
    for version in versions:
        name = f"record-{RECORD_ID}-v{version.version}.json"
        attached = assert_attached(pdf, name)
        assert attached == version.record.model_dump_json().encode()
        assert ExamRecord.model_validate_json(attached) == version.record
        if version is versions[-1]:
            checksum = hashlib.sha256(attached).hexdigest()
            assert checksum in text_of(pdf, tmp_path).replace(" ", "")
        assert pypdf.PdfReader(io.BytesIO(pdf)).attachments[name] == [attached]


def test_headings_go_down_by_one_and_in_order() -> None:
    """ISO 14289-1, 7.4.2: no level is left out on the way down; systems come nose to tail."""
    file = opened(clinical_record_pdf([sample("cat_senior")], PRACTICE, LEXICON).pdf)
    levels = [int(str(tag.S)[2]) for tag in elements(file.Root.StructTreeRoot) if str(tag.S).startswith("/H")]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert levels.count(3) == 13


def test_the_table_of_values_has_heads() -> None:
    """ISO 14289-1, 7.5: the head cells of a table are marked as such."""
    file = opened(clinical_record_pdf([sample("cat_senior")], PRACTICE, LEXICON).pdf)
    kinds = [str(tag.S) for tag in elements(file.Root.StructTreeRoot)]
    assert kinds.count("/Table") == 1
    assert kinds.count("/TH") == 4


def test_faces_are_embedded_by_another_reader(tmp_path: Path) -> None:
    """Every line of pdffonts: embedded, a subset, with characters."""
    pdf = clinical_record_pdf([sample("dog_chatty")], PRACTICE, LEXICON, past=PAST).pdf
    lines = poppler("pdffonts", pdf, tmp_path, "DOCUMENT").splitlines()[2:]
    assert len(lines) >= 2
    for line in lines:
        assert "SourceSans3" in line
        assert line.split()[-5:-2] == ["yes", "yes", "yes"]


def test_the_text_reads_in_order(tmp_path: Path) -> None:
    """As another program takes it out: who, what is abnormal, values, systems nose to tail, plan, signature."""
    text = text_of(clinical_record_pdf([sample("dog_chatty")], PRACTICE, LEXICON, client=OWNER).pdf, tmp_path)
    parts = (
        "Alder Lane Surgery",
        "Clinical record",
        "Mabel",
        "Rosalind Petheram",
        "Summary",
        "Dental calculus (right molar, mild)",
        "Measurements",
        "38.4 °C",
        "Nose to tail",
        *("General", "Nose", "Mouth", "Eyes", "Ears", "Lymph nodes", "Heart and vessels", "Breathing"),
        *("Abdomen", "Urogenital", "Skin and coat", "Limbs and spine", "Nerves"),
        "Plan",
        "due 9 March 2027",
        "Signed by Ines Halloran on 9 March 2026, 10:42 UTC",
    )
    at = 0
    for part in parts:
        at = text.find(part, at)
        assert at >= 0, part


def test_tags_read_in_the_same_order(tmp_path: Path) -> None:
    """What a screen reader is given, by the tags: every finding of the record, the abnormal ones before."""
    pdf = clinical_record_pdf([sample("dog_chatty")], PRACTICE, LEXICON).pdf
    told = " ".join(poppler("pdfinfo", pdf, tmp_path, "-struct-text", "DOCUMENT").split())
    order = ["Clinical record", "Dental calculus", "Respiratory rate", "Clear lungs", "Brush those teeth"]
    places = [told.find(part) for part in order]
    assert -1 not in places
    assert places == sorted(places)


def test_a_draft_says_so_on_every_page(tmp_path: Path) -> None:
    version = sample("cat_senior")
    pdf = draft_pdf(version.record, PRACTICE, LEXICON, datetime(2026, 3, 9, tzinfo=UTC)).pdf
    assert_archival(pdf, part="2")
    pages = opened(pdf).pages
    assert len(pages) > 1
    for number in range(1, len(pages) + 1):
        page = ("-f", str(number), "-l", str(number), "DOCUMENT", "-")
        assert "Draft · not signed" in poppler("pdftotext", pdf, tmp_path, *page)
    text = text_of(pdf, tmp_path)
    assert "Signed by" not in text
    assert "SHA-256" not in text
    assert len(opened(pdf).attachments) == 0


def test_another_process_makes_the_same_bytes(tmp_path: Path) -> None:
    """Nothing of the clock, of the order of sets or of the process gets into a document."""
    script = (
        "import hashlib, sys; from signed import *; from pipeline.filing import clinical_record_pdf;"
        "pdf = clinical_record_pdf([sample('cat_senior')], PRACTICE, LEXICON, client=OWNER).pdf;"
        "print(hashlib.sha256(pdf).hexdigest())"
    )
    root = Path(__file__).parents[2]
    made = set()
    for seed in ("1", "2"):
        environment = {
            **os.environ,
            "PYTHONHASHSEED": seed,
            "PYTHONPATH": f"{root}{os.pathsep}{Path(__file__).parent}",
        }
        command = [sys.executable, "-c", script]
        done = subprocess.run(
            command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
        )
        made.add(done.stdout)
    assert len(made) == 1
