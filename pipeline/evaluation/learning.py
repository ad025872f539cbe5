"""Learns where speakers pause from marked dictations, and compares with the rules on dictations that were not learnt from."""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from difflib import SequenceMatcher
from typing import cast

from lexicon import load_lexicon
from lexicon.pauses import Pauses, load_pauses
from pipeline.evaluation.gold import Gold, without_marks
from pipeline.evaluation.phenomena import is_punctuated
from pipeline.evaluation.score import Score, score_all
from pipeline.extraction import extract
from pipeline.extraction.engine import load_pipeline
from pipeline.extraction.model import Statements
from pipeline.extraction.pauses import GapReader, PauseMarker
from pipeline.extraction.tokens import MARKS, SENTENCE_MARKS, Analysis, analysis_of
from pipeline.speech.model import Transcript

THRESHOLD = 0.4  # of 0.3 to 0.6 the best on dictations not learnt from
_LEAST = 8  # gaps in which something must be true to be learnt from
_ROUNDS = 6
_STEP = 0.3
_SHRINKING = 2e-5  # of a weight, for each example seen
_MARKS = ("", ",", ".")

Example = tuple[list[str], str]


def examples_of(gold: Gold) -> list[Example]:
    """What is true of each gap of a dictation without its marks, and the mark that stood there; none if it has no marks."""
    if not is_punctuated(gold.text):
        return []
    bare = _analysis(without_marks(gold).text)
    gaps = GapReader(load_lexicon()).gaps(bare)
    return list(gaps.examples(_marks_of(_analysis(gold.text).norms, bare.norms)))


def learn(examples: Sequence[Example]) -> Pauses:
    """Learn weights by multinomial logistic regression; the same examples give the same weights.

    Stochastic gradients with steps of their own for each weight (AdaGrad; Duchi, Hazan and Singer 2011), shrunk towards zero.
    """
    counts = Counter(name for names, _ in examples for name in names)
    kept = [
        ([name for name in names if counts[name] >= _LEAST], _MARKS.index(mark)) for names, mark in examples
    ]
    weights: dict[str, list[float]] = {}
    squares: dict[str, list[float]] = {}
    shrinking = _SHRINKING * len(kept)
    order = random.Random(1)  # noqa: S311 - an order, no secret
    for _ in range(_ROUNDS):
        order.shuffle(kept)
        for names, mark in kept:
            rows = [weights.setdefault(name, [0.0, 0.0, 0.0]) for name in names]
            odds = [math.exp(min(30.0, sum(row[k] for row in rows))) for k in range(3)]
            wrong = [odd / sum(odds) - (k == mark) for k, odd in enumerate(odds)]
            for name, row in zip(names, rows, strict=True):
                seen = squares.setdefault(name, [1e-6] * 3)
                for k in range(3):
                    gradient = wrong[k] + 1e-3 * shrinking * row[k]
                    seen[k] += gradient * gradient
                    row[k] -= _STEP * gradient / math.sqrt(seen[k])
    against_none = {n: (round(r[1] - r[0], 2), round(r[2] - r[0], 2)) for n, r in weights.items()}
    return Pauses(THRESHOLD, {n: pair for n, pair in against_none.items() if pair != (0.0, 0.0)})


def unseen(golds: Sequence[Gold], parts: int = 5) -> tuple[Score, Score]:
    """Scores without marks of the rules alone and with pauses learnt from the other parts only."""
    examples = [examples_of(gold) for gold in golds]
    bare = [without_marks(gold) for gold in golds]
    with _pauses(None):
        ruled = score_all(bare, _extract)
    statements = {}
    for part in range(parts):
        others = [e for at, own in enumerate(examples) if at % parts != part for e in own]
        with _pauses(learn(others)):
            statements.update({gold.name: _extract(gold) for gold in bare[part::parts]})
    return ruled, score_all(bare, lambda gold: statements[gold.name])


def learn_from(golds: Iterable[Gold]) -> Pauses:
    """Weights learnt from all of the dictations."""
    return learn([example for gold in golds for example in examples_of(gold)])


def _extract(gold: Gold) -> Statements:
    return extract(Transcript.from_text(gold.text))


@contextmanager
def _pauses(pauses: Pauses | None) -> Iterator[None]:
    """Let the pipeline use other weights, or none, for a while."""
    marker = cast("PauseMarker", load_pipeline().get_pipe("rostral_pauses"))
    marker.pauses = pauses or Pauses(0.99, {})
    try:
        yield
    finally:
        marker.pauses = load_pauses()


def _analysis(text: str) -> Analysis:
    nlp = load_pipeline()
    with nlp.select_pipes(disable=["rostral_pauses", "rostral_clauses"]):
        return analysis_of(nlp(text))


def _marks_of(marked: Sequence[str], bare: Sequence[str]) -> dict[int, str]:
    """The marks of one token list by the token of the other that they stand before."""
    marks: dict[int, str] = {}
    plain: list[str] = []
    for norm in marked:
        if norm not in MARKS:
            plain.append(norm)
        elif marks.get(len(plain)) != ".":
            marks[len(plain)] = "." if norm in SENTENCE_MARKS else ","
    places: dict[int, int] = {}
    for block in SequenceMatcher(None, plain, bare, autojunk=False).get_matching_blocks():
        places.update({block.a + step: block.b + step for step in range(block.size)})
    return {places[at]: mark for at, mark in marks.items() if at in places}
