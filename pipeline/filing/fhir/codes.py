"""The table of published codes, and the check that a document holds no others."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import BaseModel

from pipeline.extraction.model import Measurement
from pipeline.filing.errors import FilingError
from pipeline.speech.model import Frozen

Release = Literal["R4B", "R5"]

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
_TABLE = Path(__file__).parent / "codes.toml"


class MeasurementCode(Frozen):
    """LOINC codes of a kind of measurement; with `said`, those of values whose method has one of these words."""

    kind: str
    loinc: tuple[str, ...]
    source: str
    said: tuple[str, ...] = ()
    vital: bool = False
    site: str | None = None


class SectionCode(Frozen):
    """The LOINC code of a section, or of the document itself."""

    name: str
    loinc: str
    source: str


class CodeSystem(Frozen):
    """A code system and the codes of it that we send."""

    system: str
    codes: tuple[str, ...]
    source: str


class Binding(Frozen):
    """The published list of an element whose binding is required, by release."""

    element: str
    R4B: tuple[str, ...] = ()
    R5: tuple[str, ...] = ()
    enumeration: str | None = None
    source: str | None = None


class Codes(Frozen):
    """The whole table."""

    units: tuple[str, ...]
    measurement: tuple[MeasurementCode, ...]
    section: tuple[SectionCode, ...]
    coding: tuple[CodeSystem, ...]
    binding: tuple[Binding, ...]

    def of_measurement(self, measurement: Measurement) -> tuple[MeasurementCode, ...]:
        """Give the rows of a value: the one of its kind, then those of how it was taken."""
        method = (measurement.method or "").lower()
        return tuple(
            row
            for row in self.measurement
            if row.kind == measurement.kind
            and (not row.said or any(re.search(rf"\b{re.escape(word)}\b", method) for word in row.said))
        )

    def of_section(self, name: str) -> str | None:
        """Give the LOINC code of a section, null where there is none."""
        return next((row.loinc for row in self.section if row.name == name), None)

    def allowed(self, element: str, release: Release) -> tuple[str, ...]:
        """Give the published list of an element, empty when the table has no row for it."""
        row = next((row for row in self.binding if row.element == element), None)
        return () if row is None else (row.R4B if release == "R4B" else row.R5)

    def of_system(self, system: str) -> tuple[str, ...]:
        """Give the codes of a system that a document may hold."""
        if system == LOINC:
            rows = [code for row in self.measurement for code in row.loinc]
            return (*rows, *(row.loinc for row in self.section))
        if system == UCUM:
            return self.units
        return next((row.codes for row in self.coding if row.system == system), ())


@cache
def load_codes() -> Codes:
    """Give the table."""
    return Codes.model_validate(tomllib.loads(_TABLE.read_text(encoding="utf-8")))


def check_codes(resource: BaseModel, release: Release) -> None:
    """Hold every coded element of a parsed resource, and of all in it, against the table: the library does not.

    Raises FilingError for a code that its list does not hold, and for a coded element without a list.
    """
    codes = load_codes()
    kind = str(resource.__class__.__name__)
    values = {name: getattr(resource, name) for name in type(resource).model_fields}
    system, code = values.get("system"), values.get("code")
    if kind in ("Coding", "Quantity") and code is not None and code not in codes.of_system(str(system)):
        raise FilingError(f"The code {code} of {system} is none that the table of codes holds.")
    for name, value in values.items():
        for one in value if isinstance(value, list) else [value]:
            if isinstance(one, BaseModel):
                check_codes(one, release)
            elif one is not None and is_coded(type(resource), name) and (kind, name) not in _CHECKED_ABOVE:
                _check_bound(f"{kind}.{name}", str(one), release)


_CHECKED_ABOVE = {("Coding", "code"), ("Quantity", "code")}


def is_coded(resource: type[BaseModel], name: str) -> bool:
    """Tell whether an element is of the type code, as the library's models write it."""
    return "Code()" in str(resource.model_fields[name].annotation)


def _check_bound(element: str, code: str, release: Release) -> None:
    allowed = load_codes().allowed(element, release)
    if code not in allowed:
        raise FilingError(
            f"{element} of FHIR {release} cannot be {code!r}: the published list holds"
            f" {', '.join(allowed) or 'nothing that we know of'}."
        )
