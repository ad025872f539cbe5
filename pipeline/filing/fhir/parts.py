"""The small parts of FHIR resources: texts, concepts, quantities, references, narratives. Plain values, as JSON holds them."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable
from typing import Any
from uuid import UUID, uuid5

from pipeline.filing.fhir.codes import LOINC, UCUM, load_codes
from pipeline.filing.outgoing import Outgoing

Part = dict[str, Any]

URI = "urn:ietf:rfc:3986"
# FHIR's string, and XML 1.0 in narratives, have no control characters but tab and the ends of lines.
_CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufffe\uffff]")


def clean(text: str | None) -> str | None:
    """A text as a string of FHIR, null when nothing is left of it."""
    return _CONTROLS.sub(" ", text).strip() or None if text is not None else None


def without_gaps(part: Part) -> Part:
    """The part without its empty values: FHIR has no null."""
    return {name: value for name, value in part.items() if value not in (None, "", [], {}, ())}


def concept(text: str | None, codings: Iterable[Part] = ()) -> Part:
    """A CodeableConcept: our words, with codes where there are published ones."""
    return without_gaps({"coding": list(codings), "text": clean(text)})


def coding(system: str, code: str) -> Part:
    """A code of a published system; the table of codes must hold it."""
    return {"system": system, "code": code}


def loinc(*codes: str | None) -> list[Part]:
    """LOINC codes, without those that are not known."""
    return [coding(LOINC, code) for code in codes if code is not None]


def quantity(value: float, unit: str | None, words: str | None = None, comparator: str | None = None) -> Part:
    """A Quantity. A unit whose UCUM code the table does not hold goes in words alone."""
    known = unit in load_codes().units
    return without_gaps(
        {
            "comparator": comparator,
            "unit": clean(words or unit),
            "system": UCUM if known else None,
            "code": unit if known else None,
        }
    ) | {"value": value}


def narrative(*blocks: str | Iterable[str]) -> Part:
    """A Narrative: texts become paragraphs, lists of texts become lists."""
    shown = []
    for block in blocks:
        if isinstance(block, str):
            shown.append(f"<p>{_escaped(block)}</p>")
        elif items := [f"<li>{_escaped(item)}</li>" for item in block]:
            shown.append(f"<ul>{''.join(items)}</ul>")
    return {
        "status": "generated",
        "div": f'<div xmlns="http://www.w3.org/1999/xhtml">{"".join(shown)}</div>',
    }


def urn_of(document: Outgoing, part: str) -> str:
    """The address of a part of a document: always the same for the same version of the same record."""
    return f"urn:uuid:{uuid5(UUID(hex=document.record_id), f'{document.version}/{part}')}"


def urn_of_id(identifier: str) -> str:
    """The address of what has an identifier in the practice's books."""
    return f"urn:uuid:{UUID(hex=identifier)}"


def id_of_urn(urn: str) -> str:
    """The identifier in the practice's books that such an address stands for. Raises ValueError."""
    return UUID(urn).hex


def _escaped(text: str) -> str:
    return html.escape(_CONTROLS.sub(" ", text), quote=False)
