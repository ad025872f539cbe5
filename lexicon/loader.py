"""Reads the lexicon's tables, checks every row, and refuses what contradicts itself.

An error names file and row, so that whoever edits a table finds the place.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from lexicon.forms import Inflection, normal_form, plural, spellings
from lexicon.lasting import lasting
from lexicon.own import OwnTerms, read_own_terms, terms_file
from lexicon.schema import (
    SYSTEMS,
    Breeds,
    CueGroup,
    FindingConcept,
    MeasurementName,
    ReferenceRange,
    Requirement,
    SoundAlike,
    Structure,
    UnitWord,
)
from lexicon.tables import LexiconError, R, read_table, rows_of


@dataclass(frozen=True)
class Entry:
    """One surface form and what it stands for.

    `kind` is structure, noun or predicate; `in_focus` forms count only while their system is in focus. `rule` names
    the rule that made the form out of the written `base` (spelling, plural, verb form, comparative); empty as written.
    `origin` is the place of the row in the practice's own file; empty for the program's tables.
    """

    term: str
    kind: str
    id: str
    in_focus: bool
    rule: str = ""
    base: str = ""
    origin: str = ""


@dataclass(frozen=True, eq=False)
class Lexicon:
    """All tables, checked, with the surface forms spelled out; `own` are the practice's rows that are part of them.

    Equal only to itself, so that what is built on one lexicon can be kept under it.
    """

    structures: dict[str, Structure]
    findings: dict[str, FindingConcept]
    cues: dict[str, CueGroup]
    measurements: dict[str, MeasurementName]
    units: tuple[UnitWord, ...]
    ranges: tuple[ReferenceRange, ...]
    requirements: tuple[Requirement, ...]
    soundalikes: tuple[SoundAlike, ...]
    breeds: tuple[Breeds, ...]
    words: dict[str, Any]
    plan: dict[str, Any]
    numbers: dict[str, dict[str, float]]
    spelling: tuple[tuple[str, str], ...]
    entries: tuple[Entry, ...]
    composed: dict[tuple[str, str], str] = field(default_factory=dict)
    own: OwnTerms | None = None

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

    def add(
        self,
        terms: Iterable[str],
        kind: str,
        row: Structure | FindingConcept,
        place: str,
        *,
        own: bool = False,
    ) -> None:
        """Take up the terms of one column of a row; those of focus columns have a kind that begins with "focus ".

        A practice's own row may repeat what the program has since learnt itself.
        """
        in_focus = kind.startswith("focus ")
        scope = row.system if in_focus else "*"
        kind = kind.removeprefix("focus ")
        for raw in terms:
            term = normal_form(raw)
            before = self._written.get((term, scope))
            if before is not None and own and before.id == row.id:
                continue
            if before is not None:
                advice = (
                    "leave it out, or say it with more words"
                    if own
                    else "a form may stand once for all systems, or once per system in focus_terms/focus_predicates"
                )
                raise LexiconError(f"{place}: synonym {raw!r} already belongs to {before.id!r}: {advice}.")
            entry = Entry(term, kind, row.id, in_focus, origin=place if own else "")
            self._written[term, scope] = entry
            self._derive(entry, scope)

    def add_row(self, row: Structure | FindingConcept, place: str, *, own: bool = False) -> None:
        """Take up all terms of a row."""
        if isinstance(row, Structure):
            self.add(row.terms, "structure", row, place, own=own)
            self.add(row.focus_terms, "focus structure", row, place, own=own)
            return
        self.add(row.terms, "noun", row, place, own=own)
        self.add(row.predicates, "predicate", row, place, own=own)
        self.add(row.focus_terms, "focus noun", row, place, own=own)
        self.add(row.focus_predicates, "focus predicate", row, place, own=own)

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


def _take_own(
    own: OwnTerms,
    structures: dict[str, Structure],
    findings: dict[str, FindingConcept],
    places: dict[str, str],
    finding_places: dict[str, str],
) -> None:
    """Put the practice's own parts and findings beside the program's."""
    rows: tuple[tuple[str, Structure | FindingConcept], ...] = (*own.structures, *own.findings)
    for place, row in rows:
        if row.id in structures or row.id in findings:
            raise LexiconError(
                f"{place}: id {row.id!r} is taken. Choose another one, or add words to what is there with [[wording]]."
            )
        if isinstance(row, Structure):
            structures[row.id], places[row.id] = row, place
        else:
            findings[row.id], finding_places[row.id] = row, place


def _add_wordings(
    own: OwnTerms, structures: dict[str, Structure], findings: dict[str, FindingConcept], forms: _Forms
) -> None:
    """More ways to say what is known."""
    for place, wording in own.wordings:
        row = structures.get(wording.of) or findings.get(wording.of)
        if row is None:
            raise LexiconError(
                f"{place}: of: no finding and no part has the id {wording.of!r}. To see ids: rostral lexicon find WORD."
            )
        if isinstance(row, Structure) and (wording.predicates or wording.focus_predicates):
            raise LexiconError(
                f"{place}: {wording.of!r} is a part of the body: it has terms and focus_terms only."
            )
        columns = {name: getattr(wording, name) for name in type(wording).model_fields if name != "of"}
        spoken = {name: terms for name, terms in columns.items() if name in type(row).model_fields}
        empty = {name: () for name in _SPOKEN if name in type(row).model_fields}
        forms.add_row(row.model_copy(update={**empty, **spoken}), place, own=True)


_SPOKEN = ("terms", "predicates", "focus_terms", "focus_predicates")


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
            if general not in findings or findings[general].system not in ("any", finding.system):
                raise LexiconError(
                    f"{places[finding.id]}: composed_of {pair!r}: {general!r} is no finding of findings/any.toml"
                    " and none of the same system."
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


def load_lexicon(root: Path | None = None) -> Lexicon:
    """Read and check all tables under `root`; without it, those that come with the program and the practice's own.

    The same tables are read once; a changed file of the practice is read anew. Raises LexiconError naming file, row
    and column.
    """
    file = terms_file() if root is None else None
    if file is None:
        return _load(root, None, (0, 0))
    state = file.stat()
    return _load(root, file, (state.st_mtime_ns, state.st_size))


@functools.lru_cache(maxsize=4)
@lasting()
def _load(root: Path | None, own_file: Path | None, _state: tuple[int, int]) -> Lexicon:
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
    breeds = _plain_rows(base / "breeds.toml", "breed", Breeds)
    words = read_table(base / "words.toml")
    plan = read_table(base / "plan.toml")
    numbers = read_table(base / "numbers.toml")
    spelling = read_table(base / "spelling.toml")
    own = read_own_terms(own_file) if own_file is not None else None
    if own is not None:
        _take_own(own, structures, findings, places, finding_places)
    _check_references(structures, findings, places, finding_places)
    pairs = tuple((left, right) for left, right in spelling["pairs"])
    forms = _Forms(pairs, Inflection(read_table(base / "inflection.toml")))
    own_ids = own.ids if own is not None else frozenset[str]()
    for part in structures.values():
        forms.add_row(part, places[part.id], own=part.id in own_ids)
    for finding in findings.values():
        forms.add_row(finding, finding_places[finding.id], own=finding.id in own_ids)
    if own is not None:
        _add_wordings(own, structures, findings, forms)
    return Lexicon(
        structures=structures,
        findings=findings,
        cues=cues,
        measurements=measurements,
        units=units,
        ranges=ranges,
        requirements=requirements,
        soundalikes=soundalikes,
        breeds=breeds,
        words=words,
        plan=plan,
        numbers=numbers,
        spelling=pairs,
        entries=forms.entries(),
        composed=_compositions(structures, findings, finding_places),
        own=own,
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
