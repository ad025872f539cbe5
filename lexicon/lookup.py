"""Looks a word up in all tables: what it stands for, and which table says so."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from importlib.resources.abc import Traversable

from rapidfuzz import fuzz, process

from lexicon.loader import Lexicon, load_lexicon, normal_form

_LIKE_ENOUGH = 70.0
"""Least likeness (0 to 100, rapidfuzz ratio) of a suggestion."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """One thing that a surface form stands for.

    `kind` is a finding, structure, measurement, unit, number, cue or breed; `id` its identifier; `label` the
    clinical name and `plain` the owner's words, empty where there are none; `note` says when it counts or why
    it is there; `table` is the file that holds the row: of the program, or the
    practice's own.
    """

    term: str
    kind: str
    id: str
    system: str
    label: str
    plain: str
    note: str
    table: str


def look_up(word: str) -> tuple[Meaning, ...]:
    """Give everything that exactly this word or phrase stands for, in any case and spelling."""
    form = normal_form(word)
    return tuple(meaning for meaning in _all_meanings(load_lexicon()) if meaning.term == form)


def phrases_with(word: str, limit: int = 12) -> tuple[str, ...]:
    """Give longer phrases that hold this word, shortest first."""
    form = normal_form(word)
    found = {m.term for m in _all_meanings(load_lexicon()) if m.term != form and f" {form} " in f" {m.term} "}
    return tuple(sorted(found, key=lambda term: (len(term), term))[:limit])


def suggestions(word: str, limit: int = 5) -> tuple[str, ...]:
    """Give known words that are spelled much alike, likest first."""
    terms = sorted({meaning.term for meaning in _all_meanings(load_lexicon())})
    close = process.extract(
        normal_form(word), terms, scorer=fuzz.ratio, limit=limit, score_cutoff=_LIKE_ENOUGH
    )
    return tuple(term for term, _, _ in close)


@lru_cache(maxsize=2)
def _all_meanings(lexicon: Lexicon) -> tuple[Meaning, ...]:
    return (
        *_clinical(lexicon),
        *_measurements(lexicon),
        *_units(lexicon),
        *_numbers(lexicon),
        *_cues(lexicon),
        *_breeds(lexicon),
    )


def _clinical(lexicon: Lexicon) -> Iterator[Meaning]:
    tables = {**_tables_of("structures", "structure"), **_tables_of("findings", "finding")}
    for entry in lexicon.entries:
        row = (
            lexicon.structures.get(entry.id) if entry.kind == "structure" else lexicon.findings.get(entry.id)
        )
        if row is None:
            continue
        system = row.system.replace("_", " ")
        nature = getattr(row, "nature", "")
        notes = [
            nature,
            "adjective or verb" if entry.kind == "predicate" else "",
            f"only while {system} is spoken of" if entry.in_focus else "",
            f"only in: {', '.join(row.species)}" if row.species else "",
            f"only in {row.sex}s" if row.sex else "",
            f"{entry.rule} of {entry.base!r}" if entry.rule else "",
        ]
        yield Meaning(
            term=entry.term,
            kind="structure" if entry.kind == "structure" else "finding",
            id=entry.id,
            system=system,
            label=row.label,
            plain=row.plain,
            note=", ".join(note for note in notes if note),
            table=entry.origin or tables[entry.id],
        )


def _measurements(lexicon: Lexicon) -> Iterator[Meaning]:
    for row in lexicon.measurements.values():
        for names, note in ((row.names, ""), (row.weak_names, "only beside a number")):
            for name in names:
                yield Meaning(
                    term=normal_form(name),
                    kind="measurement",
                    id=row.kind,
                    system=row.system.replace("_", " "),
                    label=row.label,
                    plain="",
                    note=note,
                    table="lexicon/measurements.toml",
                )


def _units(lexicon: Lexicon) -> Iterator[Meaning]:
    for row in lexicon.units:
        for term in row.terms:
            yield Meaning(
                term=normal_form(term),
                kind="unit",
                id=row.code,
                system="",
                label=row.quantity,
                plain="",
                note="" if row.code == row.to else f"stored as {row.to}",
                table="lexicon/units.toml",
            )


def _numbers(lexicon: Lexicon) -> Iterator[Meaning]:
    for group, words in lexicon.numbers.items():
        for word, value in words.items():
            yield Meaning(
                term=normal_form(word),
                kind="number",
                id=group,
                system="",
                label=f"{value:g}",
                plain="",
                note="",
                table="lexicon/numbers.toml",
            )


def _cues(lexicon: Lexicon) -> Iterator[Meaning]:
    tables = _tables_of("cues", "cue")
    for row in lexicon.cues.values():
        for term in row.terms:
            yield Meaning(
                term=normal_form(term),
                kind="cue",
                id=row.id,
                system="",
                label=row.kind.replace("_", " ") + (f": {row.value}" if row.value else ""),
                plain="",
                note=row.why,
                table=tables[row.id],
            )


def _breeds(lexicon: Lexicon) -> Iterator[Meaning]:
    for row in lexicon.breeds:
        species = row.species.replace("_", " ")
        for name in row.names:
            yield Meaning(
                term=normal_form(name),
                kind="breed",
                id=row.species,
                system="",
                label=f"a {species}",
                plain="",
                note="never taken for a misheard word",
                table="lexicon/breeds.toml",
            )


def _tables_of(folder: str, key: str) -> dict[str, str]:
    """Say which file of a folder holds each identifier."""
    return {
        row["id"]: f"lexicon/{folder}/{table.name}"
        for table in _toml_files(resources.files("lexicon") / folder)
        for row in tomllib.loads(table.read_text(encoding="utf-8")).get(key, ())
    }


def _toml_files(folder: Traversable) -> Iterable[Traversable]:
    return (item for item in folder.iterdir() if item.name.endswith(".toml"))
