"""The table of codes against the published lists, and against the rules that its codes follow."""

from __future__ import annotations

import re
from functools import cache
from importlib.metadata import files
from pathlib import Path

import pytest
from ucumvert import PintUcumRegistry

from lexicon import load_lexicon
from pipeline.filing.fhir.codes import Release, load_codes

CODES = load_codes()
LOINC_CODES = sorted(
    {code for row in CODES.measurement for code in row.loinc} | {row.loinc for row in CODES.section}
)


def check_digit(number: str) -> int:
    """LOINC Users' Guide, "Calculating Mod 10 check digits": from the right, odd places joined and doubled, even places before."""
    odd, even = number[::-1][::2], number[::-1][1::2]
    total = sum(int(digit) for digit in even + str(2 * int(odd)))
    return -total % 10


def test_the_check_digit_is_the_guides_own() -> None:
    """Its example: 12345 has the check digit 5."""
    assert check_digit("12345") == 5


@pytest.mark.parametrize("code", LOINC_CODES)
def test_every_loinc_code_has_its_check_digit(code: str) -> None:
    number, _, digit = code.partition("-")
    assert check_digit(number) == int(digit)


def test_every_unit_is_ucum() -> None:
    """Parsed by ucumvert, which follows the UCUM grammar; also the units of the lexicon, which records hold."""
    registry = PintUcumRegistry()
    of_lexicon = {row.unit for row in load_lexicon().measurements.values() if row.unit}
    for unit in {*CODES.units, *of_lexicon}:
        registry.from_ucum(unit)
    assert of_lexicon - {"1"} <= set(CODES.units)


@pytest.mark.parametrize("release", ["R4B", "R5"])
@pytest.mark.parametrize(
    "row", [row for row in CODES.binding if row.enumeration], ids=lambda row: row.element
)
def test_bound_lists_are_the_published_ones(row: object, release: Release) -> None:
    """The enumerations of HL7's XML schemas, 4.0.1 (4.3.0 differs in none of these) and 5.0.0, as malac-models-fhir has them."""
    ours = getattr(row, release)
    if ours:
        assert set(ours) == published(release)[getattr(row, "enumeration")]  # noqa: B009 - rows are parameters


@cache
def published(release: Release) -> dict[str, set[str]]:
    """The enumerations by name; their module is read as text, for it takes a minute to import."""
    name = {"R4B": "r4.py", "R5": "r5.py"}[release]
    file = next(file for file in files("malac-models-fhir") or () if file.name == name)
    found = re.finditer(
        r"^class (\w+)Enum\(str, Enum\):\n((?:    .*\n)+)",
        Path(str(file.locate())).read_text(encoding="utf-8"),
        re.M,
    )
    return {one[1]: set(re.findall(r"='([^']*)'", one[2])) for one in found}


def test_every_row_says_where_it_was_read() -> None:
    sources = [row.source for row in CODES.measurement]
    sources += [row.source for row in CODES.section] + [row.source for row in CODES.coding]
    assert [source for source in sources if not re.search(r"\b(read|from memory)$", source)] == []
