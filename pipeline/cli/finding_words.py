"""How findings are said: what, how much, where, by whom, when, and how surely."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from rich.text import Text

from lexicon import Lexicon
from lexicon.loader import plural
from pipeline.cli.screen import printable
from pipeline.extraction.model import SURE_ENOUGH, Finding

_RANK_OF_ABSENCE = 3


class FindingWords:
    """Says findings with the labels of the lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon

    def phrases(self, findings: Sequence[Finding]) -> Iterator[Text]:
        """Say abnormal findings first, then normal, absent, reported, past and withdrawn ones."""
        plain_absent = [f for f in findings if _is_plain_absence(f, self._details(f))]
        rest = sorted((f for f in findings if f not in plain_absent), key=_rank)
        for finding in (f for f in rest if _rank(f) <= _RANK_OF_ABSENCE):
            yield self.phrase(finding)
        if plain_absent:
            labels = list(dict.fromkeys(f.label for f in plain_absent))
            yield Text(f"no {_listing(labels)}", style="dim")
        for finding in (f for f in rest if _rank(f) > _RANK_OF_ABSENCE):
            yield self.phrase(finding)

    def phrase(self, finding: Finding) -> Text:
        """Say one finding, with who said it, when, how surely, where and how much."""
        details = self._details(finding)
        text = _with_assertion(finding) + (f" ({', '.join(details)})" if details else "")
        before = [
            word
            for word, holds in (
                ("withdrawn", finding.superseded),
                ("owner", finding.reported_by == "owner"),
                ("earlier", finding.when == "past"),
            )
            if holds
        ]
        phrase = Text()
        if before:
            phrase.append(f"{', '.join(before)}: ", style="dim")
        phrase.append(printable(text), style=_style(finding))
        if finding.confidence <= SURE_ENOUGH and not finding.superseded:
            phrase.append(" UNSURE", style="bold yellow")
        return phrase

    def _details(self, finding: Finding) -> list[str]:
        grade = finding.grade
        out_of = f" of {grade.out_of:g}" if grade is not None and grade.out_of is not None else ""
        size = f"{finding.size_mm:g} mm" if finding.size_mm is not None else finding.size_text
        parts = [
            self._place(finding),
            finding.severity,
            f"grade {grade.value:g}{out_of}" if grade is not None else None,
            size,
            *finding.modifiers,
        ]
        return [part for part in parts if part]

    def _place(self, finding: Finding) -> str:
        """Say where: "left hip", "both lenses", "right"; the structure where the label leaves it open."""
        structure = self._structure(finding)
        if finding.side == "both":
            return f"both {plural(structure)}" if structure else "both sides"
        return " ".join(part for part in (finding.side, structure) if part)

    def _structure(self, finding: Finding) -> str | None:
        """Name the structure unless the label says it, it goes without saying, or all is well there."""
        structure = self._lexicon.structures.get(finding.structure or "")
        concept = self._lexicon.findings.get(finding.concept)
        if structure is None or (concept is not None and concept.structure == structure.id):
            return None
        if finding.nature == "normal" and finding.side is None:
            return None
        words = set(re.findall(r"\w+", finding.label.lower()))
        return None if set(structure.label.lower().split()) <= words else structure.label


def _rank(finding: Finding) -> int:
    if finding.superseded:
        return 6
    if finding.when == "past":
        return 5
    if finding.reported_by == "owner":
        return 4
    if finding.counts_as_abnormal:
        return 0 if finding.assertion == "present" else 1
    return 2 if finding.assertion != "absent" else _RANK_OF_ABSENCE


def _is_plain_absence(finding: Finding, details: list[str]) -> bool:
    """Tell whether a finding can stand in one list with others that are not there."""
    plain = finding.nature != "normal" and not details and finding.confidence > SURE_ENOUGH
    return plain and _rank(finding) == _RANK_OF_ABSENCE and ": " not in finding.label


def _with_assertion(finding: Finding) -> str:
    """Put the assertion before the label: "no lameness", "possible cataract", "elbow: no swelling"."""
    place, colon, label = finding.label.rpartition(": ")
    word = {"present": "", "possible": "possible ", "absent": "no "}[finding.assertion]
    if finding.assertion == "absent" and finding.nature == "normal":
        word = "not found: "
    return f"{place}{colon}{word}{label}"


def _style(finding: Finding) -> str:
    if finding.superseded:
        return "dim strike"
    if finding.counts_as_abnormal:
        return "bold red" if finding.assertion == "present" and finding.reported_by == "vet" else "yellow"
    return "dim" if finding.assertion == "absent" else ""


def _listing(labels: list[str]) -> str:
    return " or ".join([", ".join(labels[:-1]), labels[-1]] if len(labels) > 1 else labels)
