"""A practice's own words: taken where they fit, refused with the place and the way out where they do not."""

from __future__ import annotations

from pathlib import Path

import pytest
from archival import assert_archival, text_of
from signed import LEXICON, PRACTICE, signed

from pipeline.filing import FilingError, clinical_record_pdf, load_language, take_home_sheet_pdf

GERMAN = """
[language]
code = "de"
region = "AT"
day = "{day}. {month} {year}"
months = "Jänner, Februar, März, April, Mai, Juni, Juli, August, September, Oktober, November, Dezember"

[record]
title = "Krankenblatt"

[sheet]
title = "{name} war bei uns"
checked = "Was wir angesehen haben"
"""


def own(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "words.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_a_translation_reaches_both_documents_and_their_language_tag(tmp_path: Path) -> None:
    language = load_language(own(tmp_path, GERMAN))
    record = clinical_record_pdf([signed("Ears clean.")], PRACTICE, LEXICON, language=language).pdf
    sheet = take_home_sheet_pdf(signed("Ears clean."), PRACTICE, LEXICON, language=language).pdf
    for pdf, part in ((record, "3"), (sheet, "2")):
        assert_archival(pdf, part=part, language="de-AT")
    assert "Krankenblatt" in text_of(record, tmp_path)
    assert "9. März 2026" in text_of(record, tmp_path)
    assert "Bramley war bei uns" in text_of(sheet, tmp_path)
    assert "What we found" in text_of(sheet, tmp_path)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[sheet", "is no TOML file"),
        ('title = "Hello"', '"title" stands in no section'),
        ('[sheet]\ntitel = "Hello"', r"\[sheet\] titel: there is no such text in english.toml"),
        ('[sheets]\ntitle = "Hello"', r"\[sheets\] title: there is no such text"),
        ('[sheet]\ntitle = ""', r"\[sheet\] title: write words in quotation marks"),
        ("[sheet]\ntitle = 5", r"\[sheet\] title: write words in quotation marks"),
        ('[sheet]\ntitle = "{nam}"', r"nothing is filled in for \{nam\}. Possible here: \{name\}"),
        ('[sheet]\ntitle = "{name"', "a brace is not closed"),
        ('[sheet]\ntitle = "{name.owner}"', r"nothing is filled in for \{name.owner\}"),
        ('[sheet]\ntitle = "{}"', r"nothing is filled in for \{\}"),
        ('[language]\nmonths = "one, two"', "write twelve names"),
    ],
)
def test_a_wrong_file_is_refused_with_its_place(text: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(FilingError, match=message):
        load_language(own(tmp_path, text))


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(FilingError, match=r"nowhere.toml, cannot be read: No such file"):
        load_language(tmp_path / "nowhere.toml")
