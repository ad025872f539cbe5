"""Each kind of notice: when it comes, and when it stays away."""

from __future__ import annotations

from datetime import date

import pytest
from examples import CAT, DOG, finding, heard, measured, notices, record_of

from pipeline.extraction.model import SURE_ENOUGH, Correction, Grade, NotExamined, PlanItem
from pipeline.record import ExamRecord, Patient

PLAN = (PlanItem(text="recheck in ten days", kind="recheck"),)


def abouts(record: ExamRecord, kind: str) -> list[str]:
    return [notice.about for notice in notices(record, kind)]


# --- missing ---------------------------------------------------------------------------------------


def test_a_system_nobody_mentioned_is_missing() -> None:
    record = record_of(finding("ear_wax", side="left"), visit="health_check")
    missing = abouts(record, "missing_system")
    assert "neurological" in missing
    assert "ears" not in missing
    assert len(missing) == 12


def test_a_declined_system_is_not_missing() -> None:
    declined = NotExamined(system="mouth", reason="he would not let me", evidence=heard())
    record = record_of(visit="health_check", not_examined=(declined,))
    assert "mouth" not in abouts(record, "missing_system")


def test_only_what_the_visit_asks_for_is_missing() -> None:
    assert abouts(record_of(visit="recheck"), "missing_system") == ["general"]
    vaccination = abouts(record_of(visit="vaccination"), "missing_system")
    assert "neurological" not in vaccination
    assert "cardiovascular" in vaccination


def test_a_named_system_without_result_is_missing_and_says_so() -> None:
    record = record_of(visit="health_check", mentioned=("eyes",))
    (notice,) = [n for n in notices(record, "missing_system") if n.about == "eyes"]
    assert "named, but no result was said" in notice.message


def test_missing_measurements_follow_visit_and_species() -> None:
    rabbit = Patient(name="Clover", species="rabbit")
    asked = {n.about for n in notices(record_of(visit="health_check"), "missing_measurement")}
    assert asked == {"temperature", "heart_rate", "respiratory_rate", "weight", "body_condition_score"}
    calm = record_of(patient=rabbit, visit="health_check")
    assert "temperature" not in {n.about for n in notices(calm, "missing_measurement")}
    ill = record_of(patient=rabbit, visit="sick")
    assert "temperature" in {n.about for n in notices(ill, "missing_measurement")}
    senior = record_of(patient=CAT, visit="senior")
    assert "systolic_blood_pressure" in {n.about for n in notices(senior, "missing_measurement")}
    unknown = record_of(patient=None, visit="health_check")
    assert "temperature" in {n.about for n in notices(unknown, "missing_measurement")}


def test_a_pulse_rate_and_panting_count_as_taken_an_old_weight_does_not() -> None:
    record = record_of(
        measured("pulse_rate", 100),
        measured("respiratory_rate", None, method="panting"),
        measured("weight", 20.0, when="past"),
        visit="health_check",
    )
    missing = {n.about for n in notices(record, "missing_measurement")}
    assert {"heart_rate", "respiratory_rate"}.isdisjoint(missing)
    assert "weight" in missing


# --- values ----------------------------------------------------------------------------------------


def test_out_of_range_names_value_range_and_source() -> None:
    (notice,) = notices(record_of(measured("temperature", 40.1)), "out_of_range")
    assert notice.about == "temperature"
    assert notice.severity == "warning"
    assert "40.1 °C is above the reference range of 37.7 to 39.5" in notice.message
    assert "Dorn" in notice.message
    assert notice.evidence


@pytest.mark.parametrize(
    ("value", "severity"), [(39.6, "warning"), (40.4, "warning"), (40.5, "critical"), (36.7, "critical")]
)
def test_far_out_of_range_is_critical(value: float, severity: str) -> None:
    """One degree beyond 37.7 and 39.5 and more: a margin of our own, common practice, no source."""
    (notice,) = notices(record_of(measured("temperature", value)), "out_of_range")
    assert notice.severity == severity


def test_values_within_range_are_quiet() -> None:
    record = record_of(measured("temperature", 38.6), measured("heart_rate", 96), measured("weight", 20.0))
    assert not notices(record, "out_of_range")
    assert not notices(record, "implausible")


def test_an_implausible_value_is_kept_and_called_out() -> None:
    record = record_of(measured("temperature", 386))
    (notice,) = notices(record, "implausible")
    assert notice.severity == "critical"
    assert "28 to 43.5" in notice.message
    assert record.measurements[0].value == 386
    assert not notices(record, "out_of_range")
    assert record.notices[0] == notice  # the gravest first


def test_fahrenheit_without_a_word_is_converted_and_said() -> None:
    """101.5 without a unit can only be Fahrenheit: exact rule (F - 32) * 5/9 gives 38.6."""
    said = measured("temperature", 38.6, unit_inferred=True, method="said in degrees Fahrenheit")
    (notice,) = notices(record_of(said), "low_confidence")
    assert notice.severity == "info"
    assert "converted to 38.6 °C" in notice.message
    celsius = measured("temperature", 38.6, unit_inferred=True, method="no scale said, taken as Celsius")
    assert not notices(record_of(celsius), "low_confidence")


def test_a_score_without_its_scale_asks_for_it() -> None:
    """Five is ideal of nine and obese of five (AAHA, Weight Management)."""
    (notice,) = notices(record_of(measured("body_condition_score", 5)), "low_confidence")
    assert "9 or 5" in notice.message


def test_doubtful_facts_are_shown() -> None:
    record = record_of(
        finding("vomiting", confidence=0.59),
        measured("weight", 12.0, confidence=0.5),
        finding("heart_murmur", confidence=SURE_ENOUGH),
        measured("heart_rate", 100, confidence=SURE_ENOUGH),
        finding("diarrhoea", confidence=0.61),
        finding("cough", confidence=0.1, superseded=True),
    )
    doubted = {n.about for n in notices(record, "low_confidence")}
    assert doubted == {"vomiting", "weight", "heart_murmur", "heart_rate"}


# --- contradictions --------------------------------------------------------------------------------


def test_present_and_absent_contradict() -> None:
    record = record_of(finding("heart_murmur"), finding("heart_murmur", assertion="absent"))
    (notice,) = notices(record, "contradiction")
    assert notice.about == "heart_murmur"
    assert "present and to be absent" in notice.message


@pytest.mark.parametrize(
    "other",
    [
        {"side": "right"},
        {"when": "past"},
        {"reported_by": "owner"},
        {"superseded": True},
        {"structure": "pinna"},
    ],
)
def test_another_side_time_teller_or_place_is_no_contradiction(other: dict[str, object]) -> None:
    denied = {"side": "left", "assertion": "absent", **other}
    record = record_of(finding("ear_wax", side="left"), finding("ear_wax", **denied))
    assert not notices(record, "contradiction")


def test_both_sides_include_each_side() -> None:
    record = record_of(finding("ear_wax", side="both", assertion="absent"), finding("ear_wax", side="left"))
    assert len(notices(record, "contradiction")) == 1


def test_a_verdict_contradicts_only_on_the_same_structure_and_side() -> None:
    verdict = {"system": "ears", "structure": "ear"}
    red = {"system": "ears", "structure": "ear"}
    same = record_of(finding("normal", side="left", **verdict), finding("redness", side="left", **red))
    (notice,) = notices(same, "contradiction")
    assert notice.severity == "info"
    apart = record_of(finding("normal", side="left", **verdict), finding("redness", side="right", **red))
    assert not notices(apart, "contradiction")
    quality = record_of(finding("clean", side="left", **verdict), finding("redness", side="left", **red))
    assert not notices(quality, "contradiction")
    whole = record_of(
        finding("normal", system="cardiovascular", structure=None), finding("heart_murmur", structure="heart")
    )
    assert not notices(whole, "contradiction")


def test_two_values_contradict_and_the_later_stands() -> None:
    record = record_of(measured("heart_rate", 100), measured("heart_rate", 108))
    (notice,) = notices(record, "contradiction")
    assert "100 per minute and later as 108 per minute" in notice.message
    assert [(m.value, m.superseded) for m in record.measurements] == [(100, True), (108, False)]


def test_values_that_can_both_be_true_do_not_contradict() -> None:
    record = record_of(
        measured("heart_rate", 100, when="past"),
        measured("heart_rate", 120, superseded=True),
        measured("heart_rate", 108),
        measured("capillary_refill_time", 2, comparator="<"),
        measured("capillary_refill_time", 1.5),
        measured("systolic_blood_pressure", 150),
        measured("systolic_blood_pressure", 142),  # several readings are how it is measured
        measured("respiratory_rate", None),
        measured("respiratory_rate", 30),
        measured("body_condition_score", 5, out_of=9),
        measured("body_condition_score", 3, out_of=5),
        corrections=(Correction(about="heart_rate", message="120 was corrected aloud.", evidence=heard()),),
    )
    assert not notices(record, "contradiction")


def test_two_grades_of_one_finding_contradict() -> None:
    record = record_of(
        finding("heart_murmur", grade=Grade(value=2, out_of=6, text="two of six")),
        finding("heart_murmur", grade=Grade(value=3, out_of=6, text="three of six")),
    )
    (notice,) = notices(record, "contradiction")
    assert "two of six" in notice.message


# --- the rest --------------------------------------------------------------------------------------


def test_a_correction_stays_visible() -> None:
    correction = Correction(about="temperature", message="39.1 was replaced by 38.1.", evidence=heard())
    (notice,) = notices(record_of(corrections=(correction,)), "correction")
    assert (notice.about, notice.message, notice.severity) == (
        "temperature",
        "39.1 was replaced by 38.1.",
        "info",
    )


def test_a_sided_finding_without_a_side_asks_for_it() -> None:
    record = record_of(finding("otic_discharge"), finding("ear_redness", side="left"))
    assert abouts(record, "side_missing") == ["otic_discharge"]


@pytest.mark.parametrize(
    "values", [{"assertion": "absent"}, {"reported_by": "owner"}, {"when": "past"}, {"superseded": True}]
)
def test_what_was_not_found_today_needs_no_side(values: dict[str, object]) -> None:
    assert not notices(record_of(finding("otic_discharge", **values)), "side_missing")


def test_a_general_finding_needs_a_side_on_a_paired_structure_only() -> None:
    kidney = record_of(finding("pain", system="abdomen", structure="kidney"))
    assert abouts(kidney, "side_missing") == ["pain"]
    assert not notices(record_of(finding("pain", system="abdomen", structure="stomach")), "side_missing")


def test_abnormal_without_any_plan_comes_once() -> None:
    findings = (finding("heart_murmur"), finding("vomiting"))
    (notice,) = notices(record_of(*findings), "no_plan")
    assert len(notice.evidence) == 1  # the same words once
    assert not notices(record_of(*findings, plan=PLAN), "no_plan")
    withdrawn = (PlanItem(text="bloods", kind="test", superseded=True),)
    assert notices(record_of(*findings, plan=withdrawn), "no_plan")


@pytest.mark.parametrize("values", [{"reported_by": "owner"}, {"assertion": "absent"}, {"when": "past"}])
def test_no_plan_is_asked_only_for_what_the_vet_found(values: dict[str, object]) -> None:
    assert not notices(record_of(finding("vomiting", **values)), "no_plan")


def test_a_record_without_patient_says_so() -> None:
    (notice,) = notices(record_of(patient=None), "identity")
    assert notice.about == "patient"


def test_sex_on_file_against_what_was_found() -> None:
    """Anatomy; no source needed."""
    assert abouts(record_of(finding("pregnancy"), patient=DOG), "identity") == ["pregnancy"]
    testicle = finding("normal", system="urogenital", structure="testicle")
    assert notices(record_of(testicle, patient=CAT), "identity")
    assert not notices(record_of(testicle, patient=DOG), "identity")
    absent = finding("pregnancy", assertion="absent")
    assert not notices(record_of(absent, patient=DOG), "identity")
    unknown_sex = DOG.model_copy(update={"sex": None})
    assert not notices(record_of(finding("pregnancy"), patient=unknown_sex), "identity")


def test_a_finding_of_another_species_is_asked_about() -> None:
    """The tip of a neutered cat's ear is taken off as a mark; nobody does that to a dog (common practice)."""
    assert notices(record_of(finding("ear_tipped"), patient=DOG), "identity")
    assert not notices(record_of(finding("ear_tipped"), patient=CAT), "identity")


def test_a_birth_date_after_the_visit_is_asked_about() -> None:
    unborn = Patient(name="Pip", species="dog", birth_date=date(2030, 1, 1))
    assert abouts(record_of(patient=unborn), "identity") == ["birth_date"]


def test_a_species_without_ranges_is_told() -> None:
    hamster = Patient(name="Nibs", species="hamster")
    assert abouts(record_of(measured("weight", 0.1), patient=hamster), "identity") == ["species"]


def test_every_message_is_a_sentence_that_ends() -> None:
    record = record_of(
        finding("otic_discharge", confidence=0.2),
        finding("pregnancy"),
        measured("temperature", 386),
        measured("heart_rate", 300),
        measured("body_condition_score", 5),
        visit="senior",
    )
    assert len(record.notices) > 15
    for notice in record.notices:
        assert notice.message[0].isupper() or notice.message[0].isdigit()
        assert notice.message.endswith(".")
        assert "  " not in notice.message
