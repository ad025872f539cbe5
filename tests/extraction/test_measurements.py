"""Vital signs as vets say them: what was said → kind, value, unit, bound, scale, past, withdrawn.

Spoken forms: common practice, no source. Conversions and worked cases name their source beside them.
"""

from __future__ import annotations

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from said import hear, in_words, unpunctuated

# Read with punctuation and without: the words are enough.
SPOKEN: dict[str, list[str]] = {
    # --- temperature
    "Temperature is thirty eight point six.": ["temperature 38.6 Cel"],
    "Temp thirty-eight six.": ["temperature 38.6 Cel"],
    "Temp 38.6.": ["temperature 38.6 Cel"],
    "Temperature's 38.6 degrees Celsius.": ["temperature 38.6 Cel"],
    "Temperature 38.6°C.": ["temperature 38.6 Cel"],
    "Rectal temperature thirty nine point one.": ["temperature 39.1 Cel"],
    "Rectal temp today is thirty eight and a half.": ["temperature 38.5 Cel"],
    "Thirty eight point two for the temperature.": ["temperature 38.2 Cel"],
    "His temperature comes out at thirty eight four.": ["temperature 38.4 Cel"],
    "Temp's up a bit at thirty nine eight.": ["temperature 39.8 Cel"],
    "T thirty eight point nine.": ["temperature 38.9 Cel"],
    "Temp one oh one point five.": ["temperature 38.6 Cel"],
    "Temp a hundred and one point two.": ["temperature 38.4 Cel"],
    "Temperature one hundred two point two Fahrenheit.": ["temperature 39 Cel"],
    "Temperature 101.5 degrees Fahrenheit.": ["temperature 38.6 Cel"],
    "Temp is 101.5 F.": ["temperature 38.6 Cel"],
    "Temp one oh four point oh.": ["temperature 40 Cel"],
    "Temp 99.5.": ["temperature 37.5 Cel"],
    "Temp one hundred point four.": ["temperature 38 Cel"],
    "Temp one oh one four.": ["temperature 38.6 Cel"],
    "Temperature forty point one degrees.": ["temperature 40.1 Cel"],
    "Temperature was thirty nine five last week.": ["temperature 39.5 Cel past"],
    "Temperature is about thirty eight five.": ["temperature ~38.5 Cel"],
    # --- heart and pulse
    "Heart rate one twelve.": ["heart_rate 112 /min"],
    "Heart rate is a hundred and twelve.": ["heart_rate 112 /min"],
    "Heart rate one hundred twelve beats per minute.": ["heart_rate 112 /min"],
    "Heart rate 112.": ["heart_rate 112 /min"],
    "HR 112 bpm.": ["heart_rate 112 /min"],
    "Heart's going at one thirty two.": ["heart_rate 132 /min"],
    "Heart rate ninety six and regular.": ["heart_rate 96 /min"],
    "Heart rate comes out at around ninety.": ["heart_rate ~90 /min"],
    "Ninety six for the heart rate.": ["heart_rate 96 /min"],
    "One hundred and four beats per minute.": ["heart_rate 104 /min"],
    "Heart rate two twenty, she's purring.": ["heart_rate 220 /min"],
    "Heart rate one oh eight.": ["heart_rate 108 /min"],
    "Heart rate between ninety and one hundred.": ["heart_rate 90..100 /min"],
    "Heart rate one eighty to two hundred.": ["heart_rate 180..200 /min"],
    "Heart rate over two hundred.": ["heart_rate >200 /min"],
    "Heart rate one forty or so.": ["heart_rate ~140 /min"],
    "Heart rate twenty four in fifteen seconds.": ["heart_rate 96 /min"],
    "Heart rate I counted thirty in fifteen seconds.": ["heart_rate 120 /min"],
    "Heart rate twenty eight times four.": ["heart_rate 112 /min"],
    "Heart rate forty two times two.": ["heart_rate 84 /min"],
    "Heart rate, that's thirty-two in fifteen, times four, one twenty eight.": ["heart_rate 128 /min"],
    "Resps, eight in fifteen seconds, so thirty two.": ["respiratory_rate 32 /min"],
    "Heart rate 25 beats in 15 seconds so that's 100.": ["heart_rate 100 /min"],
    "Resp rate seven breaths over fifteen seconds.": ["respiratory_rate 28 /min"],
    "Pulse rate ninety six.": ["pulse_rate 96 /min"],
    "Pulse eighty four.": ["pulse_rate 84 /min"],
    "Femoral pulse rate one twenty.": ["pulse_rate 120 /min"],
    "Pulse is 96 per minute.": ["pulse_rate 96 /min"],
    "Rate one twelve, no murmur.": ["heart_rate 112 /min"],
    "Pulse quality good, rate one hundred.": ["heart_rate 100 /min"],
    "Respiratory effort normal, rate twenty.": ["respiratory_rate 20 /min"],
    # --- respiration
    "Resp rate twenty four.": ["respiratory_rate 24 /min"],
    "Respiratory rate is twenty eight.": ["respiratory_rate 28 /min"],
    "Resps twenty four.": ["respiratory_rate 24 /min"],
    "Breathing rate thirty six a minute.": ["respiratory_rate 36 /min"],
    "RR 24.": ["respiratory_rate 24 /min"],
    "Breathing at thirty two breaths per minute.": ["respiratory_rate 32 /min"],
    "Respiratory rate thirty to thirty six.": ["respiratory_rate 30..36 /min"],
    "Resp rate seven in fifteen seconds.": ["respiratory_rate 28 /min"],
    "Resp rate six times four.": ["respiratory_rate 24 /min"],
    "Respiratory rate panting.": ["respiratory_rate - /min"],
    "Respirations forty.": ["respiratory_rate 40 /min"],
    "Resp rate sixty in clinic.": ["respiratory_rate 60 /min"],
    "Resp rate under thirty.": ["respiratory_rate <30 /min"],
    # --- weight
    "Weight twelve point four kilos.": ["weight 12.4 kg"],
    "She weighs four and a half kilos.": ["weight 4.5 kg"],
    "Weight is four point two kilograms.": ["weight 4.2 kg"],
    "Weight 12.4 kg.": ["weight 12.4 kg"],
    "Weight 12.4kg.": ["weight 12.4 kg"],
    "He's thirty two point one kilos today.": ["weight 32.1 kg"],
    "Weighing in at twenty two three.": ["weight 22.3 kg"],
    "Twelve kilos on the scales.": ["weight 12 kg"],
    "Weight forty pounds.": ["weight 18.14 kg"],
    "Weight nine pounds four ounces.": ["weight 4.2 kg"],
    "Weight nine pounds four.": ["weight 4.2 kg"],
    "Weight twelve and a half pounds.": ["weight 5.67 kg"],
    "Weighs a hundred and ten pounds.": ["weight 49.9 kg"],
    "Weight 12.5 lbs.": ["weight 5.67 kg"],
    "Weight nine hundred and fifty grams.": ["weight 0.95 kg"],
    "Weight one point two kilos.": ["weight 1.2 kg"],
    "He weighs one thousand two hundred grams.": ["weight 1.2 kg"],
    "Weight four kilos two hundred grams.": ["weight 4.2 kg"],
    "Weight twelve kilos, down from thirteen kilos.": ["weight 12 kg", "weight 13 kg past"],
    "Twelve point four kilos, up from eleven point eight.": ["weight 12.4 kg", "weight 11.8 kg past"],
    "Weight four point one, was four point five last time.": ["weight 4.1 kg", "weight 4.5 kg past"],
    "Weight was forty pounds last visit and is forty two pounds now.": [
        "weight 18.14 kg past",
        "weight 19.05 kg",
    ],
    "Last time his heart rate was one forty, today it's one ten.": [
        "heart_rate 140 /min past",
        "heart_rate 110 /min",
    ],
    "She has lost two kilos.": [],
    "She's lost half a kilo since March.": [],
    "Give two kilos of food.": [],
    # --- capillary refill
    "CRT under two seconds.": ["capillary_refill_time <2 s"],
    "Capillary refill time less than two seconds.": ["capillary_refill_time <2 s"],
    "Cap refill one second.": ["capillary_refill_time 1 s"],
    "CRT one and a half seconds.": ["capillary_refill_time 1.5 s"],
    "CRT one to two seconds.": ["capillary_refill_time 1..2 s"],
    "CRT is less than 2.": ["capillary_refill_time <2 s"],
    "CRT < 2 seconds.": ["capillary_refill_time <2 s"],
    "CRT three seconds.": ["capillary_refill_time 3 s"],
    "CRT two seconds or less.": ["capillary_refill_time <=2 s"],
    "CRT more than three seconds.": ["capillary_refill_time >3 s"],
    "Gums pink, refill under two.": ["capillary_refill_time <2 s"],
    "Capillary refill one point five.": ["capillary_refill_time 1.5 s"],
    # --- scores
    "Body condition score five out of nine.": ["body_condition_score 5 of 9"],
    "Body condition five of nine.": ["body_condition_score 5 of 9"],
    "BCS 5/9.": ["body_condition_score 5 of 9"],
    "BCS six over nine.": ["body_condition_score 6 of 9"],
    "Body condition score is three out of five.": ["body_condition_score 3 of 5"],
    "I'd give him a body condition of five out of nine.": ["body_condition_score 5 of 9"],
    "Body condition score seven.": ["body_condition_score 7"],
    "Five out of nine for body condition.": ["body_condition_score 5 of 9"],
    "Condition score four and a half out of nine.": ["body_condition_score 4.5 of 9"],
    "Body condition six to seven out of nine.": ["body_condition_score 6..7 of 9"],
    "Body score's a four, maybe four and a half out of nine.": ["body_condition_score 4..4.5 of 9"],
    "BCS four or five out of nine.": ["body_condition_score 4..5 of 9"],
    "HR 112 RR 24 CRT <2 MM pink.": [
        "heart_rate 112 /min",
        "respiratory_rate 24 /min",
        "capillary_refill_time <2 s",
    ],
    "HR 110, T 38.6, MM pink.": ["heart_rate 110 /min", "temperature 38.6 Cel"],
    "There's a head nod, left fore, about two out of five.": [],
    "Muscle condition score normal.": ["muscle_condition_score normal"],
    "Muscle condition mild loss.": ["muscle_condition_score mild loss"],
    "Muscle condition moderate loss.": ["muscle_condition_score moderate loss"],
    "Muscle condition is severe loss.": ["muscle_condition_score severe loss"],
    "Pain score two out of ten.": ["pain_score 2 of 10"],
    "Pain score zero.": ["pain_score 0"],
    "Glasgow pain score six out of twenty four.": ["pain_score 6 of 24"],
    "Pain score is four out of twenty.": ["pain_score 4 of 20"],
    "Grimace scale three of ten.": ["pain_score 3 of 10"],
    # --- blood pressure, dehydration
    "Weight sixty two pounds, up three pounds from last fall.": ["weight 28.12 kg"],
    "She weighs thirty kilos, two kilos less than last time.": ["weight 30 kg"],
    "Weight forty one comma two kilos.": ["weight 41.2 kg"],
    # --- the name in an earlier clause, the value in an answer
    "Recheck temp in four hours, it's 39.6 now.": ["temperature 39.6 Cel"],
    "Is the weight 14? No, it's 15.1.": ["weight 15.1 kg"],
    "Owner took his temp at home and it was one oh three.": ["temperature 39.4 Cel"],
    "Normal heart rate for a cat is one forty to two twenty, hers is two hundred.": ["heart_rate 200 /min"],
    "Normal temp is up to thirty-nine two, his is thirty-eight nine.": ["temperature 38.9 Cel"],
    "Pain score was eight yesterday, today it's a four.": ["pain_score 8 past", "pain_score 4"],
    # --- amounts of change and aims are no weights; what they lead to is
    "She's down half a kilo to 21.5.": ["weight 21.5 kg"],
    "She's put on four hundred grams and is now five point four.": ["weight 5.4 kg"],
    "He's lost a kilo and a half, down to twenty nine point five kilos.": ["weight 29.5 kg"],
    "Weight has gone up a kilo since last time, now fourteen point two.": ["weight 14.2 kg"],
    "Weight's come down nicely from forty two to thirty nine point five.": [
        "weight 42 kg past",
        "weight 39.5 kg",
    ],
    "He's gone from a seven to a six out of nine.": [
        "body_condition_score 7 of 9 past",
        "body_condition_score 6 of 9",
    ],
    "We want her at about four kilos.": [],
    "Weight thirty two kilos, ideal would be twenty eight.": ["weight 32 kg"],
    "Weight is the same as last time, 7.2 kilos.": ["weight 7.2 kg"],
    "Weight today 5.6 kg, previously 5.9 kg.": ["weight 5.6 kg", "weight 5.9 kg past"],
    "Weight a kilo and a half.": ["weight 1.5 kg"],
    # --- measured again
    "Heart rate first time two twenty, after a few minutes one ninety two.": [
        "heart_rate 220 /min",
        "heart_rate 192 /min",
    ],
    "Temp thirty nine five, I took it again and it was thirty eight nine.": [
        "temperature 39.5 Cel",
        "temperature 38.9 Cel",
    ],
    # --- panting in place of a count
    "Panting, so no resp rate.": ["respiratory_rate - /min"],
    "Resp rate not counted, panting.": ["respiratory_rate - /min"],
    # --- words of fever name the temperature
    "She's febrile at forty point two.": ["temperature 40.2 Cel"],
    "Temp taken in the ear thirty eight two.": ["temperature 38.2 Cel"],
    # --- names in a row, then the values in the same order
    "Temp pulse and resp were thirty eight four, eighty eight and twenty.": [
        "temperature 38.4 Cel",
        "pulse_rate 88 /min",
        "respiratory_rate 20 /min",
    ],
    "HR and RR are 112 and 30.": ["heart_rate 112 /min", "respiratory_rate 30 /min"],
    "TPR 38.1/100/28.": ["temperature 38.1 Cel", "heart_rate 100 /min", "respiratory_rate 28 /min"],
    "TPR 38.1, 100 and 28.": ["temperature 38.1 Cel", "heart_rate 100 /min", "respiratory_rate 28 /min"],
    "TPR's 38.1, 100, 28.": ["temperature 38.1 Cel", "heart_rate 100 /min", "respiratory_rate 28 /min"],
    # --- what is usual is not the patient's
    "Normal temp is up to thirty nine two.": [],
    "BP 148 152 150.": [
        "systolic_blood_pressure 148 mm[Hg]",
        "systolic_blood_pressure 152 mm[Hg]",
        "systolic_blood_pressure 150 mm[Hg]",
    ],
    "Systolic 120 diastolic 75.": ["systolic_blood_pressure 120 mm[Hg]"],
    "Blood pressure averages one fifty two.": ["systolic_blood_pressure 152 mm[Hg]"],
    "Systolic one forty five.": ["systolic_blood_pressure 145 mm[Hg]"],
    "Blood pressure one sixty.": ["systolic_blood_pressure 160 mm[Hg]"],
    "Systolic blood pressure is 165 mmHg.": ["systolic_blood_pressure 165 mm[Hg]"],
    "Blood pressure one thirty over eighty.": ["systolic_blood_pressure 130 mm[Hg]"],
    "Doppler one eighty.": ["systolic_blood_pressure 180 mm[Hg]"],
    "BP a hundred and fifty five millimetres of mercury.": ["systolic_blood_pressure 155 mm[Hg]"],
    "Five percent dehydrated.": ["hydration_deficit 5 %"],
    "About seven per cent dehydrated.": ["hydration_deficit ~7 %"],
    "Dehydration eight percent.": ["hydration_deficit 8 %"],
    # --- several at once
    "TPR thirty eight five, ninety six, twenty four.": [
        "temperature 38.5 Cel",
        "heart_rate 96 /min",
        "respiratory_rate 24 /min",
    ],
    "TPR 38.5, 96, 24.": ["temperature 38.5 Cel", "heart_rate 96 /min", "respiratory_rate 24 /min"],
    "Temp thirty eight six, heart rate one twelve, resp rate twenty four.": [
        "temperature 38.6 Cel",
        "heart_rate 112 /min",
        "respiratory_rate 24 /min",
    ],
    "Temp 38.6, HR 112, RR 24, CRT less than 2 seconds, BCS 5/9.": [
        "temperature 38.6 Cel",
        "heart_rate 112 /min",
        "respiratory_rate 24 /min",
        "capillary_refill_time <2 s",
        "body_condition_score 5 of 9",
    ],
    "Heart rate ninety six, pulse rate ninety six.": ["heart_rate 96 /min", "pulse_rate 96 /min"],
    "Weight twelve kilos, body condition five of nine.": ["weight 12 kg", "body_condition_score 5 of 9"],
    "Ninety six heart rate, resps twenty four.": ["heart_rate 96 /min", "respiratory_rate 24 /min"],
    "Weight four point two kilos, temp thirty eight eight, heart one ninety.": [
        "weight 4.2 kg",
        "temperature 38.8 Cel",
        "heart_rate 190 /min",
    ],
    # --- corrections
    "Heart rate one twenty, no, one thirty two.": ["heart_rate 120 /min withdrawn", "heart_rate 132 /min"],
    "Temperature thirty eight, sorry, thirty nine.": ["temperature 38 Cel withdrawn", "temperature 39 Cel"],
    "Weight four point two, correction, four point four kilos.": ["weight 4.2 kg withdrawn", "weight 4.4 kg"],
    "Temp thirty nine one, I mean thirty eight one.": [
        "temperature 39.1 Cel withdrawn",
        "temperature 38.1 Cel",
    ],
    "Heart rate one twenty, make that one thirty.": ["heart_rate 120 /min withdrawn", "heart_rate 130 /min"],
    "Body condition five, no wait, six out of nine.": [
        "body_condition_score 5 withdrawn",
        "body_condition_score 6 of 9",
    ],
    "Resp rate twenty, sorry, twenty four.": [
        "respiratory_rate 20 /min withdrawn",
        "respiratory_rate 24 /min",
    ],
    "Heart rate one twelve. Scratch that.": ["heart_rate 112 /min withdrawn"],
    # --- talk with numbers that is no measurement
    "Two lumps on the left flank.": [],
    "See her again in ten days.": [],
    "He is five years old.": [],
    "Grade two out of six murmur.": [],
    "A lump of two by three centimetres.": [],
    "Four puppies in the litter.": [],
    "One of the teeth is loose.": [],
    "We will run a T4 and a kidney panel.": [],
    "Recheck in two weeks.": [],
    "He eats two hundred grams of food a day.": [],
    "Normal heart rate for a cat is one forty to two twenty.": [],
    "Heart rate should be under one forty.": [],
    "If his temperature goes over thirty nine five call us.": [],
    "Glucose is five point six.": [],
    "Give half a tablet twice daily for five days.": [],
    "Normal temperature for a dog is thirty eight to thirty nine.": [],
}

# The pauses carry the meaning here, so these are read as written only.
POINTED: dict[str, list[str]] = {
    "Weight: 12.4 kg. Temp: 38.6. HR: 112. RR: 24.": [
        "weight 12.4 kg",
        "temperature 38.6 Cel",
        "heart_rate 112 /min",
        "respiratory_rate 24 /min",
    ],
    "Heart rate 120 — no, 132.": ["heart_rate 120 /min withdrawn", "heart_rate 132 /min"],
    "Respiratory rate 30-36.": ["respiratory_rate 30..36 /min"],
    "Bright, thirty eight three, gums pink.": ["temperature 38.3 Cel"],
    "Twelve point four, kilos.": ["weight 12.4 kg"],
    "Temperature? Thirty eight point six.": ["temperature 38.6 Cel"],
    "Heart rate, let me count, one hundred and four.": ["heart_rate 104 /min"],
    "Wt 4.2kg, T 38.6, P 180, R 30.": [
        "weight 4.2 kg",
        "temperature 38.6 Cel",
        "pulse_rate 180 /min",
        "respiratory_rate 30 /min",
    ],
    "Heart rate is one twenty. No, one thirty two.": ["heart_rate 120 /min withdrawn", "heart_rate 132 /min"],
    "Heart rate 120, scratch that, 132.": ["heart_rate 120 /min withdrawn", "heart_rate 132 /min"],
    "Blood pressure first reading one fifty, second one fifty five, third one forty eight.": [
        "systolic_blood_pressure 150 mm[Hg]",
        "systolic_blood_pressure 155 mm[Hg]",
        "systolic_blood_pressure 148 mm[Hg]",
    ],
    "Blood pressures 150, 155 and 148.": [
        "systolic_blood_pressure 150 mm[Hg]",
        "systolic_blood_pressure 155 mm[Hg]",
        "systolic_blood_pressure 148 mm[Hg]",
    ],
}


@pytest.mark.parametrize(("said", "measured"), [*SPOKEN.items(), *POINTED.items()])
def test_measurements_are_read(said: str, measured: list[str]) -> None:
    """Every value with its unit, bound and scale, in the order it was said, and no other value."""
    assert [in_words(m) for m in hear(said).measurements] == measured


@pytest.mark.parametrize(("said", "measured"), SPOKEN.items())
def test_measurements_are_read_without_punctuation(said: str, measured: list[str]) -> None:
    """The same from a recogniser that writes neither marks nor capitals."""
    assert [in_words(m) for m in hear(unpunctuated(said)).measurements] == measured


def test_the_table_is_wide_enough() -> None:
    """A table that shrinks by accident tests nothing."""
    assert len(SPOKEN) + len(POINTED) >= 120


# Worked conversions. Sources of the definitions: one step of °F is 5/9 of one of °C (UCUM essence 2.2),
# the offset of 32 is exact; pound = 0.45359237 kg (international agreement of 1959); ounce = 1/16 pound
# (UCUM); a count over 15 s times four (House Rabbit Society and an emergency hospital's page for clients).
WORKED = {
    "Temp 101.5 Fahrenheit.": ("temperature", 38.6),
    "Temp 102.2 Fahrenheit.": ("temperature", 39.0),
    "Temp 104 Fahrenheit.": ("temperature", 40.0),
    "Temp 99.5 Fahrenheit.": ("temperature", 37.5),
    "Temp 100.4 Fahrenheit.": ("temperature", 38.0),
    "Weight 40 lb.": ("weight", 18.14),
    "Weight 9 lb 4 oz.": ("weight", 4.20),
    "Weight 12.5 lb.": ("weight", 5.67),
    "Weight 110 lb.": ("weight", 49.90),
    "Temp 40.1 Celsius.": ("temperature", 40.1),
    "Temp 104.2 Fahrenheit.": ("temperature", 40.1),
    "Resp rate 28 in 15 seconds.": ("respiratory_rate", 112),
    "Resp rate 7 in 15 seconds.": ("respiratory_rate", 28),
    "CRT 1.5 seconds.": ("capillary_refill_time", 1.5),
    "CRT under two.": ("capillary_refill_time", 2.0),
    "CRT 3 seconds.": ("capillary_refill_time", 3.0),
    "Temp 386.": ("temperature", 386.0),  # kept as said: the range check calls it implausible
    "Temp 101.5.": ("temperature", 38.6),  # without a scale: can only be °F
}


@pytest.mark.parametrize(("said", "expected"), WORKED.items())
def test_worked_cases(said: str, expected: tuple[str, float]) -> None:
    """Published conversions and counts come out to the digit."""
    (measurement,) = hear(said).measurements
    assert (measurement.kind, measurement.value) == expected


def test_a_temperature_without_scale_says_that_the_scale_was_inferred() -> None:
    """Converted, and said so; what was spoken stays in the evidence."""
    (inferred,) = hear("Temp 101.5.").measurements
    assert inferred.unit_inferred
    assert "Fahrenheit" in (inferred.method or "")
    assert "101.5" in inferred.evidence[0].text
    (said,) = hear("Temp 101.5 Fahrenheit.").measurements
    assert not said.unit_inferred


def test_a_count_over_seconds_says_how_it_was_counted() -> None:
    """A count over 15 s keeps its step of four in the method."""
    (counted,) = hear("Heart rate 28 in fifteen seconds.").measurements
    assert counted.method == "counted 28 in 15 s"


def test_a_weight_without_unit_is_marked() -> None:
    """No unit said: taken as kilograms, marked, and less sure."""
    (weight,) = hear("Weight four point two.").measurements
    assert weight.unit_inferred
    assert weight.confidence < 1


TAKEN = {
    "Blood pressure, cuff size two on the right fore, one sixty five.": (165, "cuff size two; right fore"),
    "Systolic average of five readings one fifty two.": (152, "average of five readings"),
    "Blood pressure is one seventy on the tail with a number two cuff.": (170, "tail; a number two cuff"),
    "BP one forty over eighty in right lateral.": (140, "over 80 diastolic; in right lateral"),
}


@pytest.mark.parametrize(("said", "expected"), TAKEN.items())
def test_how_a_pressure_was_taken_stays_with_it(said: str, expected: tuple[float, str]) -> None:
    """Site, cuff, position and number of readings are no values but the method."""
    for text in (said, unpunctuated(said)):
        (pressure,) = hear(text).measurements
        assert (pressure.value, pressure.method) == expected


def test_a_part_spoken_of_before_is_no_site_of_a_temperature() -> None:
    (temperature,) = hear("coat thin over the tail no redness no scabs temp thirty eight nine").measurements
    assert "tail" not in (temperature.method or "")


def test_a_temperature_is_read_after_other_words() -> None:
    (temperature,) = hear("Temperature last sorry sweetheart 38.4 all done what a star.").measurements
    assert (temperature.kind, temperature.value) == ("temperature", 38.4)


def test_an_answer_to_an_earlier_clause_is_less_sure() -> None:
    """The name was not said with the value."""
    (temperature,) = hear("Recheck temp in four hours, it's 39.6 now.").measurements
    assert temperature.confidence < 1
    assert temperature.evidence[0].text == "39.6"


UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


@settings(max_examples=60, deadline=None)
@given(st.integers(900, 1090))
def test_fahrenheit_agrees_with_pint(tenths: int) -> None:
    """Reference library pint: every tenth of a degree from 90 to 109 °F, to one decimal of °C."""
    (measurement,) = hear(f"Temperature {tenths / 10} Fahrenheit.").measurements
    exact = UNITS.Quantity(tenths / 10, "degF").to("degC").magnitude
    assert isinstance(measurement.value, float)
    assert measurement.value == pytest.approx(exact, abs=0.05 + 1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 200), st.integers(0, 15))
def test_pounds_and_ounces_agree_with_pint(pounds: int, ounces: int) -> None:
    """Reference library pint: pounds with ounces, to two decimals of kg."""
    (measurement,) = hear(f"Weight {pounds} pounds {ounces} ounces.").measurements
    exact = (UNITS.Quantity(pounds, "lb") + UNITS.Quantity(ounces, "oz")).to("kg").magnitude
    assert isinstance(measurement.value, float)
    assert measurement.value == pytest.approx(exact, abs=0.005 + 1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(2, 1800))
def test_grams_agree_with_pint(grams: int) -> None:
    """Reference library pint: grams, as rodents and kits are weighed."""
    (measurement,) = hear(f"Weight {grams} grams.").measurements
    exact = UNITS.Quantity(grams, "g").to("kg").magnitude
    assert isinstance(measurement.value, float)
    assert measurement.value == pytest.approx(exact, abs=0.005 + 1e-9)
