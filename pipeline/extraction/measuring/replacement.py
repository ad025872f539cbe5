"""Values corrected by voice: "one twenty, no, one thirty two"."""

from __future__ import annotations

from pipeline.extraction.measuring.model import Reading, Value
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.measuring.writing import in_unit_of
from pipeline.extraction.tokens import MARKS, SENTENCE_MARKS

_REACH = 18  # tokens between a value and the one that replaces it
_FEWEST_WORDS = 2  # of talk between two weights
_NEAR_WEIGHT = 0.35  # share by which the second may differ


def replaces(sheet: Sheet, previous: Reading, value: Value) -> bool:
    """Whether a word of correction stands between the last reading and a number, and nothing that parts them."""
    gap = range(previous.end, value.start)
    if len(gap) > _REACH or _is_of_before(sheet, value):
        return False
    if previous.kind == "weight" and _weighed_again(sheet, previous, value):
        return True
    cues = sheet.replacing.within(gap.start, gap.stop) + sheet.doubting.within(gap.start, gap.stop)
    after = sheet.cues("replace_value_after").starting_at(value.end)
    if after is not None and not any(sheet.norms[at] in SENTENCE_MARKS for at in gap):
        return _like(previous, value)
    if not cues or any(at in sheet.name_starts for at in gap):
        return False
    first = min(cues, key=lambda cue: cue.start)
    before = [word for word in sheet.norms[gap.start : first.start] if word not in MARKS]
    bridge = [
        word
        for token, word in enumerate(sheet.norms[first.end : value.start], start=first.end)
        if token not in sheet.links and token not in sheet.replacing_tokens and word not in MARKS
    ]
    # A reason may stand between ("no, my foot was on it, five point nine") if the number stands alone.
    if (before or bridge) and not (sheet.stands_alone(value) and _gives_reason(sheet, first.end, value)):
        return False
    if before and any(at in sheet.blocking for at in range(gap.start, first.start)):
        return False
    return _like(previous, value)


def _is_of_before(sheet: Sheet, value: Value) -> bool:
    """A date of the past right after the number, with no further number that it could be of."""
    return any(
        not any(at in sheet.numbers for at in range(cue.end, cue.end + 3))
        for cue in sheet.cues("past").within(value.end, value.end + 3)
    )


def _weighed_again(sheet: Sheet, previous: Reading, value: Value) -> bool:
    """ "One point four, he's sitting on my stethoscope, one point three two": an animal has one weight, so the second stands."""
    gap = range(previous.end, value.start)
    ended = any(sheet.norms[at] in SENTENCE_MARKS for at in gap)
    talk = sum(sheet.norms[at].isalpha() for at in gap) >= _FEWEST_WORDS
    dated = sheet.cues("past").within(gap.start, gap.stop) or sheet.cues("old_value").within(
        gap.start, gap.stop
    )
    if ended or dated or not talk or not sheet.between_marks(value) or not isinstance(previous.value, float):
        return False
    number = value.number.read(decimal=True)
    counted = any(at in sheet.number_tokens for at in gap)
    return not counted and abs(number / previous.value - 1) < _NEAR_WEIGHT


def _gives_reason(sheet: Sheet, start: int, value: Value) -> bool:
    """Only talk stands between: no other number, and no finding that the number could belong to."""
    gap = range(start, value.start)
    counted = any(at in sheet.number_tokens for at in gap)
    found = any((m := sheet.mention_at(at)) is not None and not m.is_structure for at in gap)
    return not counted and not found


def _like(previous: Reading, value: Value) -> bool:
    high = previous.value if isinstance(previous.value, float) else 0.0
    number = value.number.read(decimal=True)
    like = high == 0 or high / 12 < number < high * 12 or in_unit_of(previous, value)
    return previous.out_of is not None or like
