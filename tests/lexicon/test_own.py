"""A practice's own words: beside the program's tables, checked, and said where they come from."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from lexicon import LexiconError, load_lexicon
from lexicon.lookup import look_up
from lexicon.own import TERMS_VARIABLE, usual_terms_file
from pipeline.extraction import extract
from pipeline.extraction.model import Finding
from pipeline.speech.model import Transcript

TERMS = """
[[wording]]
of = "ear_wax"
terms = ["brown sugar ear"]
focus_terms = ["brown sugar"]

[[wording]]
of = "ear_canal"
terms = ["lug tunnel"]

[[finding]]
id = "coral_ear"
system = "ears"
label = "coral ear"
plain = "knobbly ear"
sided = true
structure = "pinna"
terms = ["coral ear"]
composed_of = ["ear_cuff + thickening"]

[[structure]]
id = "ear_cuff"
system = "ears"
label = "ear cuff"
plain = "rim of the ear"
part_of = "pinna"
terms = ["ear cuff"]
"""


@pytest.fixture
def terms(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file of own words that ROSTRAL_TERMS names."""
    path = tmp_path / "terms.toml"
    path.write_text(TERMS, encoding="utf-8")
    monkeypatch.setenv(TERMS_VARIABLE, str(path))
    return path


def findings(text: str) -> list[Finding]:
    return list(extract(Transcript.from_text(text)).findings)


def test_own_words_are_understood(terms: Path) -> None:
    """New words for a known finding and part, a new finding, a new part and what it composes to."""
    (wax,) = findings("Left ear, brown sugar.")
    assert (wax.concept, wax.side) == ("ear_wax", "left")
    (tunnel,) = findings("Lug tunnel swollen.")
    assert tunnel.structure == "ear_canal"
    (coral,) = findings("Coral ears.")
    assert (coral.concept, coral.system, coral.label) == ("coral_ear", "ears", "coral ear")
    (composed,) = findings("Ear cuff thickened.")
    assert composed.concept == "coral_ear"


def test_own_words_end_with_their_file(terms: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was built with them is not used without them, nor after a change."""
    assert findings("Coral ears.")
    terms.write_text(TERMS.replace('"coral ear"]', '"reef ear"]'), encoding="utf-8")
    assert not findings("Coral ears.")
    assert findings("Reef ears.")
    monkeypatch.delenv(TERMS_VARIABLE)
    assert not findings("Reef ears.")


def test_a_look_up_names_the_file_and_row(terms: Path) -> None:
    """ "brown sugar" is known from the practice's file, "ear wax" from the program's."""
    (own,) = look_up("brown sugar")
    assert own.id == "ear_wax"
    assert own.table == f"{terms}, wording 1 (ear_wax)"
    assert look_up("ear wax")[0].table == "lexicon/findings/ears.toml"


def test_what_the_program_has_learnt_itself_may_stand(terms: Path) -> None:
    """A later edition of the program may know the practice's word for the same thing."""
    terms.write_text('[[wording]]\nof = "ear_wax"\nterms = ["ear wax"]\n', encoding="utf-8")
    assert load_lexicon().own is not None


MISTAKES = {
    "no TOML": ("= x", ["not valid TOML"]),
    "an unknown table": ('[[words]]\nof = "ear_wax"\n', ["words", "[[wording]]"]),
    "no rows": ("wording = 3", ["wording is no row", "[[wording]]"]),
    "rows that are no rows": ("wording = [3]", ["wording is no row"]),
    "no such id": (
        '[[wording]]\nof = "ear_waxx"\nterms = ["zz"]\n',
        ["wording 1", "ear_waxx", "rostral lexicon find"],
    ),
    "no id": ('[[wording]]\nterms = ["zz"]\n', ["wording 1 (no id)", "of", "missing"]),
    "an unknown column": ('[[wording]]\nof = "ear_wax"\nwords = ["zz"]\n', ["words", "no such column"]),
    "a term of another finding": (
        '[[wording]]\nof = "ear_wax"\nterms = ["cataract"]\n',
        ["wording 1 (ear_wax)", "cataract", "leave it out"],
    ),
    "a verb for a part": (
        '[[wording]]\nof = "ear"\npredicates = ["zz"]\n',
        ["part of the body", "terms and focus_terms"],
    ),
    "capitals": ('[[wording]]\nof = "ear_wax"\nterms = ["Zz"]\n', ["terms.0", "'Zz'", "lower-case"]),
    "an id of the program": (
        '[[finding]]\nid = "ear_wax"\nsystem = "ears"\nlabel = "w"\nplain = "w"\n',
        ["finding 1 (ear_wax)", "taken", "[[wording]]"],
    ),
    "an unknown system": (
        '[[finding]]\nid = "zz"\nsystem = "wing"\nlabel = "w"\nplain = "w"\n',
        ["finding 1 (zz)", "system", "wing"],
    ),
    "an unknown part": (
        '[[finding]]\nid = "zz"\nsystem = "ears"\nlabel = "w"\nplain = "w"\nstructure = "wing"\n',
        ["finding 1 (zz)", "wing"],
    ),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_named_with_its_file_and_row(mistake: str, terms: Path) -> None:
    """The message says which file and row, what is wrong, and what would be right."""
    text, words = MISTAKES[mistake]
    terms.write_text(text, encoding="utf-8")
    with pytest.raises(LexiconError) as caught:
        load_lexicon()
    for word in (str(terms), *words):
        assert word in str(caught.value)


def test_a_missing_file_is_named_with_the_variable(terms: Path) -> None:
    """The variable is at fault, so it is named."""
    terms.unlink()
    with pytest.raises(LexiconError, match=f"{TERMS_VARIABLE} names {terms}"):
        load_lexicon()


@pytest.mark.skipif(os.name == "nt", reason="the folder of settings follows other variables there")
def test_without_a_variable_the_folder_of_settings_is_looked_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The usual place, where the file exists."""
    monkeypatch.delenv(TERMS_VARIABLE, raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    assert load_lexicon().own is None
    usual = usual_terms_file()
    assert usual.is_relative_to(tmp_path)
    usual.parent.mkdir(parents=True)
    usual.write_text(TERMS, encoding="utf-8")
    own = load_lexicon().own
    assert own is not None
    assert own.ids == {"coral_ear", "ear_cuff"}
