"""Cuts the text into segments and says what each one does: observation, report, teaching, plan and so on.

A sentence is cut at commas, at contrasting conjunctions and where a cue opens a new clause, with or without punctuation
(cutting.py). Each segment takes the act of the first cue in it; without one it goes on with what the sentence did before,
unless it is tied to the patient here and now (acts.py).
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from spacy.tokens import Doc

from lexicon import Lexicon
from pipeline.extraction.acts import ActReader
from pipeline.extraction.concepts import mentions_within
from pipeline.extraction.cutting import Cutter
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Ground, Segment, holds_value
from pipeline.extraction.telling import Tellers
from pipeline.extraction.tokens import Analysis, analysis_of


@dataclass(frozen=True, slots=True)
class _PlanWords:
    kinds: frozenset[str]
    due_units: frozenset[str]
    due_days: frozenset[str]
    no_plan: frozenset[str]


class ClauseReader:
    """spaCy component that fills `segments` of the Analysis (needs mentions, cues and readings)."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.words
        self._plan_words = _PlanWords(
            frozenset(word for kind in words["plan_kinds"].values() for word in kind),
            frozenset(words["due"]["units"]),
            frozenset(words["due"]["days"]),
            frozenset(words["clauses"]["no_plan"]),
        )
        self._cutter = Cutter(lexicon)
        self._acts = ActReader(lexicon)
        self._tellers = Tellers(lexicon)

    def __call__(self, doc: Doc) -> Doc:
        """Read the text that the Doc carries."""
        analysis = analysis_of(doc)
        self._tellers.add(analysis)
        analysis.segments = self._cutter.cut(analysis)
        self._acts.classify(analysis, analysis.segments)
        for segment in analysis.segments:
            if segment.act is SpeechAct.OBSERVATION and self._plans(analysis, segment):
                segment.does(SpeechAct.PLAN, Ground.DATED_STEP)
        return doc

    def _plans(self, analysis: Analysis, segment: Segment) -> bool:
        """ "Strict crate rest four weeks", "rads tomorrow": something to do with a time, and nothing seen or measured."""
        words = analysis.norms[segment.start : segment.end]
        known = self._plan_words
        timed = any(word in known.due_days for word in words) or any(
            word in known.due_units and _number_ends_before(analysis, segment.start + at)
            for at, word in enumerate(words)
        )
        if not timed or not any(word in known.kinds for word in words) or holds_value(analysis, segment):
            return False
        if segment.anchored or any(word in known.no_plan for word in words):
            return False
        said = mentions_within(analysis.mentions, segment.start, segment.end)
        return not (any(m.is_structure for m in said) and any(m.is_predicate for m in said))


def _number_ends_before(analysis: Analysis, token: int) -> bool:
    at = bisect_left(analysis.numbers, token, key=lambda number: number.end)
    return at < len(analysis.numbers) and analysis.numbers[at].end == token


__all__ = ["ClauseReader", "Segment"]
