"""What a reviewer can do, as values: each can be sent, stored in a trail, and applied again with the same result."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, SerializerFunctionWrapHandler, model_serializer

from lexicon.schema import System
from pipeline.extraction.model import (
    Assertion,
    Comparator,
    Grade,
    MeasurementKind,
    Nature,
    PlanState,
    Reporter,
    Side,
    When,
)
from pipeline.review.model import FactId
from pipeline.speech.model import Frozen

Severity = Literal["trace", "mild", "moderate", "marked", "severe"]
Text = Annotated[str, Field(min_length=1, max_length=2000)]


class _Typed(Frozen):
    """Base of what a person types: blanks at the ends are dropped, numbers are finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True, allow_inf_nan=False)


class _Changes(_Typed):
    """Base of changes: "set to nothing" and "not given" are two things, in JSON too, so only what was given is written."""

    @model_serializer(mode="wrap")
    def _only_given(self, write: SerializerFunctionWrapHandler) -> dict[str, object]:
        return {name: value for name, value in write(self).items() if name in self.model_fields_set}


class FindingChanges(_Changes):
    """Fields of a finding to set; a field that is not given stays as it is.

    `concept` is an identifier of the lexicon, or `unlisted` with a `label` in the reviewer's own words.
    """

    system: System | None = None
    concept: str | None = None
    label: Text | None = None
    nature: Nature | None = Field(default=None, description="For an unlisted finding only.")
    structure: str | None = None
    assertion: Assertion | None = None
    side: Side | None = None
    severity: Severity | None = None
    grade: Grade | None = None
    size_mm: float | None = Field(default=None, gt=0)
    size_text: Text | None = None
    modifiers: tuple[Text, ...] | None = None
    reported_by: Reporter | None = None
    when: When | None = None


class MeasurementChanges(_Changes):
    """Fields of a measurement to set, in the stored unit of its kind; a field that is not given stays as it is."""

    kind: MeasurementKind | None = None
    value: float | Text | None = None
    value_high: float | None = None
    comparator: Comparator | None = None
    out_of: float | None = Field(default=None, gt=0)
    method: Text | None = None
    when: When | None = None


class PlanChanges(_Changes):
    """Fields of a plan item to set; a field that is not given stays as it is. `due` is an ISO date."""

    text: Text | None = None
    kind: Text | None = None
    state: PlanState | None = None
    due: str | None = Field(default=None, pattern=r"^\d{4}-\d{2}-\d{2}$")
    due_text: Text | None = None


class Accept(_Typed):
    """The fact is right as it stands."""

    do: Literal["accept"] = "accept"
    fact: FactId


class AcceptCertain(_Typed):
    """Every open fact is right that was understood with certainty and that no notice asks about."""

    do: Literal["accept_certain"] = "accept_certain"


class CorrectFinding(_Typed):
    """Set fields of a finding."""

    do: Literal["correct_finding"] = "correct_finding"
    fact: FactId
    changes: FindingChanges


class CorrectMeasurement(_Typed):
    """Set fields of a measurement."""

    do: Literal["correct_measurement"] = "correct_measurement"
    fact: FactId
    changes: MeasurementChanges


class CorrectPlanItem(_Typed):
    """Set fields of a plan item."""

    do: Literal["correct_plan_item"] = "correct_plan_item"
    fact: FactId
    changes: PlanChanges


class Reject(_Typed):
    """The fact is no fact of this record."""

    do: Literal["reject"] = "reject"
    fact: FactId
    reason: Text | None = None


class Restore(_Typed):
    """The fact stands again as it was understood."""

    do: Literal["restore"] = "restore"
    fact: FactId


class Split(_Typed):
    """Two or more findings instead of one: "both ears red" becomes left mild, right severe."""

    do: Literal["split"] = "split"
    fact: FactId
    into: tuple[FindingChanges, ...] = Field(min_length=2, max_length=20)


class Merge(_Typed):
    """One finding instead of several: the first, with the evidence of all and the changes given."""

    do: Literal["merge"] = "merge"
    facts: tuple[FactId, ...] = Field(min_length=2, max_length=20)
    changes: FindingChanges = FindingChanges()


class AddFinding(_Typed):
    """A finding by hand; system and concept are needed."""

    do: Literal["add_finding"] = "add_finding"
    finding: FindingChanges


class AddMeasurement(_Typed):
    """A measurement by hand; kind and value are needed."""

    do: Literal["add_measurement"] = "add_measurement"
    measurement: MeasurementChanges


class AddPlanItem(_Typed):
    """A plan item by hand; its text is needed."""

    do: Literal["add_plan_item"] = "add_plan_item"
    item: PlanChanges


class MarkNormal(_Typed):
    """The system was examined and nothing was wrong."""

    do: Literal["mark_normal"] = "mark_normal"
    system: System


class MarkNotExamined(_Typed):
    """The system was not examined, and why."""

    do: Literal["mark_not_examined"] = "mark_not_examined"
    system: System
    reason: Text


class Acknowledge(_Typed):
    """The notice was seen and nothing is to be changed, and why."""

    do: Literal["acknowledge"] = "acknowledge"
    notice: str
    reason: Text


Operation = Annotated[
    Accept
    | AcceptCertain
    | CorrectFinding
    | CorrectMeasurement
    | CorrectPlanItem
    | Reject
    | Restore
    | Split
    | Merge
    | AddFinding
    | AddMeasurement
    | AddPlanItem
    | MarkNormal
    | MarkNotExamined
    | Acknowledge,
    Field(discriminator="do"),
]
