"""Spoken units into stored ones, in decimal arithmetic."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from lexicon.schema import UnitWord

_PLACES = {"Cel": 1, "kg": 2}


def half_up(value: float, places: int) -> float:
    """Round half up in decimal arithmetic (2.675 → 2.68), as clinical tables do."""
    return float(Decimal(repr(value)).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP))


def convert(value: float, unit: UnitWord) -> float:
    """A value in a spoken unit in the stored unit; the factor and offset stand in lexicon/units.toml with their source."""
    exact = (Decimal(repr(value)) + Decimal(repr(unit.offset))) * Decimal(repr(unit.factor))
    places = _PLACES.get(unit.to)
    return half_up(float(exact), places) if places is not None and unit.code != unit.to else float(exact)


def add(value: float, unit: UnitWord, smaller: float, smaller_unit: UnitWord) -> float:
    """An amount in two units ("nine pounds four ounces") in the stored unit, to two decimals."""
    exact = Decimal(repr(value)) * Decimal(repr(unit.factor))
    exact += Decimal(repr(smaller)) * Decimal(repr(smaller_unit.factor))
    return half_up(float(exact), 2)
