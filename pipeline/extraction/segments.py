"""The segment: a clause-like stretch of the text with the act that it does."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from enum import Enum

from pipeline.extraction.concepts import Cue
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.tokens import Analysis


class Ground(Enum):
    """Why a segment has its act."""

    DEFAULT = "nothing in it says otherwise"
    CUE = "its own words"
    GOES_ON = "it goes on with what the clause before it does"
    LED_TO = "what follows it says what it does"
    ASKED_FOR_ANY = "what begins with 'any' is asked or supposed"
    GENERAL_TRUTH = "a kind of thing is the subject, in the simple present"
    QUESTION_MARK = "a question mark ends it"
    STEP = "it says a step of a plan"
    NO_STEP = "it sounds like a step of a plan and is none"


@dataclass(slots=True)
class Segment:
    """Tokens start to end (exclusive) of one clause-like stretch.

    `opener` says how it begins: sentence, contrast, comma, and, cue. `question_mark` ends its sentence. `ground` tells
    why it has its act, `act_cue` the words that decided, where words did.
    """

    start: int
    end: int
    sentence: int
    opener: str
    act: SpeechAct = SpeechAct.OBSERVATION
    act_cue: Cue | None = None
    ground: Ground = Ground.DEFAULT
    anchored: bool = False
    question_mark: bool = False

    def does(self, act: SpeechAct, ground: Ground, cue: Cue | None = None) -> None:
        """Set what the segment does and why."""
        self.act, self.ground, self.act_cue = act, ground, cue


def holds_value(analysis: Analysis, segment: Segment) -> bool:
    """Whether a measured value begins in the segment."""
    at = bisect_left(analysis.readings, segment.start, key=lambda reading: reading.start)
    return at < len(analysis.readings) and analysis.readings[at].start < segment.end
