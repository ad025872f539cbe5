"""Who tells what: "the breeder has also noticed", "Mrs Ahern says", as cues of report beside those of the tables."""

from __future__ import annotations

from lexicon import Lexicon
from pipeline.extraction.concepts import Cue
from pipeline.extraction.tokens import Analysis

_BETWEEN = 3  # words that may stand between who tells and the verb


class Tellers:
    """Finds people with a verb of saying or perceiving."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.words["tellers"]
        self._people = frozenset(words["people"])
        self._verbs = frozenset(words["verbs"])
        self._between = frozenset(words["between"])
        self._titles = frozenset(lexicon.words["clauses"]["titles"]) - {"dr", "st"}  # a doctor is a colleague
        self._group = lexicon.cues.get("report_owner")

    def add(self, analysis: Analysis) -> None:
        """Add the cues of a text to its Analysis, in text order; linear in its length."""
        if self._group is None:
            return
        known = {cue.start for cue in analysis.cues if cue.kind == "act" and cue.group.value == "report"}
        found = [
            Cue(start, end, self._group, self._group.kind)
            for start, end in self._spans(analysis.norms)
            if start not in known
        ]
        if found:
            analysis.cues = sorted([*analysis.cues, *found], key=lambda cue: (cue.start, -cue.end))

    def _spans(self, norms: list[str]) -> list[tuple[int, int]]:
        spans = []
        for at, norm in enumerate(norms):
            if norm in self._people:
                after = at + 1
            elif norm in self._titles and at + 1 < len(norms):
                after = at + 2 + (norms[at + 1] == ".")
            else:
                continue
            end = after
            while end < min(len(norms), after + _BETWEEN) and norms[end] in self._between:
                end += 1
            if end < len(norms) and (norms[end] in self._verbs or norms[end] == ":"):
                spans.append((at, end + 1))
        return spans
