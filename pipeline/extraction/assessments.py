"""Spoken assessments: what the vet takes it to be, kept in the words that were said."""

from __future__ import annotations

from itertools import groupby

from lexicon import Lexicon
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Segment, holds_value
from pipeline.extraction.steps import Phrases
from pipeline.extraction.tokens import Analysis

_ASSESSING = frozenset((SpeechAct.OBSERVATION, SpeechAct.REPORT))


class AssessmentReader:
    """Finds the clauses in which the vet weighs what was found ("my main concern is", "differentials are")."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.plan["assessment"]
        self._phrases = Phrases((phrase, True) for phrase in words["phrases"])
        self._lists = Phrases((phrase, True) for phrase in words["lists"])
        self._trimmed = frozenset(lexicon.plan["grammar"]["trimmed_before"])

    def ranges(self, analysis: Analysis) -> list[tuple[int, int]]:
        """Token ranges of the assessments in order; one that announces a list goes on to the end of its sentence."""
        found: list[tuple[int, int]] = []
        for _, group in groupby(analysis.segments, key=lambda segment: segment.sentence):
            sentence = [segment for segment in group if segment.act in _ASSESSING]
            for segment in sentence:
                if found and segment.start < found[-1][1]:
                    continue
                if next(self._lists.within(analysis.norms, segment.start, segment.end), None) is not None:
                    found.append(self._cut(analysis, segment, sentence[-1].end))
                elif self._weighs(analysis, segment):
                    found.append(self._cut(analysis, segment, segment.end))
        return found

    def _weighs(self, analysis: Analysis, segment: Segment) -> bool:
        if segment.act is SpeechAct.REPORT or holds_value(analysis, segment):
            return False
        return next(self._phrases.within(analysis.norms, segment.start, segment.end), None) is not None

    def _cut(self, analysis: Analysis, segment: Segment, end: int) -> tuple[int, int]:
        start = segment.start
        while start + 1 < segment.end and analysis.norms[start] in self._trimmed:
            start += 1
        return start, end
