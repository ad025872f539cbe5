"""Whether a clause tells a general truth: what a disease is, what kinds of animals do, with no word that announces it.

English says such things with a generic subject, a bare noun or plural ("glaucoma is …", "fleas leave …") or an indefinite one ("a
bad tooth root presses …"), and in the simple present. Of a patient a vet says the same words with a part, a side, a place or an
amount, or with no verb at all ("fleas seen", "a bit of wax", "murmur grade two").
"""

from __future__ import annotations

from lexicon import Lexicon
from pipeline.extraction.mentions import mentions_within
from pipeline.extraction.segments import Segment, holds_value
from pipeline.extraction.tokens import Analysis

_SUBJECT = 9  # words within which the verb of an indefinite subject stands


class GeneralTruths:
    """Tells general truths from statements on the patient."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.words["general_truths"]
        self._before = frozenset(lexicon.words["clauses"]["before_instruction"])
        self._amounts = frozenset(words["amounts"])
        self._verbs = frozenset(words["verbs"])
        self._being = frozenset(words["being"])
        self._defining = frozenset(words["defining"])
        self._lesion_parts = frozenset(words["lesion_parts"])
        self._seen = frozenset(words["seen"])

    def hold(self, analysis: Analysis, segment: Segment) -> bool:
        """Whether a clause that nothing ties to the patient is a general truth."""
        norms = analysis.norms
        at = segment.start
        while at < segment.end - 1 and norms[at] in self._before:
            at += 1
        if norms[at] in self._lesion_parts:
            return False
        words = norms[at : segment.end]
        if len(words) < 3 or any(word in self._seen for word in words) or holds_value(analysis, segment):
            return False
        if words[0] in ("a", "an"):
            return words[1] not in self._amounts and self._asserts(
                norms, at + 2, min(at + _SUBJECT, segment.end)
            )
        subject = self._bare_noun(analysis, at)
        if subject is None or subject >= segment.end:
            return False
        plural = norms[subject - 1].endswith("s") and not norms[subject - 1].endswith(("is", "us", "ss"))
        return norms[subject] in self._verbs or (
            norms[subject] in self._being and (plural or self._defines(norms, subject + 1))
        )

    def _bare_noun(self, analysis: Analysis, at: int) -> int | None:
        """Where the finding ends that stands at a token with no article, as the subject."""
        first = mentions_within(analysis.mentions, at, at + 1)
        if not first or any(entry.kind != "noun" for entry in first[0].entries):
            return None
        return first[0].end

    def _asserts(self, norms: list[str], start: int, end: int) -> bool:
        """Whether a general verb follows an indefinite subject, or a definition of it."""
        for at in range(start, end):
            if norms[at] in self._verbs:
                return True
            if norms[at] in self._being:
                return self._defines(norms, at + 1)
        return False

    def _defines(self, norms: list[str], at: int) -> bool:
        """ "… is a red lump", "… is just a whoosh", "… is when"; "… is a bit red" defines nothing."""
        following = norms[at : at + 2]
        if not following or following[0] not in self._defining:
            return False
        return len(following) < 2 or following[0] not in ("a", "an") or following[1] not in self._amounts
