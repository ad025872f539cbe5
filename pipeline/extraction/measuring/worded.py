"""Values that are words: muscle condition, and panting in place of a count of breaths."""

from __future__ import annotations

from pipeline.extraction.concepts import Cue
from pipeline.extraction.measuring.model import Name, Reading
from pipeline.extraction.measuring.sheet import Sheet

_CUES = {"muscle_condition_score": "muscle_condition", "respiratory_rate": "panting"}
_REACH = 4  # tokens between the name and the words


def read_words(sheet: Sheet) -> None:
    """Give names that no number claimed the words that stand for a value."""
    for name in sheet.names:
        kind = _CUES.get(name.row.kind)
        if kind is None or name.start in sheet.used:
            continue
        cue = _said_of(sheet, name, kind)
        if cue is None:
            continue
        reading = Reading(name.row.kind, name.start, cue.end, None, name=(name.start, name.end))
        reading.start, reading.end = min(name.start, cue.start), max(name.end, cue.end)
        if kind == "muscle_condition":
            reading.value = cue.group.value
        else:
            reading.unit, reading.method = name.row.unit, "panting, not counted"
        sheet.out.append(reading)
        sheet.used.add(name.start)


def _said_of(sheet: Sheet, name: Name, kind: str) -> Cue | None:
    for cue in sheet.cues(kind).within(name.end, name.end + _REACH + 6):
        if cue.start <= name.end + _REACH and sheet.linked(range(name.end, cue.start)):
            return cue
    return None
