"""Long text without marks is read with the pauses that its words tell of."""

from __future__ import annotations

from typing import cast

import pytest
from said import hear

from lexicon import load_lexicon
from lexicon.pauses import Pauses, load_pauses
from pipeline.extraction.engine import load_pipeline
from pipeline.extraction.pauses import GapReader, PauseMarker
from pipeline.extraction.tokens import analysis_of

UNMARKED = (
    "lungs sound clear belly soft i can't feel the spleen which is fine one kidney feels small and knobbly"
    " coat's dull and she's got scurf all down the back"
)


def _kidneys(text: str) -> set[str]:
    return {f.concept for f in hear(text).findings if f.structure == "kidney"}


def test_a_pause_begins_a_new_statement(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is said of the kidney is kept apart from the spleen; without the weights it is lost."""
    assert "irregular_kidney" in _kidneys(UNMARKED)
    marker = cast("PauseMarker", load_pipeline().get_pipe("rostral_pauses"))
    monkeypatch.setattr(marker, "pauses", Pauses(0.99, {}))
    assert "irregular_kidney" not in _kidneys(UNMARKED)


def test_marks_written_are_kept_and_none_are_added() -> None:
    """Text with marks is left as it was written: the weights have no say."""
    marked = "Lungs clear. Belly soft, spleen fine. One kidney is small and knobbly. Coat dull, scurf down the back."
    assert [clause.end_char for clause in hear(marked).clauses] == [11, 23, 36, 69, 80, 101]


def test_weights_are_written_as_they_are_read() -> None:
    """The table that comes with the program is the one that the learning writes."""
    pauses = load_pauses()
    assert 0 < pauses.threshold < 1
    assert Pauses(0.5, {"a|b": (0.5, -1.0)}).as_json() == (
        '{"threshold": 0.5, "weights": {\n"a|b": [0.5, -1]\n}}\n'
    )


def test_a_pause_in_general_talk_does_not_end_it() -> None:
    """Whatever the weights say: after "terriers get" a pause is a comma, until a part of the patient begins something new."""
    ends_always = Pauses(0.5, {"any": (0.0, 9.0)})
    doc = load_pipeline().make_doc("terriers often get lice fleas hair loss coat clean")
    for name in ("rostral_numbers", "rostral_concepts"):
        doc = load_pipeline().get_pipe(name)(doc)
    analysis = analysis_of(doc)
    gaps = GapReader(load_lexicon()).gaps(analysis)
    marks = {
        analysis.norms[mark.at]: mark.norm for mark in gaps.marks(ends_always, [(0, len(analysis.norms))])
    }
    assert (marks["lice"], marks["fleas"], marks["coat"]) == (",", ",", ".")


def test_no_pause_comes_after_a_word_that_asks_for_another() -> None:
    """A possessive after a preposition, an article: what they belong to must follow."""
    said = "bladder is soft i can't feel any masses in her tummy coat is dull and a little matted over the back no fleas"
    found = {finding.concept: finding.assertion for finding in hear(said).findings}
    assert found["abdominal_mass"] == "absent"
