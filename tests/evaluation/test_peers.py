"""Other programs are asked about the annotated words, and every answer is judged by the same rule."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pipeline.evaluation import Gold, GoldError
from pipeline.evaluation.gold import AsideFact, FindingFact
from pipeline.evaluation.peers import (
    ALL,
    Answers,
    compare,
    key,
    own_answers,
    passages,
    questions,
    read_answers,
)
from pipeline.extraction import extract
from pipeline.speech.model import Transcript

GOLD = Gold(
    name="one",
    style="teaching",
    species="dog",
    visit="sick",
    text="No fleas, but he was lame last month. Gums pink. Diabetes would make him thirsty.",
    findings=(
        FindingFact(words="fleas", system="skin", assertion="absent"),
        FindingFact(words="lame", system="musculoskeletal", when="past"),
        FindingFact(words="pink", system="mouth", nature="normal"),
    ),
    set_aside=(AsideFact(words="thirsty", why="teaching"),),
)
SHORT = passages([GOLD])


def answered(*states: str) -> Answers:
    """Give the same answers to the text with and without marks."""
    return Answers.model_validate(
        {"engine": "other 1", "states": {key(p): states for p in SHORT}, "words_per_second": 1}
    )


def test_questions_tell_text_and_places_and_nothing_of_what_is_right() -> None:
    """A program that is asked learns where the words stand, with and without marks, and gets long texts for the time."""
    lines = [json.loads(line) for line in questions([GOLD]).splitlines()]
    assert set(lines[0]) == {"key", "length", "text", "spans"}
    for line in lines[:2]:
        words = [line["text"][start:end] for start, end in line["spans"]]
        assert words == ["fleas", "lame", "pink", "thirsty"]
    assert lines[1]["text"].startswith("no fleas but he was lame")
    assert [line["length"] is not None for line in lines] == [False, False, True, True, True, True]


@pytest.mark.parametrize(
    ("states", "right"),
    [
        (("absent", "past", "present", "hypothetical"), 4),
        (("absent", "past", "present", "absent"), 4),  # nothing is stated of what was only explained
        (("absent", "present", "present", "present"), 2),
        (("present", "absent", "absent", "possible"), 0),
    ],
)
def test_answers_are_judged_by_what_is_stated(states: tuple[str, ...], right: int) -> None:
    """A fact must have its state, talk must not become a fact."""
    for marks in (True, False):
        assert compare(SHORT, answered(*states), marks=marks)[ALL].right == right


def test_our_own_answers_come_from_the_text_alone() -> None:
    """The same words, found by the extraction itself."""
    ours = own_answers(SHORT, lambda text: extract(Transcript.from_text(text)), (20, 40))
    assert ours.states[key(SHORT[0])] == ("absent", "past", "present", "nothing")
    assert ours.words_per_second > 0
    assert len(ours.seconds_by_length) == 2


def test_answers_that_do_not_fit_are_refused(tmp_path: Path) -> None:
    """Answers to other questions, or no answers, end with an error that names them."""
    with pytest.raises(GoldError, match=r"other 1 do not fit"):
        compare(SHORT, answered("absent"), marks=True)
    (tmp_path / "bad.json").write_text('{"engine": 1}', encoding="utf-8")
    with pytest.raises(GoldError, match=r"bad\.json holds no answers"):
        read_answers(tmp_path / "bad.json")
