"""What the owner told, in the turns in which a case is presented; common practice, no source."""

from __future__ import annotations

import pytest
from marked import disagreements

TOLD = [
    "She says he's been [off his food|owner] since Sunday.",
    "[Eating okay|owner], [drinking okay|owner], no [coughing|absent owner] or [sneezing|absent owner].",
    "Hx of [pancreatitis|past owner].",
    "Came in for a [limp|owner] that's come and gone for a month.",
]


@pytest.mark.parametrize("marked", TOLD)
def test_what_the_owner_told(marked: str) -> None:
    """In one breath with what only the owner can know, or in the words that present a case."""
    assert not disagreements(marked)
