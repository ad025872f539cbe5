"""Terms said otherwise than the tables write them."""

from __future__ import annotations

import pytest
from marked import disagreements

from lexicon import Entry
from pipeline.extraction.terms import Match, TermTree

SENTENCES = [
    "Owner says he keeps [shaking that head|owner @ears].",
    "She [scratches constantly at that ear|@ears].",
    "He's [over weight|@general].",
    "A bit of [earwax|mild @ears].",
    "Gums [redder|@mouth] than last year.",
    "Both eyes [weepier|both @eyes] than before.",
    "His tongue [lolls|@mouth].",
    "Tip of the ear is [crusty|@ears].",
]


@pytest.mark.parametrize("sentence", SENTENCES)
def test_a_term_is_known_in_other_wording(sentence: str) -> None:
    """Inflected, with small words between, cut or joined otherwise, turned round with "of"."""
    assert disagreements(sentence) == []


SIZES = [
    "Abdomen [soft|@abdomen], [small|@abdomen] stomach.",
    "Kidneys are both [small|both @abdomen], bladder [small|@abdomen].",
    "Abdomen: a small [lump|@abdomen].",
]


@pytest.mark.parametrize("sentence", SIZES)
def test_small_says_another_thing_of_each_organ(sentence: str) -> None:
    """A small kidney is a finding, a small bladder is well, a small lump is a lump."""
    assert disagreements(sentence) == []


@pytest.mark.parametrize("name", ["vizsla", "weimaraner", "chihuahua", "schnauzer", "abyssinian"])
def test_a_breed_is_no_misheard_word(name: str) -> None:
    """A recogniser writes breeds in small letters too."""
    assert disagreements(f"no {name} today and the owner has a {name} at home") == []


MATCHING = {"whose": ["his", "the"], "how_much": ["really"], "fixed": ["not"]}


def _entry(term: str, kind: str = "noun") -> tuple[tuple[str, ...], Entry]:
    return tuple(term.split()), Entry(term, kind, term.replace(" ", "_"), False)


TREE = TermTree(
    [_entry("wax in the ear"), _entry("ear tip"), _entry("overweight", "predicate"), _entry("not his ear")],
    MATCHING,
)


@pytest.mark.parametrize(
    ("said", "place", "passed"),
    [
        ("wax in the ear", (0, 4), ()),
        ("wax in his ear", (0, 4), (2,)),
        ("wax in ear", (0, 3), ()),
        ("wax really in his ear", (0, 5), (1, 3)),
        ("the tip of the ear", (1, 5), (3,)),
        ("eartip", (0, 1), ()),
        ("over weight", (0, 2), ()),
    ],
)
def test_the_ways_to_a_term(said: str, place: tuple[int, int], passed: tuple[int, ...]) -> None:
    """Each match says where it is and which tokens inside are no part of it."""
    match = next(iter(TREE.find(said.split())))
    assert (match.start, match.end) == place
    assert match.passed == passed


@pytest.mark.parametrize(
    "said", ["wax not in the ear", "not the ear", "in the ear", "ov erweight", "wax , in ear"]
)
def test_a_denial_or_a_mark_ends_a_term(said: str) -> None:
    """What would turn the meaning is never passed over."""
    assert list(TREE.find(said.split())) == []


def test_word_by_word_needs_no_explanation() -> None:
    """Only another way than word by word has a route to show."""
    direct, loose = (next(iter(TREE.find(said.split()))) for said in ("wax in the ear", "wax in his ear"))
    assert isinstance(direct, Match)
    assert not direct.route
    assert "'his'" in loose.route
