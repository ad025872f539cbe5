"""Trade words that the recogniser is told to listen for: reads `bias.toml`, checks it, and chooses from it.

A term that the lexicon itself does not know is refused: to listen for a word that nobody then understands
would only take the place of another.
"""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterator
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from pydantic import Field

from lexicon.loader import Lexicon, LexiconError, load_lexicon, normal_form
from lexicon.schema import SYSTEMS, Row, System, Term
from lexicon.tables import rows_of


class BiasTerm(Row):
    """A word to listen for; the order of the table is the order of importance."""

    term: Term
    system: System
    species: tuple[str, ...] = Field(default=(), description="Only for these species; empty for all.")
    why: str = Field(min_length=5, description="What small recognisers make of it, or why it matters.")


@functools.lru_cache(maxsize=4)
def load_bias(root: Path | None = None) -> tuple[BiasTerm, ...]:
    """Read the table under `root` (default: the one that comes with the program), most important term first.

    Raises LexiconError naming file and row.
    """
    base: Traversable = root if root is not None else resources.files("lexicon")
    known = _known_forms(load_lexicon())
    found: dict[str, BiasTerm] = {}
    for place, row in rows_of(base / "bias.toml", "term", BiasTerm):
        form = normal_form(row.term)
        if form in found:
            raise LexiconError(f"{place}: {row.term!r} stands here twice.")
        if form not in known:
            raise LexiconError(
                f"{place}: no other table of the lexicon knows {row.term!r}. Add it there first."
            )
        found[form] = row
    return tuple(found.values())


def _known_forms(lexicon: Lexicon) -> set[str]:
    return {
        *(entry.term for entry in lexicon.entries),
        *(
            normal_form(name)
            for row in lexicon.measurements.values()
            for name in (*row.names, *row.weak_names)
        ),
        *(normal_form(term) for group in lexicon.cues.values() for term in group.terms),
    }


def listening_terms(species: str | None, systems: Collection[str] = ()) -> tuple[str, ...]:
    """Choose the words to listen for, most important first.

    Words of other species are left out; where the species is unknown, or no word names it, all are kept.
    Words of `systems` come first, for a recogniser that has no room for all.
    """
    return tuple(row.term for row in sorted(_fitting(species), key=lambda row: row.system not in systems))


def terms_in_view(species: str | None, system: System) -> tuple[str, ...]:
    """Choose the words to listen for while a system is examined, most important first.

    Its own words come first, then those of the systems that follow it from nose to tail, which are likely to be
    named next; a system two places on begins where the nearer one is half told. Species as in `listening_terms`.
    """
    told: dict[System, int] = {}
    ranked = []
    for row in _fitting(species):
        place = told.get(row.system, 0)
        told[row.system] = place + 1
        distance = (SYSTEMS.index(row.system) - SYSTEMS.index(system)) % len(SYSTEMS)
        ranked.append((place + 2 * distance, row.term))
    return tuple(term for _, term in sorted(ranked, key=lambda one: one[0]))


def _fitting(species: str | None) -> Iterator[BiasTerm]:
    rows = load_bias()
    if species not in {name for row in rows for name in row.species}:
        return iter(rows)
    return (row for row in rows if not row.species or species in row.species)
