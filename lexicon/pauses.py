"""The learnt weights of pauses: what speaks for a comma or the end of a sentence between two words."""

from __future__ import annotations

import functools
import json
from collections.abc import Iterable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from lexicon.tables import LexiconError

TABLE = "pauses.json"


@dataclass(frozen=True, slots=True)
class Pauses:
    """Weights by the name of a feature, for a comma and for the end of a sentence, against neither.

    `threshold` is the probability (0 to 1, exclusive) of some mark from which one is placed.
    """

    threshold: float
    weights: dict[str, tuple[float, float]]

    def scores(self, features: Iterable[str]) -> tuple[float, float]:
        """Log odds of a comma and of the end of a sentence, each against no mark."""
        comma = stop = 0.0
        for name in features:
            weight = self.weights.get(name)
            if weight is not None:
                comma += weight[0]
                stop += weight[1]
        return min(comma, 30.0), min(stop, 30.0)

    def as_json(self) -> str:
        """The content of the table, one weight a line, in order of names."""
        rows = ",\n".join(
            f"{json.dumps(name)}: [{comma:g}, {stop:g}]"
            for name, (comma, stop) in sorted(self.weights.items())
        )
        return f'{{"threshold": {self.threshold:g}, "weights": {{\n{rows}\n}}}}\n'


@functools.cache
def load_pauses() -> Pauses:
    """The weights that come with the program.

    Raises LexiconError for a table that is missing or garbled.
    """
    table = resources.files("lexicon").joinpath(TABLE)
    try:
        data = json.loads(table.read_text(encoding="utf-8"))
        weights = {name: (float(comma), float(stop)) for name, (comma, stop) in data["weights"].items()}
        return Pauses(float(data["threshold"]), weights)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise LexiconError(f"{table} cannot be used: {error}. Reinstall the program.") from error


def table_path() -> Path:
    """Where the table lies in a checkout, for the program that learns it."""
    return Path(__file__).with_name(TABLE)
