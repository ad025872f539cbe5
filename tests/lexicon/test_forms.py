"""Forms by rule: plurals, verb forms and comparatives of what a table writes once.

The forms of the verbs and adjectives are those of English grammars and dictionaries, from memory.
"""

from __future__ import annotations

import pytest

from lexicon import load_lexicon
from lexicon.forms import Inflection

TABLE = {
    "verbs": ["limp", "drag", "cry", "scratch", "wheeze", "wee"],
    "without_past": ["scratch"],
    "irregular": {"shake": ["shakes", "shaking", "shook"]},
    "adjectives": {"without_comparative": ["up"]},
}
RULES = Inflection(TABLE)


@pytest.mark.parametrize(
    ("written", "made"),
    [
        ("limping", {"limps", "limped"}),
        ("limps", {"limping", "limped"}),
        ("dragging a leg", {"drag a leg", "drags a leg", "dragged a leg"}),
        ("cries out", {"cry out", "crying out", "cried out"}),
        ("scratching at it", {"scratch at it", "scratches at it"}),
        ("wheezing", {"wheezes", "wheezed"}),
        ("weeing blood", {"wee blood", "wees blood", "weed blood"}),
        ("shaking his head", {"shake his head", "shakes his head", "shook his head"}),
        ("shaking", {"shakes"}),
        ("limped", set()),
        ("limp", set()),
        ("swelling", set()),
    ],
)
def test_a_verb_is_known_in_its_forms(written: str, made: set[str]) -> None:
    """One form is written; a bare verb and an irregular past are not made, as they are other words too."""
    assert set(RULES.verb_forms(written)) == made


@pytest.mark.parametrize(
    ("written", "made"),
    [
        ("red", {"redder"}),
        ("thick", {"thicker"}),
        ("pale", {"paler"}),
        ("crusty", {"crustier"}),
        ("up", set()),
        ("swollen", set()),
        ("sore on palpation", set()),
        ("enlarged", set()),
    ],
)
def test_an_adjective_is_known_in_comparison(written: str, made: set[str]) -> None:
    """Short adjectives and those in -y; others are compared with "more", which needs no form."""
    assert set(RULES.comparatives(written)) == made


def test_a_written_form_wins_over_one_made_by_rule() -> None:
    """ "Puffs" would be a verb form of panting if no table gave it another meaning; no free form is made of a written one."""
    entries = load_lexicon().entries
    written = {entry.term for entry in entries if not entry.rule}
    made = [e for e in entries if e.rule in ("verb form", "comparative") and not e.in_focus]
    assert made
    assert not [entry.term for entry in made if entry.term in written]


def test_a_form_by_rule_names_the_rule_and_its_base() -> None:
    """What "rostral lexicon find" shows as the way to a meaning."""
    made = {(entry.term, entry.rule, entry.base) for entry in load_lexicon().entries}
    assert ("ear canals", "plural", "ear canal") in made
    assert ("itchier", "comparative", "itchy") in made
    assert ("lolls", "verb form", "lolling") in made
