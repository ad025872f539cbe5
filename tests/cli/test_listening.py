"""The words that the recogniser listens for, and what is told about a word."""

from __future__ import annotations

from pathlib import Path

import pytest

from lexicon import SYSTEMS, LexiconError
from lexicon.bias import listening_terms, load_bias
from lexicon.lookup import look_up, phrases_with, suggestions
from pipeline.speech import Recogniser, SpeechOptions

ROOT = Path(__file__).parents[2]


def test_the_most_important_terms_fit_the_prompt() -> None:
    """At least the first forty for any species: the real recogniser says how many it takes."""
    recogniser = Recogniser(SpeechOptions(model="tiny.en"))
    for species in ("dog", "cat", "rabbit", None):
        terms = listening_terms(species)
        fitting = recogniser.decoder.fit_terms(terms)
        assert set(terms[:40]) <= set(fitting)


def test_terms_of_other_species_are_left_out() -> None:
    assert "dewlap" in listening_terms("rabbit")
    assert "dewlap" not in listening_terms("dog")
    assert "stifle" not in listening_terms("rabbit")
    assert set(listening_terms("llama")) == set(listening_terms(None)) == {row.term for row in load_bias()}


def test_terms_of_the_systems_asked_for_come_first() -> None:
    terms = listening_terms("dog", {"eyes"})
    eyes = {row.term for row in load_bias() if row.system == "eyes"}
    assert set(terms[: len(eyes)]) == eyes
    assert sorted(terms) == sorted(listening_terms("dog"))


@pytest.mark.parametrize("term", ["flux capacitor", "gingivitis"])
def test_an_unknown_or_repeated_term_is_refused(tmp_path: Path, term: str) -> None:
    row = '[[term]]\nterm = "{}"\nsystem = "mouth"\nwhy = "for this test"\n'
    (tmp_path / "bias.toml").write_text(row.format("gingivitis") + row.format(term), encoding="utf-8")
    with pytest.raises(LexiconError, match=term):
        load_bias(tmp_path)


@pytest.mark.parametrize(
    ("word", "kind", "table"),
    [
        ("Popliteal", "structure", "lexicon/structures/lymph_nodes.toml"),
        ("gingivitis", "finding", "lexicon/findings/mouth.toml"),
        ("rectal temp", "measurement", "lexicon/measurements.toml"),
        ("kilos", "unit", "lexicon/units.toml"),
        ("twelve", "number", "lexicon/numbers.toml"),
        ("scratch that", "cue", "lexicon/cues/corrections.toml"),
    ],
)
def test_a_word_leads_to_the_table_that_holds_it(word: str, kind: str, table: str) -> None:
    assert (kind, table) in {(meaning.kind, meaning.table) for meaning in look_up(word)}
    assert (ROOT / table).is_file()


def test_spelling_of_both_countries_is_found() -> None:
    assert {m.id for m in look_up("anaemic murmur")} == {m.id for m in look_up("anemic murmur")}


def test_a_misheard_word_is_met_with_what_it_may_be() -> None:
    assert suggestions("jingavitis")[0] == "gingivitis"
    assert suggestions("poplital")[0] == "popliteal"
    assert suggestions("zzzzzzzz") == ()


def test_longer_phrases_are_told() -> None:
    assert "heart murmur" in phrases_with("murmur")


def test_every_system_is_listened_for() -> None:
    assert {row.system for row in load_bias()} == set(SYSTEMS)
