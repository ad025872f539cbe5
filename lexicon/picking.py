"""Finds findings and parts by what a person begins to type, for lists to pick from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from rapidfuzz import fuzz

from lexicon.loader import Lexicon, normal_form
from lexicon.schema import System

_WHOLE, _BEGINS, _WORD_BEGINS = 100.0, 90.0, 80.0
_LIKE_ENOUGH = 80.0
"""Least likeness (0 to 100, rapidfuzz ratio) of what may be a slip of the keys."""
_IN_VIEW = 9.0
"""A finding of the system in view comes before one that fits its words a little better."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Something to pick: its identifier and labels, the system it is of (`any` for all), the words by which it was found."""

    id: str
    label: str
    plain: str
    system: str
    term: str


def findings_like(
    words: str, lexicon: Lexicon, system: System | None = None, limit: int = 12
) -> tuple[Choice, ...]:
    """Findings with words like these, the likeliest first; those of `system` come before others."""
    return _like(words, lexicon, "finding", system, limit)


def structures_like(
    words: str, lexicon: Lexicon, system: System | None = None, limit: int = 12
) -> tuple[Choice, ...]:
    """Parts of the body with names like these, the likeliest first; those of `system` come before others."""
    return _like(words, lexicon, "structure", system, limit)


def _like(
    words: str, lexicon: Lexicon, kind: Literal["finding", "structure"], system: System | None, limit: int
) -> tuple[Choice, ...]:
    asked = normal_form(words)
    if not asked:
        return ()
    choices = _choices(lexicon)[kind]
    scored = [(score, choice) for choice in choices if (score := _score(asked, choice.term))]
    if not scored:
        scored = [(score, choice) for choice in choices if (score := _slip(asked, choice.term))]
    best: dict[str, tuple[float, Choice]] = {}
    for score, choice in scored:
        near = {system: _IN_VIEW, "any": _IN_VIEW / 2}.get(choice.system, 0.0) if system else 0.0
        if choice.id not in best or score + near > best[choice.id][0]:
            best[choice.id] = (score + near, choice)
    ranked = sorted(best.values(), key=lambda one: (-one[0], len(one[1].label), one[1].label))
    return tuple(choice for _, choice in ranked[:limit])


def _score(asked: str, term: str) -> float:
    if asked == term:
        return _WHOLE
    if term.startswith(asked):
        return _BEGINS
    spaced = f" {term}"
    return _WORD_BEGINS if all(f" {word}" in spaced for word in asked.split()) else 0.0


def _slip(asked: str, term: str) -> float:
    like = fuzz.ratio(asked, term, score_cutoff=_LIKE_ENOUGH)
    return float(like)


@lru_cache(maxsize=2)
def _choices(lexicon: Lexicon) -> dict[str, tuple[Choice, ...]]:
    found: dict[str, list[Choice]] = {"finding": [], "structure": []}
    for kind, choice in _all(lexicon):
        found[kind].append(choice)
    return {kind: tuple(dict.fromkeys(choices)) for kind, choices in found.items()}


def _all(lexicon: Lexicon) -> Iterator[tuple[str, Choice]]:
    for finding in lexicon.findings.values():
        yield (
            "finding",
            Choice(finding.id, finding.label, finding.plain, finding.system, normal_form(finding.label)),
        )
    for structure in lexicon.structures.values():
        label = normal_form(structure.label)
        yield "structure", Choice(structure.id, structure.label, structure.plain, structure.system, label)
    for entry in lexicon.entries:
        if entry.rule:
            continue  # plurals and spellings made by rule begin like what they were made of
        if entry.kind == "structure":
            part = lexicon.structures[entry.id]
            yield "structure", Choice(part.id, part.label, part.plain, part.system, entry.term)
        else:
            concept = lexicon.findings[entry.id]
            yield "finding", Choice(concept.id, concept.label, concept.plain, concept.system, entry.term)
