"""The segment: a clause-like stretch of the text with the act that it does."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from pipeline.extraction.concepts import Cue
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.tokens import Analysis


@dataclass(slots=True)
class Segment:
    """Tokens start to end (exclusive) of one clause-like stretch.

    `opener` says how it begins: sentence, contrast, comma, and, cue. `question_mark` ends its sentence.
    """

    start: int
    end: int
    sentence: int
    opener: str
    act: SpeechAct = SpeechAct.OBSERVATION
    act_cue: Cue | None = None
    anchored: bool = False
    question_mark: bool = False


def holds_value(analysis: Analysis, segment: Segment) -> bool:
    """Whether a measured value begins in the segment."""
    at = bisect_left(analysis.readings, segment.start, key=lambda reading: reading.start)
    return at < len(analysis.readings) and analysis.readings[at].start < segment.end
