"""The terminal view of one fixed record, compared with the pages that a person has looked at."""

from __future__ import annotations

from pathlib import Path

import pytest
from shown_record import shown_record

from lexicon import load_lexicon
from pipeline.cli.page import ASCII
from pipeline.cli.record_view import record_lines
from pipeline.record import CAUTION, ExamRecord, Visit
from pipeline.record.schema import record_schema
from pipeline.speech.model import Transcript

PAGES = Path(__file__).parent / "pages"


def view(record: ExamRecord, width: int, *, talk: bool = False) -> str:
    return "".join(f"{line.plain}\n" for line in record_lines(record, load_lexicon(), width, talk=talk))


@pytest.mark.parametrize(("width", "talk"), [(80, False), (120, True)])
def test_the_view_is_as_it_was_approved(width: int, talk: bool) -> None:
    """After a wanted change: look at the new page, then write it over the committed one."""
    page = PAGES / f"record_{width}.txt"
    assert view(shown_record(), width, talk=talk) == page.read_text(encoding="utf-8")


@pytest.mark.parametrize("width", [72, 80, 95, 100, 120])
def test_no_line_is_wider_than_the_page_or_ends_in_blanks(width: int) -> None:
    for line in record_lines(shown_record(), load_lexicon(), width, talk=True):
        assert line.cell_len <= width
        assert line.plain == line.plain.rstrip()


def test_nothing_of_the_record_is_left_out() -> None:
    """Every finding, value, plan item and system has its words in the view."""
    record = shown_record()
    text = " ".join(view(record, 120, talk=True).split())
    for finding in record.findings:
        assert finding.label.rpartition(": ")[2] in text
    for item in record.plan:
        assert item.text in text
    for review in record.systems:
        assert review.system.replace("_", " ") in text
        assert (review.reason or "") in text
    for kind in {measurement.kind for measurement in record.measurements}:
        assert kind.replace("_", " ") in text
    assert " ".join(CAUTION.split()) in text


def test_colour_is_never_the_only_mark() -> None:
    """A page without styles still tells states, flags, doubt, and who said what when."""
    text = view(shown_record(), 80)
    for word in (
        "ABNORMAL",
        "HIGH",
        "LOW",
        "IMPLAUSIBLE",
        "UNSURE",
        "possible",
        "owner:",
        "earlier",
        "withdrawn",
    ):
        assert word in text


def test_ascii_shapes_take_the_place_of_others() -> None:
    lines = record_lines(shown_record(), load_lexicon(), 80, ASCII)
    assert {character for line in lines for character in line.plain if ord(character) > 127} <= {"…", "°"}


def test_a_text_cannot_steer_the_terminal() -> None:
    """Escape sequences in a dictated file are not passed on."""
    text = "Recheck\x1b[2J in ten days"
    record = ExamRecord(
        visit=Visit(), transcript=Transcript.from_text(text), plan=shown_record().plan, caution="\x1b[31mred"
    )
    plan = record.plan[0].model_copy(update={"text": text})
    assert "\x1b" not in view(record.model_copy(update={"plan": (plan,)}), 80)


def test_an_empty_record_says_that_nothing_was_understood() -> None:
    text = view(ExamRecord(transcript=Transcript(text=""), caution=CAUTION), 80)
    assert "No speech was understood" in text
    assert "Patient not given" in text
    assert "Nothing abnormal" not in text


def test_the_shown_record_fits_the_published_schema() -> None:
    import jsonschema  # noqa: PLC0415 - only this test needs it

    jsonschema.Draft202012Validator(record_schema()).validate(shown_record().model_dump(mode="json"))
