"""Statements: what a transcript says, each pointing at the words it came from."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from pydantic import Field

from lexicon.schema import System
from pipeline.speech.model import Frozen, Probability, Seconds

Assertion = Literal["present", "absent", "possible"]
Side = Literal["left", "right", "both"]
Nature = Literal["abnormal", "normal", "neutral"]
Reporter = Literal["vet", "owner"]
When = Literal["now", "past"]
MeasurementKind = Literal[
    "temperature",
    "heart_rate",
    "pulse_rate",
    "respiratory_rate",
    "weight",
    "capillary_refill_time",
    "body_condition_score",
    "muscle_condition_score",
    "pain_score",
    "systolic_blood_pressure",
    "hydration_deficit",
]
Comparator = Literal["<", "<=", ">", ">=", "~"]
PlanState = Literal["to_do", "done", "declined"]
RangeStatus = Literal["normal", "low", "high", "implausible", "unknown"]

SURE_ENOUGH = 0.6
"""Facts of this confidence (0 to 1) or less are shown as doubtful: a person is asked to look at them."""


class SpeechAct(StrEnum):
    """What a clause does; only `OBSERVATION` and `REPORT` can carry findings."""

    OBSERVATION = "observation"
    REPORT = "report"
    INTENTION = "intention"
    TEACHING = "teaching"
    QUESTION = "question"
    PLAN = "plan"
    CHATTER = "chatter"
    OTHER_ANIMAL = "other_animal"


class Evidence(Frozen):
    """The words a fact came from: `transcript.text[start_char:end_char] == text`; times null for typed text.

    `heard` is what the recogniser had written where misheard words among them were repaired.
    """

    text: str
    start_char: int = Field(ge=0)
    end_char: int = Field(ge=0)
    start_s: Seconds | None = None
    end_s: Seconds | None = None
    heard: str | None = None


class Grade(Frozen):
    """A graded finding as spoken: a murmur of grade 2 out of 6 is `value=2, out_of=6`. No default scale."""

    value: float
    out_of: float | None = None
    text: str = Field(description="The grade as it was said.")


class Finding(Frozen):
    """Something seen, felt, heard or smelled on the patient, or told by the owner.

    `concept` is the lexicon's identifier and `label` its clinical name; `plain` is the wording for the owner.
    `nature` says whether the concept itself is an abnormality ("ear discharge"), a normal state ("pink gums")
    or neither ("microchip found"); an absent abnormality is a good sign, an absent normal state is not.
    """

    system: System
    concept: str
    label: str
    plain: str = ""
    nature: Nature = "abnormal"
    structure: str | None = None
    assertion: Assertion = "present"
    side: Side | None = None
    severity: str | None = Field(default=None, description="trace, mild, moderate, marked or severe")
    grade: Grade | None = None
    size_mm: float | None = Field(default=None, gt=0, description="Largest dimension said, in millimetres.")
    size_text: str | None = Field(
        default=None, description="A size said in words, such as the size of a pea."
    )
    modifiers: tuple[str, ...] = Field(
        default=(), description="Further qualities as said: firm, mobile, purulent."
    )
    reported_by: Reporter = "vet"
    when: When = "now"
    superseded: bool = Field(default=False, description="Withdrawn or replaced by a later correction.")
    confidence: Probability = 1.0
    entered_by: str | None = Field(
        default=None, description="Person who typed or changed it; null as understood from the words."
    )
    evidence: tuple[Evidence, ...] = ()

    @property
    def counts_as_abnormal(self) -> bool:
        """True when this statement makes its system abnormal today."""
        if self.superseded or self.when == "past" or self.nature == "neutral":
            return False
        if self.nature == "normal":
            return self.assertion == "absent"
        return self.assertion in ("present", "possible")


class Measurement(Frozen):
    """A number with its unit (UCUM code), converted where another unit was spoken.

    `value` is a number, or text for `muscle_condition_score`, or null when a count could not be given (panting);
    a spoken range keeps its lower end in `value` and its upper end in `value_high`.
    """

    kind: MeasurementKind
    value: float | str | None
    value_high: float | None = None
    unit: str | None = Field(default=None, description="UCUM code: Cel, /min, kg, s, mm[Hg], %")
    comparator: Comparator | None = None
    out_of: float | None = None
    method: str | None = Field(default=None, description="How it was taken or inferred, in words.")
    unit_inferred: bool = Field(default=False, description="No unit was said; it follows from the value.")
    when: When = "now"
    status: RangeStatus = "unknown"
    superseded: bool = False
    confidence: Probability = 1.0
    entered_by: str | None = Field(
        default=None, description="Person who typed or changed it; null as understood from the words."
    )
    evidence: tuple[Evidence, ...] = ()

    @property
    def out_of_range(self) -> bool:
        """True when this is a value of today beyond its range or the reach of physiology."""
        standing = not self.superseded and self.when == "now"
        return standing and self.status in ("low", "high", "implausible")


class NotExamined(Frozen):
    """The vet said that a system could not or would not be examined, with the reason as said."""

    system: System
    reason: str
    evidence: tuple[Evidence, ...] = ()


class PlanKind(StrEnum):
    """The sort of a plan item: what is given, done, booked or advised."""

    TREATMENT = "treatment"
    ADVICE = "advice"
    TEST = "test"
    REFERRAL = "referral"
    RECHECK = "recheck"
    VACCINATION = "vaccination"
    PARASITE_CONTROL = "parasite_control"
    DIET = "diet"
    PROCEDURE = "procedure"
    CERTIFICATE = "certificate"


class PlanItem(Frozen):
    """Something that was done or is to be done, in the words that were said.

    Drugs, doses and rates stand in `text` as they were said: nothing of them is computed or checked.
    """

    text: str = Field(description="As said, without the words that lead on to it (and, so, then).")
    kind: PlanKind = Field(description="Treatment, test, recheck and so on; advice where no word tells.")
    state: PlanState = Field(
        default="to_do",
        description="done: today, by what was said; declined: the owner does not want it; to_do otherwise.",
    )
    due: str | None = Field(
        default=None,
        description="ISO date computed from the visit date where the words name a day; of a span the later end, of a"
        " month alone the first day. Null for events (at the next booster) and rates (six monthly).",
    )
    due_text: str | None = Field(default=None, description="When, as said: in ten days.")
    about: tuple[str, ...] = Field(
        default=(),
        description="What its words name or point at: identifiers of parts and findings, names of body systems.",
    )
    superseded: bool = False
    entered_by: str | None = Field(
        default=None, description="Person who typed or changed it; null as understood from the words."
    )
    evidence: tuple[Evidence, ...] = ()


class Assessment(Frozen):
    """What the vet takes it to be, in the words that were said ("my main concern is the spleen").

    Kept as said and never coded: what such a clause names is a finding only where it is one by itself.
    """

    text: str
    evidence: tuple[Evidence, ...] = ()


class Correction(Frozen):
    """A spoken correction: what was withdrawn, what stands instead, and the words that did it."""

    about: str
    message: str
    evidence: tuple[Evidence, ...] = ()


class Clause(Frozen):
    """A clause and what it does in the talk; the clauses set aside stay visible here."""

    act: SpeechAct
    start_char: int
    end_char: int
    cue: str | None = Field(default=None, description="The words that decided the act, null for the default.")


class Statements(Frozen):
    """All that was understood from one transcript, in the order it was said."""

    findings: tuple[Finding, ...] = ()
    measurements: tuple[Measurement, ...] = ()
    not_examined: tuple[NotExamined, ...] = ()
    mentioned: tuple[System, ...] = Field(default=(), description="Systems named, with or without a finding.")
    plan: tuple[PlanItem, ...] = ()
    assessments: tuple[Assessment, ...] = ()
    corrections: tuple[Correction, ...] = ()
    clauses: tuple[Clause, ...] = ()
