"""A text read as far as its numbers: tokens as the rules see them, and which of them are numbers."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.extraction.engine import load_pipeline
from pipeline.extraction.tokens import MARKS, analysis_of


@dataclass(frozen=True, slots=True)
class SpokenToken:
    """A word in lower case, contractions written out; `value` of a number, in whatever way it was said or written."""

    text: str
    value: float | None = None


def spoken_tokens(text: str) -> list[SpokenToken]:
    """The words of a text without punctuation and hesitations: "um, thirty-eight six, isn't it" → 38.6, is, not, it."""
    nlp = load_pipeline()
    analysis = analysis_of(nlp.get_pipe("rostral_numbers")(nlp.make_doc(text)))
    found = []
    at = 0
    numbers = {number.start: number for number in analysis.numbers}
    while at < len(analysis.norms):
        number = numbers.get(at)
        if number is not None:
            value = number.read(decimal=True)
            found.append(SpokenToken(f"{value:g}", value))
            at = number.end
            continue
        if analysis.norms[at] not in MARKS:
            found.append(SpokenToken(analysis.norms[at]))
        at += 1
    return found
