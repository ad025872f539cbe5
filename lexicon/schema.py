"""The rows of the lexicon's tables, as they stand in the TOML files; the loader checks them against these shapes."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field

System = Literal[
    "general",
    "nose",
    "mouth",
    "eyes",
    "ears",
    "lymph_nodes",
    "cardiovascular",
    "respiratory",
    "abdomen",
    "urogenital",
    "skin",
    "musculoskeletal",
    "neurological",
]
SYSTEMS: tuple[System, ...] = get_args(System)
"""Body systems, nose to tail: the order of every view of a record."""
Term = Annotated[str, Field(min_length=1, pattern=r"^[a-z0-9][a-z0-9 '/.-]*$")]
Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
# Units that a measurement or range may carry; UCUM codes, from the UCUM essence table.
Unit = Literal["Cel", "/min", "kg", "s", "mm[Hg]", "%", "mm", "1"]


class Row(BaseModel):
    """Base of a table row: immutable, unknown columns refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Structure(Row):
    """A part of the body that is named while examining; it carries focus and gives findings their place."""

    id: Identifier
    system: System
    label: str = Field(min_length=1, description="Clinical name, singular.")
    plain: str = Field(min_length=1, description="What an owner calls it.")
    paired: bool = Field(default=False, description="There is a left and a right one, so a side is expected.")
    part_of: Identifier | None = None
    species: tuple[str, ...] = Field(default=(), description="Only in these species; empty for all.")
    sex: Literal["male", "female"] | None = Field(default=None, description="Only in this sex.")
    terms: tuple[Term, ...] = Field(
        description="Names in singular; plurals and US spellings are made by rule."
    )
    focus_terms: tuple[Term, ...] = Field(
        default=(), description="Names that mean this only while its system is in focus."
    )


class FindingConcept(Row):
    """Something that can be present, absent or possible."""

    id: Identifier
    system: System | Literal["any"] = Field(
        description="'any': the system is that of the structure in focus."
    )
    home: System = Field(
        default="general", description="System of an 'any' finding when nothing is in focus."
    )
    surface_of: tuple[System, ...] = Field(
        default=(), description="Systems over whose structures an 'any' finding sits in the skin (home)."
    )
    needs_structure: bool = Field(
        default=False, description="An 'any' finding that says nothing without a part."
    )
    label: str = Field(min_length=1, description="Clinical name, singular.")
    plain: str = Field(min_length=1, description="The owner's words for it.")
    nature: Literal["abnormal", "normal", "neutral"] = "abnormal"
    verdict: bool = Field(default=False, description="A verdict over a whole structure, not one quality.")
    covers_rest: Literal["present", "absent"] | None = Field(
        default=None, description="Said of all that was not spoken of: so asserted, the rest is normal."
    )
    sided: bool = Field(default=False, description="A side is expected when it is present.")
    structure: Identifier | None = Field(default=None, description="Where it is when nothing else is said.")
    grade_out_of: tuple[int, ...] = Field(default=(), description="Scales it is graded on, commonest first.")
    species: tuple[str, ...] = ()
    sex: Literal["male", "female"] | None = Field(default=None, description="Only in this sex.")
    terms: tuple[Term, ...] = Field(default=(), description="Noun phrases, singular, that mean only this.")
    predicates: tuple[Term, ...] = Field(
        default=(), description="Adjectives and verb phrases that mean only this."
    )
    focus_terms: tuple[Term, ...] = Field(
        default=(), description="Noun phrases that mean this in its system."
    )
    focus_predicates: tuple[Term, ...] = Field(default=(), description="The same for adjectives and verbs.")
    composed_of: tuple[str, ...] = Field(
        default=(), description="'structure + finding': an 'any' finding on that structure is this concept."
    )


class Wording(Row):
    """More words for a finding or a part that is known, in a practice's own file."""

    of: Identifier = Field(description="The id of the finding or part.")
    terms: tuple[Term, ...] = ()
    predicates: tuple[Term, ...] = ()
    focus_terms: tuple[Term, ...] = ()
    focus_predicates: tuple[Term, ...] = ()


class CueGroup(Row):
    """Words that steer the reading: negation, speech acts, corrections. One reason and one example per group."""

    id: Identifier
    kind: str = Field(min_length=1)
    terms: tuple[str, ...] = Field(min_length=1)
    value: str | None = Field(default=None, description="What the cue sets, where the kind needs it.")
    why: str = Field(min_length=10, description="Why the group exists.")
    example: str = Field(min_length=3, description="A dictation that is read differently without this group.")


class MeasurementName(Row):
    """A measurement kind with its spoken names, unit and the reach of physiology."""

    kind: Identifier
    label: str
    unit: Unit | None = None
    system: System
    names: tuple[Term, ...]
    weak_names: tuple[Term, ...] = Field(
        default=(), description="Names that count only right beside a number."
    )
    plausible: tuple[float, float] | None = Field(
        default=None, description="Outside of this in any patient: a slip of tongue, ear or unit."
    )
    plausible_in: dict[str, tuple[float, float]] = Field(
        default_factory=dict, description="Narrower reach for a species."
    )
    far_out: float | None = Field(
        default=None, gt=0, description="This far beyond a reference limit, in the stored unit, is critical."
    )
    far_out_share: float | None = Field(default=None, gt=0, description="The same as a share of that limit.")
    repeats: bool = Field(default=False, description="Several values in one visit are usual and all stand.")
    linear_scales: bool = Field(default=False, description="Scores convert between scales in even steps.")
    judged_as: Identifier | None = Field(default=None, description="Kind whose reference ranges apply.")
    out_of: tuple[int, ...] = ()
    why: str = Field(min_length=3)


class UnitWord(Row):
    """A spoken unit: the UCUM code it stands for and how it becomes the stored unit."""

    terms: tuple[str, ...]
    code: str
    quantity: Literal["temperature", "mass", "rate", "time", "pressure", "length", "fraction"]
    kind: Identifier | None = Field(default=None, description="What a number with this unit must be, if any.")
    to: str = Field(description="Stored unit after conversion.")
    factor: float = 1.0
    offset: float = Field(default=0.0, description="value_to = (value + offset) * factor")
    source: str


class ReferenceRange(Row):
    """A published range for one kind in one species, with its basis.

    `low`/`high` are in the stored unit and inclusive, `high_open` makes the upper limit itself outside. A kind
    said in words has `normal_words` instead. Ages are full months, from `min` up to and without `max`; weights
    likewise.
    """

    kind: Identifier
    species: str
    low: float | None = None
    high: float | None = None
    high_open: bool = Field(default=False, description="The upper limit itself is already out of range.")
    out_of: int | None = Field(default=None, description="The scale of a score.")
    normal_words: tuple[str, ...] = Field(default=(), description="Values in words that are within range.")
    unit: Unit
    place: Literal["clinic", "home", "any"] = "any"
    min_age_months: int = 0
    max_age_months: int | None = None
    min_weight_kg: float | None = None
    max_weight_kg: float | None = None
    basis: str = Field(min_length=3, description="Whom the range was taken from.")
    source: str = Field(min_length=3)
    year: int | None = None
    read: bool = Field(description="False where the table is from memory and was not read.")


class Requirement(Row):
    """What a complete record of one kind of visit holds for a species ('*' for any other)."""

    visit: str
    species: str
    min_age_months: int = 0
    systems: tuple[System, ...]
    measurements: tuple[Identifier, ...]
    why: str


class Breeds(Row):
    """Names of breeds and kinds of one species, singular, as they are said."""

    species: str
    names: tuple[Term, ...] = Field(min_length=1)


class SoundAlike(Row):
    """Words that a recogniser writes in place of a term of the same sound."""

    heard: tuple[str, ...] = Field(min_length=1)
    term: str
    where: Literal["any", "due"]
