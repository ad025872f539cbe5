"""The tables of ranges, requirements, measurements and units fit together."""

from __future__ import annotations

from itertools import combinations
from typing import get_args

import pytest
from examples import LEXICON

from lexicon.schema import ReferenceRange
from pipeline.extraction.model import MeasurementKind
from pipeline.record.model import VisitKind

SPECIES = ("dog", "cat", "rabbit", "ferret", "guinea_pig")


def test_every_measurement_kind_has_a_row() -> None:
    assert set(LEXICON.measurements) == set(get_args(MeasurementKind))


def test_every_visit_has_a_requirement_for_any_species() -> None:
    assert {r.visit for r in LEXICON.requirements if r.species == "*"} == set(get_args(VisitKind))


def test_requirements_and_ranges_speak_of_known_kinds() -> None:
    asked = {kind for requirement in LEXICON.requirements for kind in requirement.measurements}
    assert asked <= set(LEXICON.measurements)
    assert {reference.kind for reference in LEXICON.ranges} <= set(LEXICON.measurements)


@pytest.mark.parametrize("reference", LEXICON.ranges, ids=lambda r: f"{r.kind} {r.species}")
def test_a_range_lies_within_the_reach_of_physiology(reference: ReferenceRange) -> None:
    row = LEXICON.measurements[reference.kind]
    assert reference.unit == (row.unit or "1")
    reach = row.plausible_in.get(reference.species, row.plausible)
    for limit in (reference.low, reference.high):
        assert limit is None or (reach is not None and reach[0] <= limit <= reach[1])
    if reference.low is not None and reference.high is not None:
        assert reference.low <= reference.high


def _bands_meet(one: ReferenceRange, other: ReferenceRange) -> bool:
    oldest = [float("inf") if r.max_age_months is None else r.max_age_months for r in (one, other)]
    heaviest = [float("inf") if r.max_weight_kg is None else r.max_weight_kg for r in (one, other)]
    youngest = max(one.min_age_months, other.min_age_months)
    lightest = max(one.min_weight_kg or 0, other.min_weight_kg or 0)
    return youngest < min(oldest) and lightest < min(heaviest)


def test_at_most_one_range_of_a_rank_fits_a_patient() -> None:
    """Otherwise the order of the file would decide."""
    for one, other in combinations(LEXICON.ranges, 2):
        same = all(getattr(one, n) == getattr(other, n) for n in ("kind", "species", "place", "out_of"))
        ranked_apart = (one.min_weight_kg is None and one.max_weight_kg is None) != (
            other.min_weight_kg is None and other.max_weight_kg is None
        )
        if same and not ranked_apart:
            assert not _bands_meet(one, other), (one, other)


@pytest.mark.parametrize("species", SPECIES)
@pytest.mark.parametrize("kind", ["temperature", "heart_rate", "respiratory_rate", "capillary_refill_time"])
def test_adults_of_the_five_species_have_their_vital_ranges(species: str, kind: str) -> None:
    fitting = [
        r for r in LEXICON.ranges if (r.kind, r.species) == (kind, species) and r.max_age_months is None
    ]
    assert fitting


def test_unit_words_are_told_once_and_settle_known_kinds() -> None:
    terms = [term for unit in LEXICON.units for term in unit.terms]
    assert len(terms) == len(set(terms))
    assert {unit.kind for unit in LEXICON.units if unit.kind} <= set(LEXICON.measurements)


def test_measurement_names_belong_to_one_kind() -> None:
    names = [n for row in LEXICON.measurements.values() for n in (*row.names, *row.weak_names)]
    assert len(names) == len(set(names))
