"""A dictation without marks is cut where its statements begin, so that it says what it says with them."""

from __future__ import annotations

from pathlib import Path

import pytest
from marked import disagreements
from said import unpunctuated

from pipeline.evaluation import read_gold, score_all
from pipeline.extraction import extract
from pipeline.speech.model import Transcript

GOLD = Path(__file__).parents[1] / "gold" / "dev"
LEAST_F1 = 0.79
"""Of the findings of `tests/gold/dev` without marks and capitals; with them the same texts reach 0.90."""

WITH_AND_WITHOUT_MARKS = """
    Heart rate one twenty, lungs [clear|@respiratory], no [murmur|absent], abdomen [soft|@abdomen], no [masses|absent].
    Eyes [clear|@eyes], nose [clean|@nose], gums [pink|@mouth], no [tartar|absent].
    Femoral pulses [strong|@cardiovascular], chest [clear|@respiratory], kidneys [smooth|@abdomen], bladder [small|@abdomen].
    Left ear: bit of [wax|left @ears], no [smell|absent left]. Right ear [clean|right @ears].
    No [wax|absent], ears [clean|@ears], no [fleas|absent], coat [glossy|@skin].
    [Wax|both] both ears, no [mites|absent @ears].
    Okay, so eyes are [clear|@eyes], there's a bit of [tartar|mild] on the back teeth, gums are [pink|@mouth].
    Spleen a little [enlarged|mild @abdomen], so I suspect [adrenal disease|possible @general], I'll book a scan for next week.
    He's [bright|@general], the heart is [regular|@cardiovascular], there's a [lump|right] on the right flank.
"""


def lines(block: str) -> list[str]:
    """Give the dictations of a block, one a line."""
    return [line.strip() for line in block.splitlines() if line.strip()]


@pytest.mark.parametrize("dictation", lines(WITH_AND_WITHOUT_MARKS))
@pytest.mark.parametrize("punctuation", [True, False], ids=["marks", "bare"])
def test_statements_are_told_apart_without_marks(dictation: str, *, punctuation: bool) -> None:
    """The same findings come out with and without marks and capitals."""
    assert disagreements(dictation, punctuation=punctuation) == []


def test_dictations_keep_their_findings_without_marks() -> None:
    """The annotated dictations, stripped of marks and capitals, still give most of what they say."""
    score = score_all(read_gold(GOLD), lambda gold: extract(Transcript.from_text(unpunctuated(gold.text))))
    assert score.findings.f1 >= LEAST_F1
