"""Reads the lexicon's tables, checks every row, and refuses what contradicts itself.

An error names file and row, so that whoever edits a table finds the place.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from lexicon.forms import Inflection, normal_form, plural, spellings
from lexicon.schema import (
    SYSTEMS,
    CueGroup,
    FindingConcept,
    MeasurementName,
    ReferenceRange,
    Requirement,
    Row,
    SoundAlike,
    Structure,
    UnitWord,
)

R = TypeVar("R", bound=Row)


class LexiconError(ValueError):
    """A table cannot be used: the message names the file, the row and the column, and what would be right."""


@dataclass(frozen=True)
class Entry:
    """One surface form and what it stands for.

    `kind` is structure, noun or predicate; `in_focus` forms count only while their system is in focus. `rule` names
    the rule that made the form out of the written `base` (spelling, plural, verb form, comparative); empty as written.
    """

    term: str
    kind: str
    id: str
    in_focus: bool
    rule: str = ""
    base: str = ""


@dataclass(frozen=True)
class Lexicon:
    """All tables, checked, with the surface forms spelled out."""

    structures: dict[str, Structure]
    findings: dict[str, FindingConcept]
    cues: dict[str, CueGroup]
    measurements: dict[str, MeasurementName]
    units: tuple[UnitWord, ...]
    ranges: tuple[ReferenceRange, ...]
    requirements: tuple[Requirement, ...]
    soundalikes: tuple[SoundAlike, ...]
    words: dict[str, Any]
    plan: dict[str, Any]
    numbers: dict[str, dict[str, float]]
    entries: tuple[Entry, ...]
    composed: dict[tuple[str, str], str] = field(default_factory=dict)

    def compose(self, structure: str | None, finding: str) -> str:
        """Concept for a general finding on a structure: "enlargement" on a lymph node is lymphadenopathy."""
        while structure is not None:
            if concept := self.composed.get((structure, finding)):
                return concept
            structure = self.structures[structure].part_of
        return finding

    def naming(self, finding: str, structure: str | None) -> tuple[str, str]:
        """(clinical name, owner's words) of a finding; a general one is named with its part: "elbow: swelling"."""
        concept = self.findings[finding]
        part = self.structures[structure] if structure is not None else None
        if concept.system != "any" or part is None:
            return concept.label, concept.plain
        return f"{part.label}: {concept.label}", f"{part.plain}: {concept.plain}"

    def cue_terms(self, kind: str) -> dict[str, CueGroup]:
        """Every surface form of one kind of cue with its group."""
        return {term: group for group in self.cues.values() if group.kind == kind for term in group.terms}


def _read(table: Traversable) -> dict[str, Any]:
    """The content of one TOML file; a missing, garbled or wrongly encoded one is named."""
    try:
        return tomllib.loads(table.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise LexiconError(f"{table} is missing. Put the table back or reinstall the program.") from error
    except tomllib.TOMLDecodeError as error:
        raise LexiconError(f"{table} is not valid TOML: {error}. Mend the file at that line.") from error
    except UnicodeDecodeError as error:
        raise LexiconError(f"{table} is not UTF-8 text: {error}. Save it as UTF-8.") from error


def rows_of(table: Traversable, key: str, shape: type[R]) -> Iterator[tuple[str, R]]:
    """Yield (place, row) of one table; the place is what an error shows.

    Raises LexiconError for a bad table or row.
    """
    name = str(table)
    data = _read(table)
    unknown = set(data) - {key}
    if unknown:
        raise LexiconError(f"{name}: unknown table {sorted(unknown)[0]!r}; only [[{key}]] stands here.")
    for number, raw in enumerate(data.get(key, []), start=1):
        place = f"{name}, {key} {number} ({raw.get('id') or raw.get('kind') or 'no id'})"
        try:
            yield place, shape.model_validate(raw)
        except ValidationError as error:
            first = error.errors()[0]
            column = ".".join(str(part) for part in first["loc"]) or "row"
            raise LexiconError(f"{place}: {column}: {first['msg']} (got {first.get('input')!r}).") from error


def _by_id(
    tables: Iterable[Traversable], key: str, shape: type[R], places: dict[str, str], column: str = "id"
) -> dict[str, R]:
    """Collect rows of several tables by identifier, refusing the same one twice; `places` learns where each stands."""
    found: dict[str, R] = {}
    for table in tables:
        for place, row in rows_of(table, key, shape):
            identifier = getattr(row, column)
            if identifier in found:
                raise LexiconError(
                    f"{place}: {column} {identifier!r} is already used at {places[identifier]}."
                )
            found[identifier], places[identifier] = row, place
    return found


def _plain_rows(table: Traversable, key: str, shape: type[R]) -> tuple[R, ...]:
    return tuple(row for _, row in rows_of(table, key, shape))


class _Forms:
    """Collects the surface forms of all rows; a form written in a table wins over one made by rule."""

    def __init__(self, pairs: tuple[tuple[str, str], ...], inflection: Inflection) -> None:
        self._pairs = pairs
        self._inflection = inflection
        self._written: dict[tuple[str, str], Entry] = {}
        self._spelled: dict[tuple[str, str], Entry] = {}
        self._inflected: dict[tuple[str, str], Entry] = {}

    def add(self, terms: Iterable[str], kind: str, row: Structure | FindingConcept, place: str) -> None:
        """Take up the terms of one column of a row; those of focus columns have a kind that begins with "focus "."""
        in_focus = kind.startswith("focus ")
        scope = row.system if in_focus else "*"
        kind = kind.removeprefix("focus ")
        for raw in terms:
            term = normal_form(raw)
            if (before := self._written.get((term, scope))) is not None:
                raise LexiconError(
                    f"{place}: synonym {raw!r} already belongs to {before.id!r}: a form may stand once for all"
                    " systems, or once per system in focus_terms/focus_predicates."
                )
            entry = Entry(term, kind, row.id, in_focus)
            self._written[term, scope] = entry
            self._derive(entry, scope)

    def _derive(self, entry: Entry, scope: str) -> None:
        for form in spellings(entry.term, self._pairs):
            spelled = (
                entry if form == entry.term else replace(entry, term=form, rule="spelling", base=entry.term)
            )
            self._spelled.setdefault((form, scope), spelled)
            if entry.kind != "predicate":
                many = plural(form)
                self._spelled.setdefault(
                    (many, scope), replace(entry, term=many, rule="plural", base=entry.term)
                )
            if entry.kind == "structure":
                continue
            for verb in self._inflection.verb_forms(form):
                self._inflected.setdefault(
                    (verb, scope),
                    replace(entry, term=verb, kind="predicate", rule="verb form", base=entry.term),
                )
            if entry.kind == "predicate":
                for more in self._inflection.comparatives(form):
                    self._inflected.setdefault(
                        (more, scope), replace(entry, term=more, rule="comparative", base=entry.term)
                    )

    def entries(self) -> tuple[Entry, ...]:
        """All forms; the free ones that inflection made stand back where any written word is the same."""
        written = {term for term, _ in self._written}
        inflected = {
            (term, scope): entry
            for (term, scope), entry in self._inflected.items()
            if scope != "*" or term not in written
        }
        return tuple({**inflected, **self._spelled, **self._written}.values())


def _surface_forms(
    structures: dict[str, Structure],
    findings: dict[str, FindingConcept],
    forms: _Forms,
    places: dict[str, str],
    finding_places: dict[str, str],
) -> tuple[Entry, ...]:
    for structure in structures.values():
        place = places[structure.id]
        forms.add(structure.terms, "structure", structure, place)
        forms.add(structure.focus_terms, "focus structure", structure, place)
    for finding in findings.values():
        place = finding_places[finding.id]
        forms.add(finding.terms, "noun", finding, place)
        forms.add(finding.predicates, "predicate", finding, place)
        forms.add(finding.focus_terms, "focus noun", finding, place)
        forms.add(finding.focus_predicates, "focus predicate", finding, place)
    return forms.entries()


def _compositions(
    structures: dict[str, Structure], findings: dict[str, FindingConcept], places: dict[str, str]
) -> dict[tuple[str, str], str]:
    """(structure, general finding) → concept, each pair once, both known."""
    composed: dict[tuple[str, str], str] = {}
    for finding in findings.values():
        for pair in finding.composed_of:
            structure, _, general = (part.strip() for part in pair.partition("+"))
            if structure not in structures:
                raise LexiconError(f"{places[finding.id]}: composed_of {pair!r}: no structure {structure!r}.")
            if general not in findings or findings[general].system != "any":
                raise LexiconError(
                    f"{places[finding.id]}: composed_of {pair!r}: {general!r} is no finding of findings/any.toml."
                )
            if (structure, general) in composed:
                raise LexiconError(
                    f"{places[finding.id]}: composed_of {pair!r} already belongs to {composed[structure, general]!r}."
                )
            composed[structure, general] = finding.id
    return composed


def _check_references(
    structures: dict[str, Structure],
    findings: dict[str, FindingConcept],
    places: dict[str, str],
    finding_places: dict[str, str],
) -> None:
    for structure in structures.values():
        if structure.part_of is not None and structure.part_of not in structures:
            raise LexiconError(f"{places[structure.id]}: part_of {structure.part_of!r} is no structure.")
    for finding in findings.values():
        if finding.structure is not None and finding.structure not in structures:
            raise LexiconError(
                f"{finding_places[finding.id]}: structure {finding.structure!r} is no structure."
            )


def _folder(folder: Traversable) -> list[Traversable]:
    return sorted(
        (item for item in folder.iterdir() if item.name.endswith(".toml")), key=lambda item: item.name
    )


@functools.lru_cache(maxsize=4)
def load_lexicon(root: Path | None = None) -> Lexicon:
    """Read and check all tables under `root` (default: the tables that come with the program).

    Raises LexiconError naming file, row and column.
    """
    base: Traversable = root if root is not None else resources.files("lexicon")
    places: dict[str, str] = {}
    structures = _by_id(_folder(base / "structures"), "structure", Structure, places)
    finding_places: dict[str, str] = {}
    findings = _by_id(_folder(base / "findings"), "finding", FindingConcept, finding_places)
    cues = _by_id(_folder(base / "cues"), "cue", CueGroup, {})
    measurements = _by_id([base / "measurements.toml"], "measurement", MeasurementName, {}, column="kind")
    units = _plain_rows(base / "units.toml", "unit", UnitWord)
    ranges = _plain_rows(base / "reference_ranges.toml", "range", ReferenceRange)
    requirements = _plain_rows(base / "requirements.toml", "requirement", Requirement)
    soundalikes = _plain_rows(base / "soundalikes.toml", "soundalike", SoundAlike)
    words = _read(base / "words.toml")
    plan = _read(base / "plan.toml")
    numbers = _read(base / "numbers.toml")
    spelling = _read(base / "spelling.toml")
    _check_references(structures, findings, places, finding_places)
    pairs = tuple((left, right) for left, right in spelling["pairs"])
    forms = _Forms(pairs, Inflection(_read(base / "inflection.toml")))
    return Lexicon(
        structures=structures,
        findings=findings,
        cues=cues,
        measurements=measurements,
        units=units,
        ranges=ranges,
        requirements=requirements,
        soundalikes=soundalikes,
        words=words,
        plan=plan,
        numbers=numbers,
        entries=_surface_forms(structures, findings, forms, places, finding_places),
        composed=_compositions(structures, findings, finding_places),
    )


__all__ = [
    "SYSTEMS",
    "Entry",
    "Lexicon",
    "LexiconError",
    "load_lexicon",
    "normal_form",
    "plural",
    "spellings",
]
