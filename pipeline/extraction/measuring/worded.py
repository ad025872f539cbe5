"""Values that are words: muscle condition, and panting in place of a count of breaths."""

from __future__ import annotations

from pipeline.extraction.concepts import Cue
from pipeline.extraction.measuring.model import Name, Reading
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.tokens import SENTENCE_MARKS

_CUES = {"muscle_condition_score": "muscle_condition", "respiratory_rate": "panting"}
_REACH = 4  # tokens between the name and the words
_REACH_OF_SECOND = 14  # tokens from a degree to the one that replaces it


def read_words(sheet: Sheet) -> None:
    """Give names that no number claimed the words that stand for a value."""
    for name in sheet.names:
        kind = _CUES.get(name.row.kind)
        if kind is None or name.start in sheet.used:
            continue
        cue = _said_of(sheet, name, kind)
        if cue is None:
            continue
        reading = Reading(name.row.kind, min(name.start, cue.start), max(name.end, cue.end), None)
        reading.name = (name.start, name.end)
        if kind == "muscle_condition":
            reading.value = cue.group.value
        else:
            reading.unit, reading.method = name.row.unit, "panting, not counted"
        sheet.out.append(reading)
        sheet.used.add(name.start)
        if kind == "muscle_condition":
            _replaced_by_word(sheet, reading)


def _replaced_by_word(sheet: Sheet, reading: Reading) -> None:
    """ "Muscle, mild loss, let me feel again, moderate loss": a second degree in the sentence, after words of correction."""
    for cue in sheet.cues("muscle_condition").within(reading.end, reading.end + _REACH_OF_SECOND):
        gap = range(reading.end, cue.start)
        corrected = sheet.replacing.within(gap.start, gap.stop) + sheet.doubting.within(gap.start, gap.stop)
        ended = any(sheet.norms[at] in SENTENCE_MARKS for at in gap)
        if cue.end - cue.start > 1 and corrected and not ended:
            second = Reading(reading.kind, cue.start, cue.end, cue.group.value)
            reading.superseded = True
            sheet.out.append(second)
            return


def _said_of(sheet: Sheet, name: Name, kind: str) -> Cue | None:
    for cue in sheet.cues(kind).within(name.end, name.end + _REACH + 8):
        gap = range(name.end, cue.start)
        if len(gap) <= _REACH and sheet.linked(gap) and not _loose(name, cue):
            return cue
        if kind == "panting" and all(sheet.is_word(at, "not_counted") for at in gap):
            return cue
    if kind == "panting":
        for cue in sheet.cues(kind).within(name.start - _REACH - 4, name.start):
            if all(sheet.is_word(at, "not_counted") for at in range(cue.end, name.start)):
                return cue
    return None


def _loose(name: Name, cue: Cue) -> bool:
    """ "Muscle moderate loss" is a score, "muscles fine" hardly one: a bare weak name needs words of loss."""
    return name.weak and name.end - name.start == 1 and cue.end - cue.start == 1
