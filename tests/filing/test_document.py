"""What stands in the clinical record, and that it stays on its pages whatever the record holds."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import tomllib
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import zxingcpp
from archival import assert_archival, elements, opened, poppler, text_of
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from pydantic import ValidationError
from signed import (
    DOG,
    LEXICON,
    OWNER,
    PRACTICE,
    RECORD_ID,
    amended,
    sample,
    signed,
    weights,
)

from pipeline.filing import FilingError, Letterhead, PaperName, clinical_record_pdf, take_home_sheet_pdf
from pipeline.filing.code import code_text
from pipeline.review import CorrectFinding, FindingChanges, MarkNotExamined, Reject

ABNORMAL = (
    "Left ear red.",
    "Mild tartar.",
    "Grade two out of six heart murmur.",
    "Crackles in the lungs.",
    "Sore abdomen.",
    "Fleas in the coat.",
    "Left cataract.",
    "Nasal discharge.",
    "Enlarged left popliteal lymph node.",
    "Lame on the right front leg.",
    "A lump on the left flank, two centimetres.",
    "Gums pale.",
)
LONG_NAMES = {
    "words": "Wilhelmina Konstantinopoulou-Featherstonehaugh de la Rochefoucauld-Montbazon of Lower Marsh",
    "one word": "Llanfair" * 15,
    "markup": '#panic("x") *bold* _it_ $y^2$ `raw` <label> @ref // comment /* more */ \\ #set page(width: 1cm)',
}


def boxes(
    pdf: bytes, folder: Path
) -> list[tuple[float, float, list[tuple[str, float, float, float, float]]]]:
    """For each page its width and height and the words with their boxes, by Poppler."""
    page_list = []
    html = poppler("pdftotext", pdf, folder, "-bbox", "-enc", "UTF-8", "DOCUMENT", "-")
    for page in ET.fromstring(html.encode()).iter("{http://www.w3.org/1999/xhtml}page"):  # noqa: S314
        words = [
            (word.text or "", *(float(word.attrib[edge]) for edge in ("xMin", "yMin", "xMax", "yMax")))
            for word in page
        ]
        page_list.append((float(page.attrib["width"]), float(page.attrib["height"]), words))
    return page_list  # type: ignore[return-value]


def assert_on_the_page(pdf: bytes, folder: Path) -> None:
    """No word leaves its page's margins, and none stands on another."""
    for width, height, words in boxes(pdf, folder):
        for word, left, top, right, foot in words:
            assert left > 40, word
            assert right < width - 40, word
            assert top > 15, word
            assert foot < height - 15, word
        for place, (one, left, top, right, foot) in enumerate(words):
            for other, left2, top2, right2, foot2 in words[place + 1 :]:
                across = min(right, right2) - max(left, left2)
                down = min(foot, foot2) - max(top, top2)
                assert across < 1.5 or down < 0.5 * min(foot - top, foot2 - top2), (one, other)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("count", [0, 1, 3, 12])
def test_abnormal_findings_stand_in_the_summary(count: int, paper: PaperName, tmp_path: Path) -> None:
    version = signed(f"{' '.join(ABNORMAL[:count])} Recheck in ten days.")
    abnormal = [f for f in version.record.findings if f.counts_as_abnormal]
    assert len(abnormal) == count
    pdf = clinical_record_pdf([version], PRACTICE, LEXICON, client=OWNER, paper=paper).pdf
    text = text_of(pdf, tmp_path)
    summary = text[text.index("Summary") : text.index("Measurements")].lower()
    assert [finding.label for finding in abnormal if finding.label not in summary] == []
    assert ("nothing abnormal" in summary) == (count == 0)
    assert_on_the_page(pdf, tmp_path)


@pytest.mark.parametrize("name", LONG_NAMES.values(), ids=LONG_NAMES)
def test_names_of_any_length_stay_on_the_page(name: str, tmp_path: Path) -> None:
    """And are set as they are, whatever they hold: nothing of a name steers the typesetter."""
    patient = DOG.model_copy(update={"name": name, "breed": name})
    client = OWNER.model_copy(update={"name": name, "address": f"{name}\n{name}"})
    practice = PRACTICE.model_copy(update={"name": name[:190], "registration": name})
    pdf = clinical_record_pdf([signed("Left ear red.", patient)], practice, LEXICON, client=client).pdf
    assert name.replace(" ", "") in text_of(pdf, tmp_path).replace(" ", "")
    assert_on_the_page(pdf, tmp_path)
    assert_archival(pdf, part="3")


def test_a_long_record_breaks_between_its_statements(tmp_path: Path) -> None:
    """Each page names the patient and its own number; no heading is left alone at a foot."""
    said = " ".join(
        f"{text[:-1]}, and the owner says he was sick {number} times."
        for number in range(2, 12)
        for text in ABNORMAL
    )
    plan = " ".join(
        f"Give tablet number {number} twice a day with food for seven days." for number in range(2, 60)
    )
    pdf = clinical_record_pdf([signed(f"{said} {plan}")], PRACTICE, LEXICON, client=OWNER).pdf
    count = len(opened(pdf).pages)
    assert count >= 3
    for number in range(1, count + 1):
        page = poppler("pdftotext", pdf, tmp_path, "-f", str(number), "-l", str(number), "DOCUMENT", "-")
        assert "Bramley" in page
        assert f"Page {number} of {count}" in page
        lines = [line for line in page.splitlines() if line.strip()]
        body = lines[: next(place for place, line in enumerate(lines) if line.startswith("Record 5f0c2a9b"))]
        assert body[-1] not in ("Summary", "Measurements", "Nose to tail", "History", "Plan", "Signature")
    assert_on_the_page(pdf, tmp_path)


def test_an_empty_record_says_so(tmp_path: Path) -> None:
    pdf = clinical_record_pdf([signed("", None)], PRACTICE, LEXICON).pdf
    text = text_of(pdf, tmp_path)
    for words in ("Patient not recorded", "holds nothing that was said", "No value was recorded", "No plan"):
        assert words in text
    assert "Nothing abnormal" not in text
    assert_archival(pdf, part="3")


@pytest.mark.parametrize(
    "name", ["Ελένη Παπαδοπούλου", "Дмитрий Щербаков", "Nguyễn Thị Ánh", "Łucja Žukauskaitė", "İpek Şahin"]
)
def test_names_in_our_own_faces_scripts_need_nothing_else(name: str, tmp_path: Path) -> None:
    printed = clinical_record_pdf(
        [signed("Left ear red.")], PRACTICE, LEXICON, client=OWNER.model_copy(update={"name": name})
    )
    assert printed.warnings == ()
    assert name in text_of(printed.pdf, tmp_path)


@pytest.mark.parametrize(
    "name", ["張美玲", "مريم الحسيني", "שרה לוי", "สมหญิง", "Mabel \U0001f436", "Bram\U0010abcdley"]
)
def test_no_other_script_is_lost_without_a_word(name: str, tmp_path: Path) -> None:
    """A face of the machine holds it, or its characters are written by number; the reader is told of both."""
    printed = clinical_record_pdf(
        [signed("Left ear red.")], PRACTICE, LEXICON, client=OWNER.model_copy(update={"name": name})
    )
    assert printed.warnings
    text = text_of(printed.pdf, tmp_path)
    by_number = "written by its number" in " ".join(printed.warnings)
    assert ("written by their Unicode numbers" in text) == by_number
    for character in name:
        shown = character in text or f"[U+{ord(character):04X}]" in text.replace(" ", "")
        assert shown or character == " ", f"U+{ord(character):04X}"
    assert_archival(printed.pdf, part="3")


def test_control_characters_are_no_text(tmp_path: Path) -> None:
    patient = DOG.model_copy(update={"name": "Bram\x07ley\x00"})
    printed = clinical_record_pdf([signed("Left ear red.", patient)], PRACTICE, LEXICON)
    assert printed.warnings == ()
    assert "Bram ley" in text_of(printed.pdf, tmp_path)


def test_all_that_a_record_must_hold_is_there(tmp_path: Path) -> None:
    """Named negatives, what was not examined and why, the owner's words, doses as said with their caution, ranges with sources."""
    version = signed(
        "Owner says he is drinking more. Left ear red, no ear discharge. Temperature forty point one. Weight twelve kilos, it was"
        " eleven point five last year. Ear drops, five drops twice daily for seven days. Recheck in ten days.",
        operations=[MarkNotExamined(system="mouth", reason="muzzled")],
    )
    pdf = clinical_record_pdf(
        [version], PRACTICE, LEXICON, client=OWNER, past={"weight": weights(11.2, 11.9)}
    ).pdf
    text = text_of(pdf, tmp_path)
    for words in (
        "Redness of the ear (left)",
        "No ear discharge",
        "Mouth not examined Reason: muzzled",
        "As told by the owner Polydipsia",
        "Temperature 40.1 °C, high (range 37.7 to 39.5 °C)",
        "Temperature: 9,117 adult dogs, rectal",
        "Dorn, Bogedale, Pankraz, Neiger: Calculation of a Reference Interval for Rectal Temperature in Adult Dogs",
        "five drops twice daily for seven days",
        "Rostral neither computed nor checked them",
        "due 19 March 2026",
        "microchip 900000000000417",
        "support the clinician's judgement and local rules and do not replace them",
        f"Record {RECORD_ID}",
    ):
        assert words.lower() in text.lower(), words
    assert version.sha256 in re.sub(r"\s", "", text)


def test_amendments_show_what_was_said_before(tmp_path: Path) -> None:
    first = signed("Left ear red. Eyes clear. Fleas in the coat.")
    facts = {f.label: f"f{number}" for number, f in enumerate(first.record.findings, start=1)}
    red, fleas = facts["redness of the ear"], facts["fleas"]
    versions = amended(
        [first],
        "The other ear was meant.",
        [
            CorrectFinding(fact=red, changes=FindingChanges(side="right")),
            Reject(fact=fleas, reason="no fleas"),
        ],
    )
    text = text_of(clinical_record_pdf(versions, PRACTICE, LEXICON).pdf, tmp_path)
    amendments = text[text.index("Amendments") : text.index("Signature")]
    assert "Version 2, 10 March 2026, 10:42 UTC, Ines Halloran Reason: The other ear was meant." in amendments
    assert "Taken out Ears Redness of the ear (left)" in amendments
    assert "Added Ears Redness of the ear (right)" in amendments
    assert "Version 1, 9 March 2026, 10:42 UTC, Ines Halloran Signed as the first version." in amendments


def test_the_code_is_read_from_the_page(tmp_path: Path) -> None:
    """By a reader of codes that did not draw it (ISO/IEC 18004), from a picture of the page at 150 dots an inch."""
    tool = shutil.which("pdftoppm")
    if tool is None:
        pytest.skip("this test makes a picture of a page: install poppler-utils (Debian) or poppler")
    version = sample("cat_terse")
    pdf = clinical_record_pdf([version], PRACTICE, LEXICON).pdf
    found = []
    for number in range(1, len(opened(pdf).pages) + 1):
        command = [tool, "-r", "150", "-png", "-f", str(number), "-l", str(number), "-"]
        png = subprocess.run(command, input=pdf, capture_output=True, check=True).stdout
        found += [code.text for code in zxingcpp.read_barcodes(Image.open(io.BytesIO(png)))]
    assert found == [code_text(version)]


def picture(form: str) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (300, 120), "#88442f").save(out, form)
    return out.getvalue()


SVG_LOGO = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 4"><rect width="9" height="4" fill="#275"/></svg>'


@pytest.mark.parametrize("logo", [picture("PNG"), picture("JPEG"), SVG_LOGO], ids=["png", "jpeg", "svg"])
def test_a_logo_is_printed_with_the_practices_name_as_its_text(logo: bytes) -> None:
    practice = Letterhead.model_validate(PRACTICE.model_dump() | {"logo": logo})
    file = opened(clinical_record_pdf([signed("Ears clean.")], practice, LEXICON).pdf)
    texts = [str(tag.Alt) for tag in elements(file.Root.StructTreeRoot) if tag.S == "/Figure"]
    assert texts[0] == PRACTICE.name


@pytest.mark.parametrize("logo", [b"GIF89a", b"", b"x" * 9, b"<svg/>" + b" " * 200_001])
def test_a_picture_that_is_no_logo_is_refused(logo: bytes) -> None:
    with pytest.raises(
        ValidationError, match=r"no PNG, JPEG or SVG: save it|give a picture of at most 200,000"
    ):
        Letterhead(name="Alder Lane Surgery", logo=logo)


@pytest.mark.parametrize("logo", [picture("PNG")[:60], b"<svg nope"])
def test_a_damaged_logo_is_named_as_what_is_wrong(logo: bytes) -> None:
    practice = PRACTICE.model_copy(update={"logo": logo})
    with pytest.raises(
        FilingError, match=r"^The logo of the letterhead cannot be printed: .* Save the picture that ROSTRAL_LOGO names again"
    ):
        clinical_record_pdf([signed("Ears clean.")], practice, LEXICON)


ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=60).filter(str.strip)


@given(name=ANY_TEXT, owner=ANY_TEXT, step=ANY_TEXT)
@settings(deadline=None, max_examples=40)
def test_whatever_is_written_is_printed(name: str, owner: str, step: str) -> None:
    """Any text of any script, and no error: what cannot be shown is told in a warning."""
    version = signed("Left ear red. Recheck in ten days.", DOG.model_copy(update={"name": name.strip()}))
    plan = tuple(item.model_copy(update={"text": step}) for item in version.record.plan)
    written = version.model_copy(update={"record": version.record.model_copy(update={"plan": plan})})
    client = OWNER.model_copy(update={"name": owner})
    printed = clinical_record_pdf([written], PRACTICE, LEXICON, client=client)
    assert printed.pdf.startswith(b"%PDF-1.7")
    assert take_home_sheet_pdf(written, PRACTICE, LEXICON).pdf.startswith(b"%PDF-1.7")


def test_versions_must_be_whole_and_of_one_record() -> None:
    version = signed("Ears clean.")
    other = version.model_copy(update={"record_id": "a" * 32, "version": 2})
    with pytest.raises(FilingError, match="no signed version"):
        clinical_record_pdf([], PRACTICE, LEXICON)
    with pytest.raises(FilingError, match="Versions of 2 records"):
        clinical_record_pdf([version, other], PRACTICE, LEXICON)
    with pytest.raises(FilingError, match="all versions from 1 on"):
        clinical_record_pdf([version.model_copy(update={"version": 2})], PRACTICE, LEXICON)


GOLD = sorted((Path(__file__).parents[1] / "gold").glob("*/*.toml"))[::12]


@pytest.mark.parametrize("file", GOLD, ids=[file.stem for file in GOLD])
def test_annotated_dictations_print_well(file: Path, tmp_path: Path) -> None:
    """Texts that nobody wrote for documents: noisy, terse, corrected, without marks."""
    version = signed(tomllib.loads(file.read_text(encoding="utf-8"))["text"], kind="sick")
    record = clinical_record_pdf(
        [version], PRACTICE, LEXICON, client=OWNER, past={"weight": weights(11, 12)}
    ).pdf
    sheet = take_home_sheet_pdf(version, PRACTICE, LEXICON, paper="letter").pdf
    for pdf, part in ((record, "3"), (sheet, "2")):
        assert_archival(pdf, part=part)
        assert_on_the_page(pdf, tmp_path)
