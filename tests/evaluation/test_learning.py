"""Pauses are learnt from marked dictations and help with dictations that were not learnt from."""

from __future__ import annotations

from pathlib import Path

from lexicon.pauses import load_pauses
from pipeline.evaluation import read_gold
from pipeline.evaluation.learning import examples_of, learn, unseen

DEV = Path(__file__).parents[1] / "gold" / "dev"


def test_pauses_beat_the_rules_on_dictations_not_learnt_from() -> None:
    """Cross-validated: more findings right without marks, fewer taken for their opposite, no values lost."""
    ruled, paused = unseen(read_gold(DEV))
    assert paused.findings.f1 > ruled.findings.f1 + 0.015
    assert paused.flips < ruled.flips
    assert paused.measurements.f1 > ruled.measurements.f1 - 0.005


def test_the_same_dictations_teach_the_same_weights() -> None:
    """What is learnt depends on nothing but the dictations, and the table is of the same kind."""
    examples = [example for gold in read_gold(DEV)[:4] for example in examples_of(gold)]
    assert learn(examples) == learn(examples)
    assert learn(examples).weights.keys() & load_pauses().weights.keys()


def test_dictations_without_marks_teach_nothing() -> None:
    """A recogniser's text shows no pauses."""
    gold = read_gold(DEV)[0]
    assert examples_of(gold.model_copy(update={"text": "heart clear lungs clear no murmur " * 20})) == []
