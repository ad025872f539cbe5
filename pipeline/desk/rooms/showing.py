"""What an exam room shows of the record so far: values for the page's script, in words and states, nothing decided here."""

from __future__ import annotations

from typing import Any

from lexicon import SYSTEMS, Lexicon
from pipeline.desk.texts import say
from pipeline.extraction.model import Finding
from pipeline.record import ExamRecord
from pipeline.record.phrases import finding_text, rank
from pipeline.record.wording import capital, value_text

_MISSING = ("missing_system", "missing_measurement")


def record_shown(record: ExamRecord, lexicon: Lexicon) -> dict[str, Any]:
    """The systems with their states and findings, the values, and what this visit asks for and nobody said yet."""
    states = {review.system: review.state for review in record.systems}
    asked = {notice.about for notice in record.notices if notice.kind in _MISSING}
    return {
        "systems": [
            {
                "system": system,
                "name": say(f"system.{system}"),
                "state": states[system],
                "missing": system in asked,
                "findings": _findings(record, system, lexicon),
            }
            for system in SYSTEMS
        ],
        "values": [
            {
                "kind": value.kind,
                "label": capital(lexicon.measurements[value.kind].label),
                "text": value_text(value),
                "status": value.status,
            }
            for value in record.measurements
            if value.when == "now" and not value.superseded
        ],
        "missing": [
            say(f"system.{notice.about}")
            if notice.kind == "missing_system"
            else capital(lexicon.measurements[notice.about].label)
            for notice in record.notices
            if notice.kind in _MISSING
        ],
    }


def _findings(record: ExamRecord, system: str, lexicon: Lexicon) -> list[dict[str, Any]]:
    standing = [one for one in record.findings if one.system == system and _stands(one)]
    standing.sort(key=rank)
    return [
        {"text": capital(finding_text(one, lexicon)), "abnormal": one.counts_as_abnormal} for one in standing
    ]


def _stands(finding: Finding) -> bool:
    return not finding.superseded and finding.when == "now"
