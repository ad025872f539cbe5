"""Values against published ranges. The source of each expected verdict stands beside it."""

from __future__ import annotations

from datetime import date

import pint
import pytest
from examples import CAT, DOG, LEXICON, measured

from lexicon.schema import UnitWord
from pipeline.extraction.model import Measurement
from pipeline.record import Patient, Visit
from pipeline.record.ranges import Interval, Judgement, Place, Subject, age_in_months, judge, subject_of

ADULT = {species: Subject(species, 60, None) for species in ("dog", "cat", "rabbit", "ferret", "guinea_pig")}
LARGE_DOG, SMALL_DOG = Subject("dog", 60, 30.0), Subject("dog", 60, 6.0)


def judged(measurement: Measurement, subject: Subject, place: Place = "clinic") -> Judgement:
    return judge(measurement, subject, LEXICON, place)


def status(kind: str, value: float | str | None, subject: Subject, **values: object) -> str:
    return judged(measured(kind, value, **values), subject).measurement.status


# The figures on both sides were read in the sources named, unless it says "from memory".
PUBLISHED = [
    # Dorn et al., Animals 14 (2024) 1970: adult dogs 37.7 to 39.5.
    ("temperature", 38.6, ADULT["dog"], "normal"),  # 101.5 F
    ("temperature", 37.7, ADULT["dog"], "normal"),
    ("temperature", 39.5, ADULT["dog"], "normal"),
    ("temperature", 39.6, ADULT["dog"], "high"),
    ("temperature", 37.6, ADULT["dog"], "low"),
    ("temperature", 40.1, ADULT["dog"], "high"),  # high by Texas AgriLife 2009 and AMC 2025 as well
    # Levy, Nutt, Tucker, J Feline Med Surg 17 (2015): cats 36.7 to 38.9; normal by the older 37.7 to 39.2.
    ("temperature", 39.1, ADULT["cat"], "high"),
    ("temperature", 38.9, ADULT["cat"], "normal"),
    # House Rabbit Society quoting the Merck table (second hand): 104.2 F = 40.1 is the top.
    ("temperature", 40.1, ADULT["rabbit"], "normal"),
    ("temperature", 40.2, ADULT["rabbit"], "high"),
    # Small Animal Clinical Nutrition, 5th ed., Table 16-1: puppies in week 1 to 2 34.5 to 37.2.
    ("temperature", 35.8, Subject("dog", 0, 0.4), "normal"),
    ("temperature", 35.8, ADULT["dog"], "low"),
    # Cats' hearts: 260 is above telemetry restrained (2005), AMC, AgriLife, a hospital page (160 to 240).
    ("heart_rate", 260, ADULT["cat"], "high"),
    (
        "heart_rate",
        240,
        ADULT["cat"],
        "high",
    ),  # above restrained mean + 2 SD (237, computed)
    ("heart_rate", 187, ADULT["cat"], "normal"),  # mean of restrained cats in the same study
    # Exotic Animal Formulary, 5th ed. (200 to 400) and Randolph 1989 (220 to 250).
    ("heart_rate", 240, ADULT["ferret"], "normal"),
    # Loyola, Guinea Pigs (230 to 380) and ALAT training, chapter 19 (230 to 320).
    ("heart_rate", 250, ADULT["guinea_pig"], "normal"),
    # Can Do Canines: 100 to 140 under 30 lb, 60 to 100 over; AMC: large dogs 60 to 90, medium 70 to 110.
    ("heart_rate", 132, SMALL_DOG, "normal"),
    ("heart_rate", 132, LARGE_DOG, "high"),
    ("heart_rate", 80, LARGE_DOG, "normal"),
    ("heart_rate", 80, SMALL_DOG, "low"),
    ("pulse_rate", 132, LARGE_DOG, "high"),
    # Table 16-1 again: 8 to 12 weeks 165 to 175, weeks 1 to 2 230 to 240.
    ("heart_rate", 170, Subject("dog", 2, 4.0), "normal"),
    ("heart_rate", 235, Subject("dog", 0, 0.4), "normal"),
    ("heart_rate", 170, ADULT["dog"], "high"),
    # AMC 2025: dogs 18 to 34; an emergency hospital's page: 10 to 30. 28 in 15 s is 112, 7 in 15 s is 28.
    ("respiratory_rate", 112, ADULT["dog"], "high"),
    ("respiratory_rate", 28, ADULT["dog"], "normal"),
    # Can Do Canines: refill 1 to 2 s.
    ("capillary_refill_time", 1.5, ADULT["dog"], "normal"),
    ("capillary_refill_time", 2, ADULT["dog"], "normal"),
    ("capillary_refill_time", 3, ADULT["dog"], "high"),
    # UK-Vet Companion Animal: persistent 160 and above defines hypertension in cats; lower end from memory.
    ("systolic_blood_pressure", 159, ADULT["cat"], "normal"),
    ("systolic_blood_pressure", 160, ADULT["cat"], "high"),
    ("systolic_blood_pressure", 60, ADULT["cat"], "low"),
    # PetPlace, Dehydration in Dogs: under 5 per cent is not found on examination.
    ("hydration_deficit", 4, ADULT["dog"], "normal"),
    ("hydration_deficit", 5, ADULT["dog"], "high"),
    # WSAVA Muscle Condition Score, 2013.
    ("muscle_condition_score", "normal", ADULT["cat"], "normal"),
    ("muscle_condition_score", "mild loss", ADULT["cat"], "low"),
]


@pytest.mark.parametrize(("kind", "value", "subject", "expected"), PUBLISHED)
def test_a_value_is_judged_by_the_published_range(
    kind: str, value: float | str, subject: Subject, expected: str
) -> None:
    assert status(kind, value, subject) == expected


def test_a_cat_at_60_breaths_is_normal_in_the_clinic_and_high_at_home() -> None:
    """Dijkstra, Teske, Szatmári, Vet J 234 (2018): 32 to 135 in consulting rooms; AMC 2025: 16 to 30."""
    breaths = measured("respiratory_rate", 60)
    assert judged(breaths, ADULT["cat"], "clinic").measurement.status == "normal"
    assert judged(breaths, ADULT["cat"], "home").measurement.status == "high"


def test_the_range_used_names_its_source() -> None:
    used = judged(measured("temperature", 39.1), ADULT["cat"]).used
    assert used is not None
    assert (used.low, used.high, used.unit) == (36.7, 38.9, "Cel")
    assert "Levy" in used.source
    assert "2015" in used.source


def test_a_range_from_memory_says_so() -> None:
    used = judged(measured("systolic_blood_pressure", 150), ADULT["cat"]).used
    assert used is not None
    assert "from memory, not read" in used.source


@pytest.mark.parametrize(
    ("score", "out_of", "species", "expected"),
    [
        # Ideal 5/9 or 3/5: AAHA, Weight Management. Dogs 4 to 5/9: Tufts 2017. Cats 5/9: WSAVA chart.
        (5, 9, "dog", "normal"),
        (4, 9, "dog", "normal"),
        (4, 9, "cat", "low"),
        (7, 9, "dog", "high"),
        (3, 5, "dog", "normal"),
        (3, 5, "cat", "normal"),
        (4, 5, "cat", "high"),
        (2, 5, "dog", "low"),
        (7, None, "dog", "high"),  # 7 can only be of nine
        (4, None, "dog", "unknown"),  # of nine or of five: ask
        (5, 7, "dog", "unknown"),
        (7, 5, "dog", "implausible"),
    ],
)
def test_body_condition_on_both_scales(
    score: float, out_of: float | None, species: str, expected: str
) -> None:
    assert status("body_condition_score", score, ADULT[species], out_of=out_of) == expected


@pytest.mark.parametrize(
    ("score", "out_of", "species", "expected"),
    [
        # Reid et al. 2007: act at 6/24 or 5/20.
        (6, 24, "dog", "high"),
        (5, 24, "dog", "normal"),
        (5, 20, "dog", "high"),
        # Calvo, Holden 2014: 4/16.
        (4, 16, "cat", "high"),
        (3, 16, "cat", "normal"),
        # Out of ten may be a grimace scale or a plain number: not judged.
        (4, 10, "cat", "unknown"),
    ],
)
def test_pain_scores_by_their_own_scale(score: float, out_of: float, species: str, expected: str) -> None:
    assert status("pain_score", score, ADULT[species], out_of=out_of) == expected


@pytest.mark.parametrize(
    ("comparator", "value", "expected"),
    [
        ("<", 2, "normal"),  # "under two"
        ("<=", 2, "normal"),
        (">", 2, "high"),
        (">=", 3, "high"),
        ("~", 2, "normal"),
        ("<", 3, "unknown"),  # may be 1 or 2.5
        (">", 1, "unknown"),
    ],
)
def test_refill_with_a_comparator(comparator: str, value: float, expected: str) -> None:
    """Upper limit 2 s (Can Do Canines, Normal Canine Vitals); the logic is ours."""
    assert status("capillary_refill_time", value, ADULT["dog"], comparator=comparator) == expected


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [(30, 36, "normal"), (30, 60, "high"), (6, 30, "low"), (50, 60, "high"), (60, 30, "high")],
)
def test_both_ends_of_a_spoken_range_count(low: float, high: float, expected: str) -> None:
    """Dogs 10 to 40 breaths, joined from three pages (see the table)."""
    assert status("respiratory_rate", low, ADULT["dog"], value_high=high) == expected


@pytest.mark.parametrize(
    ("kind", "value", "species"),
    [
        ("temperature", 386, "dog"),
        ("temperature", 101.5, "dog"),  # Fahrenheit that was not converted
        ("temperature", float("nan"), "dog"),
        ("weight", 40, "cat"),
        ("weight", 42, "rabbit"),
        ("heart_rate", 12, "dog"),
        ("heart_rate", 500, "cat"),
        ("respiratory_rate", 2, "dog"),
        ("capillary_refill_time", 20, "dog"),
        ("hydration_deficit", 50, "dog"),
    ],
)
def test_what_no_patient_can_have_is_implausible(kind: str, value: float, species: str) -> None:
    """Limits of this project's own: common practice, no source."""
    assert status(kind, value, ADULT[species]) == "implausible"


@pytest.mark.parametrize(
    ("kind", "value", "species"),
    [
        ("heart_rate", 500, "hamster"),
        ("weight", 0.02, "hamster"),
        ("weight", 95, "dog"),
        ("temperature", 34.4, "dog"),
        ("respiratory_rate", 200, "dog"),
        ("heart_rate", 24, "dog"),
    ],
)
def test_the_reach_of_physiology_leaves_room(kind: str, value: float, species: str) -> None:
    """Rodents, giants, newborns, panting, heart block: none of them may be called impossible."""
    assert status(kind, value, Subject(species, None, None)) != "implausible"


@pytest.mark.parametrize("subject", [Subject(), Subject("hamster", 6, 0.1), Subject("parrot")])
def test_an_unknown_species_is_not_judged(subject: Subject) -> None:
    for kind, value in (("temperature", 38.6), ("heart_rate", 200), ("capillary_refill_time", 5)):
        judgement = judged(measured(kind, value), subject)
        assert judgement.measurement.status == "unknown"
        assert judgement.used is None


def test_past_withdrawn_and_uncounted_values_are_not_judged() -> None:
    assert status("temperature", 41, ADULT["dog"], when="past") == "unknown"
    assert status("temperature", 386, ADULT["dog"], superseded=True) == "unknown"
    assert status("respiratory_rate", None, ADULT["dog"]) == "unknown"
    assert status("temperature", "warm", ADULT["dog"]) == "unknown"


def test_no_age_means_adult() -> None:
    assert status("heart_rate", 170, Subject("dog", None, 10.0)) == "high"
    assert status("temperature", 35.8, Subject("dog", None, None)) == "low"


@pytest.mark.parametrize(
    ("born", "expected"),
    [
        (date(2025, 6, 16), 0),
        (date(2025, 5, 17), 0),
        (date(2025, 5, 16), 1),
        (date(2024, 6, 16), 12),
        (date(2024, 6, 17), 11),
        (date(2025, 6, 17), None),
    ],
)
def test_age_counts_full_months(born: date, expected: int | None) -> None:
    patient = Patient(name="Wren", species="dog", birth_date=born)
    assert age_in_months(patient, date(2025, 6, 16)) == expected


def test_age_is_unknown_without_a_day_of_visit() -> None:
    assert age_in_months(Patient(name="Wren", species="dog", birth_date=date(2024, 1, 1)), None) is None
    assert age_in_months(DOG, None) == 60


def test_the_weight_of_today_counts_before_the_one_on_file() -> None:
    said = (
        measured("weight", 30.0, when="past"),
        measured("weight", 6.0),
        measured("weight", 900.0),  # implausible
        measured("weight", 40.0, superseded=True),
    )
    assert subject_of(DOG, Visit(), said, LEXICON).weight_kg == 6.0
    assert subject_of(DOG, Visit(), (), LEXICON).weight_kg == 20
    assert subject_of(None, Visit(), (), LEXICON) == Subject()


@pytest.mark.parametrize("species", ["Guinea pig", "guinea_pig", "GUINEA  PIG"])
def test_species_is_read_as_people_write_it(species: str) -> None:
    patient = CAT.model_copy(update={"species": species})
    assert subject_of(patient, Visit(), (), LEXICON).species == "guinea_pig"


def test_intervals_with_a_common_end_overlap_only_where_both_hold_it() -> None:
    assert Interval(1, 2).overlaps(Interval(2, 3))
    assert not Interval(1, 2, high_open=True).overlaps(Interval(2, 3))
    assert not Interval(1, 2).overlaps(Interval(2, 3, low_open=True))
    assert not Interval(1, 2).overlaps(Interval(3, 4))


# --- the unit table, against an independent library ------------------------------------------------

PINT_NAMES = {
    "Cel": "degC",
    "[degF]": "degF",
    "kg": "kilogram",
    "g": "gram",
    "[lb_av]": "pound",
    "[oz_av]": "ounce",
    "[stone_av]": "stone",
    "{beats}/min": "1/minute",
    "{breaths}/min": "1/minute",
    "/min": "1/minute",
    "s": "second",
    "mm[Hg]": "mmHg",
    "mm": "millimeter",
    "cm": "centimeter",
    "[in_i]": "inch",
    "%": "percent",
}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


@pytest.mark.parametrize("unit", [unit for unit in LEXICON.units if unit.code != "deg"], ids=lambda u: u.code)
def test_every_unit_converts_as_pint_does(unit: UnitWord, registry: pint.UnitRegistry[float]) -> None:
    for value in (0.5, 1.0, 37.0, 101.5, 212.0):
        expected = registry.Quantity(value, PINT_NAMES[unit.code]).to(PINT_NAMES[unit.to]).magnitude
        assert (value + unit.offset) * unit.factor == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(102.2, 39), (104, 40), (99.5, 37.5), (100.4, 38)])
def test_fahrenheit_steps_that_come_out_exact(fahrenheit: float, celsius: float) -> None:
    """Exact by definition of the scale: (F - 32) * 5/9."""
    row = next(unit for unit in LEXICON.units if unit.code == "[degF]")
    assert (fahrenheit + row.offset) * row.factor == pytest.approx(celsius, abs=1e-12)
