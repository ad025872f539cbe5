"""What passes between the modules that read measured values."""

from __future__ import annotations

from dataclasses import dataclass

from lexicon.schema import MeasurementName, UnitWord
from pipeline.extraction.numbers import Number

DECIMAL_UNITS = frozenset({"Cel", "kg", "s"})
"""Stored units whose values are said with a decimal that may lose its point ("thirty eight six")."""


@dataclass(slots=True)
class Reading:
    """A measured value in tokens start to end (exclusive), converted to the stored unit.

    `name` are the tokens that named it, `said_in` is the unit that was said, `compared_at` the token where an amount of change
    begins ("thirty kilos, two less than last time"): the words after it date the other value. `answers_from` is the token where
    the answer to an earlier clause begins ("recheck temp in four hours, [it's 39.6 now]").
    """

    kind: str
    start: int
    end: int
    value: float | str | None
    value_high: float | None = None
    unit: str | None = None
    comparator: str | None = None
    out_of: float | None = None
    method: str | None = None
    unit_inferred: bool = False
    past: bool = False
    superseded: bool = False
    confidence: float = 1.0
    name: tuple[int, int] | None = None
    said_in: UnitWord | None = None
    past_said: bool = False
    compared_at: int | None = None
    answers_from: int | None = None


@dataclass(frozen=True, slots=True)
class Name:
    """A spoken name of a measurement in tokens start to end; a weak one has other uses and counts only beside a number."""

    start: int
    end: int
    row: MeasurementName
    weak: bool


@dataclass(frozen=True, slots=True)
class Unit:
    """A spoken unit in tokens start to end (empty where the unit went without saying)."""

    start: int
    end: int
    row: UnitWord


@dataclass(frozen=True, slots=True)
class Value:
    """A number with what surrounds it: bound, upper end, scale, unit, the amount in a smaller unit, the seconds counted."""

    start: int
    end: int
    number: Number
    high: Number | None = None
    comparator: str | None = None
    out_of: float | None = None
    unit: Unit | None = None
    minor: tuple[Number, Unit] | None = None
    window_s: float | None = None

    def amount(self, stored_unit: str | None) -> float:
        """The number as it is read where the stored unit is said with decimals, or without."""
        return self.number.read(decimal=stored_unit in DECIMAL_UNITS)
