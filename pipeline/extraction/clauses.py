"""Cuts the text into segments and says what each one does: observation, report, teaching, plan and so on.

A sentence is cut at commas, at contrasting conjunctions and where a cue opens a new clause, with or without punctuation
(cutting.py). Each segment takes the act of the first cue in it; without one it goes on with what the sentence did before,
unless it is tied to the patient here and now (acts.py).
"""

from __future__ import annotations

from spacy.tokens import Doc

from lexicon import Lexicon
from pipeline.extraction.acts import ActReader
from pipeline.extraction.cutting import Cutter
from pipeline.extraction.planning import PlanActs
from pipeline.extraction.segments import Segment
from pipeline.extraction.telling import Tellers
from pipeline.extraction.tokens import analysis_of


class ClauseReader:
    """spaCy component that fills `segments` of the Analysis (needs mentions, cues and readings)."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._cutter = Cutter(lexicon)
        self._acts = ActReader(lexicon)
        self._tellers = Tellers(lexicon)
        self._plan = PlanActs(lexicon)

    def __call__(self, doc: Doc) -> Doc:
        """Read the text that the Doc carries."""
        analysis = analysis_of(doc)
        self._tellers.add(analysis)
        analysis.segments = self._cutter.cut(analysis)
        self._acts.classify(analysis, analysis.segments)
        self._plan.settle(analysis, analysis.segments)
        return doc


__all__ = ["ClauseReader", "Segment"]
