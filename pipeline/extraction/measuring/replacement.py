"""Values corrected by voice: "one twenty, no, one thirty two"."""

from __future__ import annotations

from pipeline.extraction.measuring.model import Reading, Value
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.measuring.writing import in_unit_of
from pipeline.extraction.tokens import MARKS

_REACH = 14  # tokens between a value and the one that replaces it


def replaces(sheet: Sheet, previous: Reading, value: Value) -> bool:
    """Whether a word of correction stands between the last reading and a number, and nothing that parts them."""
    if value.start - previous.end > _REACH:
        return False
    cues = sheet.replacing.within(previous.end, value.start)
    if not cues:
        return False
    before = [w for w in sheet.norms[previous.end : cues[0].start] if w not in MARKS]
    bridge = [
        word
        for token, word in enumerate(sheet.norms[cues[0].end : value.start], start=cues[0].end)
        if token not in sheet.links and token not in sheet.replacing_tokens and word not in MARKS
    ]
    # A reason may stand between ("no, I tell a lie, the towel's on there, two point six") if the number stands alone.
    strong = any(cue.end - cue.start > 1 for cue in cues) and sheet.between_marks(value)
    if before or (bridge and not strong):
        return False
    high = previous.value if isinstance(previous.value, float) else 0.0
    number = value.number.read(decimal=True)
    like = high == 0 or high / 12 < number < high * 12 or in_unit_of(previous, value)
    return previous.out_of is not None or like
