"""Phrases that end live listening: reads `closing.toml` and finds them at the end of what was said."""

from __future__ import annotations

import functools
import re
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from pydantic import Field

from lexicon.forms import normal_form
from lexicon.schema import Row, Term
from lexicon.tables import rows_of


class ClosingPhrases(Row):
    """Phrases that say that the examination is over."""

    terms: tuple[Term, ...] = Field(min_length=1)
    openers: tuple[Term, ...] = Field(description="Words that may stand before them in their sentence.")
    why: str = Field(min_length=5)
    example: str = Field(min_length=5)


@functools.lru_cache(maxsize=4)
def load_closing(root: Path | None = None) -> tuple[ClosingPhrases, ...]:
    """Read the table under `root` (default: the one that comes with the program).

    Raises LexiconError naming file and row.
    """
    base: Traversable = root if root is not None else resources.files("lexicon")
    return tuple(row for _, row in rows_of(base / "closing.toml", "closing", ClosingPhrases))


def closes(said: str) -> bool:
    """Whether an utterance ends with such a phrase as a sentence of its own, opened by a small word at most."""
    sentences = [words for one in re.split(r"[.?!;]+", said) if (words := _words(one))]
    if not sentences:
        return False
    last = sentences[-1]
    return any(
        last in row.terms or (last.partition(" ")[0] in row.openers and last.partition(" ")[2] in row.terms)
        for row in load_closing()
    )


def _words(sentence: str) -> str:
    plain = normal_form(re.sub(r"[,:]", " ", sentence))
    return " ".join(re.sub(r"\bthat's\b", "that is", plain).split())
