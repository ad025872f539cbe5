"""The findings in the making, and what else one reading of a text brings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from lexicon import Entry
from pipeline.extraction.attributes import Graded, Sized
from pipeline.extraction.concepts import Cue
from pipeline.extraction.measuring import Reading
from pipeline.extraction.mentions import Mention
from pipeline.extraction.model import SpeechAct
from pipeline.extraction.segments import Segment

Effect = Literal["denies", "doubts", "dates"]
"""What a cue can do to a finding that it reaches: say that it is not there, perhaps there, or there before today."""

CARRYING = (SpeechAct.OBSERVATION, SpeechAct.REPORT)
"""The acts whose segments state findings."""


@dataclass(slots=True)
class Item:
    """A mention with the one meaning that its surroundings give it."""

    mention: Mention
    entry: Entry
    confidence: float = 1.0

    @property
    def start(self) -> int:
        """First token."""
        return self.mention.start

    @property
    def end(self) -> int:
        """Token after the last."""
        return self.mention.end

    @property
    def is_structure(self) -> bool:
        """True for a part of the body."""
        return self.entry.kind == "structure"


@dataclass(slots=True)
class Draft:
    """A finding in the making; tokens start to end are the words that name it, `reached_by` the cues that changed it."""

    concept: str
    system: str
    structure: str | None
    start: int
    end: int
    segment: int
    sentence: int
    assertion: str = "present"
    side: str | None = None
    severity: str | None = None
    grade: Graded | None = None
    size: Sized | None = None
    modifiers: tuple[str, ...] = ()
    reported: bool = False
    past: bool = False
    superseded: bool = False
    confidence: float = 1.0
    reached_by: tuple[tuple[Effect, Cue], ...] = ()

    def reach(self, effect: Effect, cue: Cue | None) -> None:
        """Keep which cue changed the finding, and how."""
        if cue is not None:
            self.reached_by = (*self.reached_by, (effect, cue))


@dataclass(slots=True)
class Withdrawal:
    """A correction by voice: the tokens of the words that did it, and what it did."""

    start: int
    end: int
    about: str
    message: str


@dataclass(frozen=True, slots=True)
class Replaceable:
    """Findings that one said right after words of correction may replace; `weak` words replace only what is contradicted."""

    drafts: list[Draft]
    cue: Cue
    index: int
    weak: bool


@dataclass(slots=True)
class Refusal:
    """A system that could not be examined; tokens start to end say so."""

    system: str
    start: int
    end: int


@dataclass(slots=True)
class Read:
    """What the reader makes of one text, before it is written down as Statements; `undone` are first tokens of plans taken back."""

    drafts: list[Draft] = field(default_factory=list)
    readings: list[tuple[Reading, Segment]] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)
    mentioned: set[str] = field(default_factory=set)
    withdrawals: list[Withdrawal] = field(default_factory=list)
    undone: set[int] = field(default_factory=set)


@dataclass(slots=True)
class Focus:
    """What the talk is about just now: system, part (and parts named together), side, and since which sentence."""

    system: str | None = None
    structure: str | None = None
    structures: tuple[str, ...] = ()
    side: str | None = None
    sentence: int = -1


@dataclass(slots=True)
class Negation:
    """A denial in force: where its cue ends, whether it has denied something yet, where the last thing ends."""

    cue: Cue
    segment: int
    last_end: int
    last_system: str | None = None
    last_nature: str | None = None
    denied: int = 0
