"""Reads annotated dictations; tests/gold/README.md describes the format."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Literal, TypeVar

from pydantic import Field, ValidationError

from lexicon.schema import System
from pipeline.extraction.model import Assertion, MeasurementKind, Nature, Reporter, Side, When
from pipeline.speech.model import Frozen


class GoldError(ValueError):
    """A gold file cannot be used; the message names the file and what is wrong."""


class GradeFact(Frozen):
    """An annotated grade."""

    value: float
    out_of: float | None = None


class Words(Frozen):
    """Words of the text, the n-th place where they stand."""

    words: str = Field(min_length=1)
    occurrence: int = Field(default=1, ge=1)


WordsT = TypeVar("WordsT", bound=Words)


class FindingFact(Words):
    """An annotated finding; the defaults stand in the README."""

    system: System
    assertion: Assertion = "present"
    nature: Nature = "abnormal"
    side: Side | None = None
    severity: str | None = None
    grade: GradeFact | None = None
    size_mm: float | None = None
    reported_by: Reporter = "vet"
    when: When = "now"
    superseded: bool = False


class MeasurementFact(Words):
    """An annotated measurement in stored units."""

    kind: MeasurementKind
    value: float | str | None = None
    value_high: float | None = None
    unit: str | None = None
    comparator: str | None = None
    out_of: float | None = None
    when: When = "now"
    superseded: bool = False


class PlanFact(Words):
    """An annotated plan item."""

    kind: str | None = None
    due: str | None = None


class AsideFact(Words):
    """Words that must not become a finding, and the kind of talk they stand in."""

    why: Literal["teaching", "intention", "question", "plan", "chatter", "other_animal", "withdrawn"]


class Gold(Frozen):
    """One dictation with its facts."""

    name: str
    style: str
    species: str
    visit: str
    text: str
    missing_systems: tuple[System, ...] = ()
    not_examined: tuple[System, ...] = ()
    findings: tuple[FindingFact, ...] = ()
    measurements: tuple[MeasurementFact, ...] = ()
    plan: tuple[PlanFact, ...] = ()
    set_aside: tuple[AsideFact, ...] = ()

    @property
    def facts(self) -> int:
        """Number of annotated facts."""
        return len(self.findings) + len(self.measurements) + len(self.plan) + len(self.set_aside)

    def span(self, fact: Words) -> tuple[int, int]:
        """Characters of the fact's words in the text; any white space counts as a blank."""
        places = _places(self.text, fact.words, fact.occurrence)
        if len(places) < fact.occurrence:
            raise GoldError(f"{self.name}: {fact.words!r} stands {len(places)} times, not {fact.occurrence}.")
        return places[fact.occurrence - 1]


def _places(text: str, words: str, wanted: int) -> list[tuple[int, int]]:
    """Where the words stand; inside longer words only if they do not stand alone `wanted` times."""
    pattern = r"\s+".join(re.escape(part) for part in words.split())
    places = [m.span() for m in re.finditer(pattern, text)]
    whole = [
        (start, end)
        for start, end in places
        if not (start and text[start - 1].isalnum()) and not (end < len(text) and text[end].isalnum())
    ]
    return whole if len(whole) >= wanted else places


_MARK = re.compile(r"[.,;:!?](?=\s|$)|[\"\u201c\u201d()\u2013\u2014\u2026]|\s-\s")


def without_marks(gold: Gold) -> Gold:
    """Give the same dictation as a recogniser may write it: no marks, no capitals, no line breaks, one blank between words."""
    places: list[int] = []  # of each character of the old text, where it stands in the new one
    new = ""
    for character in _MARK.sub(lambda mark: " " * len(mark[0]), gold.text):
        places.append(len(new))
        lowered = character.lower()
        if not character.isspace():
            new += lowered if len(lowered) == 1 else character
        elif new and not new.endswith(" "):
            new += " "

    def moved(fact: WordsT) -> WordsT:
        start, end = gold.span(fact)
        at = places[start], places[end - 1] + 1
        words = new[at[0] : at[1]].strip()
        number = _places(new, words, 1).index((at[0], at[0] + len(words))) + 1
        return fact.model_copy(update={"words": words, "occurrence": number})

    return gold.model_copy(
        update={
            "text": new,
            "findings": tuple(moved(fact) for fact in gold.findings),
            "measurements": tuple(moved(fact) for fact in gold.measurements),
            "plan": tuple(moved(fact) for fact in gold.plan),
            "set_aside": tuple(moved(fact) for fact in gold.set_aside),
        }
    )


def _load(file: Path) -> Gold:
    try:
        data: dict[str, Any] = tomllib.loads(file.read_text(encoding="utf-8"))
        gold = Gold.model_validate({"name": file.stem, **data})
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise GoldError(f"{file} cannot be read: {error}") from error
    except ValidationError as error:
        first = error.errors()[0]
        raise GoldError(f"{file}: {'.'.join(map(str, first['loc']))}: {first['msg']}") from error
    for fact in (*gold.findings, *gold.measurements, *gold.plan, *gold.set_aside):
        gold.span(fact)
    return gold


def read_gold(folder: Path) -> list[Gold]:
    """All gold files of a folder in name order; raises GoldError for a bad file or a folder without any."""
    files = sorted(folder.glob("*.toml"))
    if not files:
        raise GoldError(f"{folder} holds no gold file (*.toml). Name a folder such as tests/gold/dev.")
    return [_load(file) for file in files]
