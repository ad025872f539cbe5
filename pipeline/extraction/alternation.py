"""Whose verdict an adjective is where parts and adjectives take turns without a mark.

"Ears clean nose clear gums pink": not "clean nose" and "clear gums"; "clean ears normal heart": not "ears normal".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lexicon import Lexicon
from pipeline.extraction.mentions import Mention
from pipeline.extraction.terms import TermTree

_LONGEST = 24  # parts and adjectives in a row that are looked at; nobody says more in one breath


class Alternation:
    """Divides terms made of an adjective and a part where the adjective is the verdict on the part before it."""

    def __init__(self, tree: TermTree, lexicon: Lexicon) -> None:
        self._tree = tree
        reading = lexicon.words["reading"]
        self._linking = frozenset(reading["linking"]) - {"has", "have"}
        self._sides = frozenset(reading["sides"]) | frozenset(reading["side_nouns"])
        self._between = frozenset(lexicon.words["groups"]["degree_words"]) | {"not"}

    def settle(self, mentions: Sequence[Mention], norms: list[str]) -> list[Mention]:
        """The mentions with such terms divided.

        What stands inside a term counts otherwise only for terms that need focus.
        """
        kept: list[Mention] = []
        for at, mention in enumerate(mentions):
            divided = self._divided(mention, norms)
            if divided and self._judges_what_precedes(mentions, at, kept, norms):
                kept += divided
            elif all(entry.in_focus for entry in mention.entries):
                kept.append(mention)
            else:
                kept.append(replace(mention, inner=()) if mention.inner else mention)
        return kept

    def _judges_what_precedes(
        self, mentions: Sequence[Mention], at: int, kept: list[Mention], norms: list[str]
    ) -> bool:
        """Whether the adjective at the head of a term is said of what stands before it."""
        start = mentions[at].start
        if start > 0 and norms[start - 1] in self._linking:
            return True
        lead = start
        while lead > 0 and norms[lead - 1] in self._between:
            lead -= 1
        part_before = bool(kept) and kept[-1].end == lead and kept[-1].is_structure
        if part_before and (_lacks_verdict(kept) or lead < start):
            return True
        side_before = start > 0 and norms[start - 1] in self._sides
        return (part_before or side_before) and self._ends_with_verdict(mentions[at : at + _LONGEST], norms)

    def _ends_with_verdict(self, mentions: Sequence[Mention], norms: list[str]) -> bool:
        """Whether the parts and adjectives that take turns from here on end with an adjective."""
        verdict, end = False, mentions[0].start
        for mention in mentions:
            part = mention.is_structure or bool(self._divided(mention, norms))
            if mention.start != end or not (part or mention.is_predicate):
                break
            verdict, end = not part, mention.end
        return verdict

    def _divided(self, mention: Mention, norms: list[str]) -> tuple[Mention, ...]:
        """An adjective and a part that stand one after the other in a term; nothing if it is made otherwise."""
        for middle in range(mention.start + 1, mention.end):
            adjective = Mention(mention.start, middle, tuple(self._tree.exact(norms[mention.start : middle])))
            part = Mention(middle, mention.end, tuple(self._tree.exact(norms[middle : mention.end])))
            if adjective.entries and part.entries and adjective.is_predicate and part.is_structure:
                return adjective, part
        return ()


def _lacks_verdict(mentions: list[Mention]) -> bool:
    """Whether the last of these, a part, has no adjective of its own right before it."""
    part = mentions[-1]
    before = mentions[-2] if len(mentions) > 1 else None
    if before is None or before.end != part.start or not before.is_predicate:
        return True
    return len(mentions) > 2 and mentions[-3].is_structure and mentions[-3].end == before.start
