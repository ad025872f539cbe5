"""Sentences that were once read as their opposite, or as nothing; each stands for a family of ways to say it."""

from __future__ import annotations

import pytest
from said import hear, in_words

from pipeline.extraction.model import SURE_ENOUGH, PlanKind

# Sentence → findings as (words, assertion, side, when, reporter); clinical meaning: common practice, no source.
FINDINGS: dict[str, list[tuple[str, str, str | None, str, str]]] = {
    "Pain on palpation of the lumbar spine, none in the neck.": [
        ("pain", "present", None, "now", "vet"),
        ("pain", "absent", None, "now", "vet"),
    ],
    "No murmur on the left, grade two on the right.": [
        ("murmur", "absent", "left", "now", "vet"),
        ("murmur", "present", "right", "now", "vet"),
    ],
    "No pain elicited on hip extension, but there was on flexing the right elbow.": [
        ("pain", "absent", None, "now", "vet"),
        ("pain", "present", "right", "now", "vet"),
    ],
    "Unlikely to be lymphoma.": [("lymphoma", "absent", None, "now", "vet")],
    "I doubt it's a tumour.": [("tumour", "absent", None, "now", "vet")],
    "No question that's a lymphoma.": [("lymphoma", "present", None, "now", "vet")],
    "Not sure there's not a small effusion.": [("effusion", "possible", None, "now", "vet")],
    "Both patellas luxate, left grade two, right grade three.": [
        ("luxate", "present", "left", "now", "vet"),
        ("luxate", "present", "right", "now", "vet"),
    ],
    "Client declined bloods.": [],
    "Vaccinated against parvovirus and distemper, no reaction.": [],
    "He's at risk of leptospirosis.": [],
    "It's important to check his teeth for tartar.": [],
    "Left eye ulcer. The other eye is red.": [
        ("ulcer", "present", "left", "now", "vet"),
        ("red", "present", "right", "now", "vet"),
    ],
    "Both eyes were red last week; today just the left.": [
        ("red", "present", "both", "past", "vet"),
        ("red", "present", "left", "now", "vet"),
    ],
    "Any coughing? No.": [("coughing", "absent", None, "now", "owner")],
    "The murmur was grade two, it's three now.": [
        ("murmur", "present", None, "past", "vet"),
        ("murmur", "present", None, "now", "vet"),
    ],
    "at home no vomiting on exam he has a painful abdomen": [
        ("vomiting", "absent", None, "now", "owner"),
        ("painful", "present", None, "now", "vet"),
    ],
    "No teeth missing.": [("missing", "absent", None, "now", "vet")],
    "Okay heart now.": [],
    "Skin's a bit red underneath.": [("red", "present", None, "now", "vet")],
    "Probably a lipoma. Testicles obviously not there.": [("lipoma", "possible", None, "now", "vet")],
    "Kneecaps. The right one I can pop out.": [("pop out", "present", "right", "now", "vet")],
    "Kneecaps. The right one pops out and goes straight back in.": [
        ("pops out", "present", "right", "now", "vet"),
        ("goes straight back in", "present", "right", "now", "vet"),
    ],
    "Molars fine. She's eight point six.": [],
    "No other abnormalities.": [("other abnormalities", "absent", None, "now", "vet")],
    "QAR.": [],
    "Pawing at his mouth and seems wobbly in the back legs.": [
        ("pawing at his mouth", "present", None, "now", "vet"),
        ("wobbly", "present", None, "now", "vet"),
    ],
    "Left submandibular node is up, about twice the size of the right.": [
        ("up", "present", "left", "now", "vet"),
        ("twice the size", "present", "left", "now", "vet"),
    ],
    "There's a murmur, quiet, left side.": [("murmur", "present", "left", "now", "vet")],
    "A mammary lump on the left, about pea sized, hard.": [("lump", "present", "left", "now", "vet")],
    "That's gingivitis, and the back tooth on the right has a hole.": [
        ("gingivitis", "present", None, "now", "vet")
    ],
    "Glands nowt to write home about.": [],
    "He's about a three out of five lame on the right hind.": [("lame", "present", "right", "now", "vet")],
    "Painful when I extend that hip.": [("painful", "present", None, "now", "vet")],
    "Both patellas are grade two out of four.": [("patellas are grade", "present", "both", "now", "vet")],
    "Differentials are idiopathic epilepsy or a tumour.": [
        ("epilepsy", "possible", None, "now", "vet"),
        ("tumour", "possible", None, "now", "vet"),
    ],
    "Vomiting, I mean diarrhoea.": [("diarrhoea", "present", None, "now", "owner")],
    "Left ear's fine, right's waxy.": [("waxy", "present", "right", "now", "vet")],
    "PCV forty two.": [],
    "Cough on tracheal pinch, no. Lungs clear.": [("cough on tracheal pinch", "absent", None, "now", "vet")],
    "Left ear red, no, right ear red.": [("red", "present", "right", "now", "vet")],
    "Resps thirty. Weight nine point six, up from nine point two.": [],
    "Coat and skin gorgeous, no fleas. Let me just feel, left one's fine.": [
        ("fleas", "absent", None, "now", "vet")
    ],
    "Right ear waxy. I'd just clean that one once a week.": [("waxy", "present", "right", "now", "vet")],
    "Owner's nae worries.": [],
    "One sebaceous cyst on the back, been there two years. Ticks.": [
        ("sebaceous cyst", "present", None, "now", "vet"),
        ("ticks", "present", None, "now", "vet"),
    ],
    "A central corneal ulcer, three millimetres across, edges are adherent, fluorescein positive.": [
        ("corneal ulcer", "present", None, "now", "vet"),
        ("fluorescein positive", "present", None, "now", "vet"),
    ],
    "Gut sounds good on the left, quiet on the right.": [("quiet", "present", "right", "now", "vet")],
    "I checked under the tongue and there's no string there.": [
        ("string", "absent", None, "now", "vet"),
    ],
    "He's had a cough at night for the last month.": [("cough", "present", None, "now", "owner")],
    "Abdomen, liver's enlarged.": [("enlarged", "present", None, "now", "vet")],
    "Lungs, some crackles on the left at the bottom.": [("crackles", "present", "left", "now", "vet")],
    "Flu and enteritis and leukaemia given today.": [],
    "Grade two out of six murmur. Left ear, no, right ear has a polyp.": [
        ("murmur", "present", None, "now", "vet"),
        ("polyp", "present", "right", "now", "vet"),
    ],
    "Ears, right ear's infected.": [("infected", "present", "right", "now", "vet")],
    "Given the lepto, left shoulder.": [],
    "Vulva's a wee bit swollen.": [("swollen", "present", None, "now", "vet")],
    "A mass on the edge of the right upper lid.": [("mass", "present", "right", "now", "vet")],
    "She has only a few teeth left.": [("few teeth left", "present", None, "now", "vet")],
    "Pulse weak at one forty.": [("weak", "present", None, "now", "vet")],
    "Lame on the right fore. Feet good.": [
        ("lame", "present", "right", "now", "vet"),
    ],
    "She really should be desexed because of the cancer risk.": [],
    "Pain on full flexion of the elbow.": [("pain", "present", None, "now", "vet")],
    "I think he's got otitis.": [("otitis", "possible", None, "now", "vet")],
    "Scent glands full of gunk.": [("full of gunk", "present", None, "now", "vet")],
    "I'm feeling for lumps, like a lipoma, an abscess or a cyst.": [],
    "Heart sounds normal for a kitten.": [],
    "Claws are thick.": [("thick", "present", None, "now", "vet")],
    "Tummy feels doughy, I can't hear any gut sounds at all.": [
        ("doughy", "present", None, "now", "vet"),
        ("can't hear any gut sounds", "present", None, "now", "vet"),
    ],
    "Left hip sore. Other hip stiff.": [
        ("sore", "present", "left", "now", "vet"),
        ("stiff", "present", "right", "now", "vet"),
    ],
    "No other lumps on the left flank.": [("lumps", "absent", "left", "now", "vet")],
    "A nodule on the left flank. Nothing on the right.": [
        ("nodule", "present", "left", "now", "vet"),
        ("nothing", "absent", "right", "now", "vet"),
    ],
    "It's an abscess most likely.": [("abscess", "possible", None, "now", "vet")],
    # what was thought to be found is taken back
    "I can feel something hard, no, that is only stool.": [],
    "A murmur, no wait, that was him purring.": [],
    "She's limping on the left hind, no, she's just pulling on the lead.": [],
    "Abdomen, I thought I had a mass, but no, that's faeces.": [],
    "Eyes red but no discharge.": [
        ("red", "present", None, "now", "vet"),
        ("discharge", "absent", None, "now", "vet"),
    ],
    # who tells
    "Owner: retching since midnight, pacing. Depressed.": [
        ("retching", "present", None, "now", "owner"),
        ("pacing", "present", None, "now", "owner"),
        ("depressed", "present", None, "now", "vet"),
    ],
    "No diarrhoea. On examination he is quiet.": [
        ("diarrhoea", "absent", None, "now", "owner"),
        ("quiet", "present", None, "now", "vet"),
    ],
    "Now for five days she drinks a lot.": [("drinks a lot", "present", None, "now", "owner")],
    "There's a wart on her flank, four millimetres maybe.": [("wart", "present", None, "now", "vet")],
    "Adrenal tumour until proven otherwise.": [("tumour", "possible", None, "now", "vet")],
    "A dog who's lame on the left dips his head.": [],
    "Scab on the right cheek, no pus.": [
        ("scab", "present", "right", "now", "vet"),
        ("pus", "absent", "right", "now", "vet"),
    ],
    "Eyes clear, lids swollen on both sides.": [("swollen", "present", "both", "now", "vet")],
    "Right eye red, sorry, the other eye.": [("red", "present", "left", "now", "vet")],
}
VALUES: dict[str, list[str]] = {
    "Heart rate one sixty, well, let me count again, one forty eight.": [
        "heart_rate 160 /min withdrawn",
        "heart_rate 148 /min",
    ],
    "Weight's six point two, or is it, no, six point seven.": ["weight 6.2 kg withdrawn", "weight 6.7 kg"],
    "Six point two kilos, no, my foot was on it, five point nine.": [
        "weight 6.2 kg withdrawn",
        "weight 5.9 kg",
    ],
    "Weight one point four, he's sitting on my stethoscope, one point three two, and last year one point two.": [
        "weight 1.4 kg withdrawn",
        "weight 1.32 kg",
        "weight 1.2 kg past",
    ],
    "Eighteen kilos, let me see, seventeen point six last time.": ["weight 18 kg", "weight 17.6 kg past"],
    "He's fifteen kilos, fifteen point four to be exact.": ["weight 15 kg withdrawn", "weight 15.4 kg"],
    "BCS four, no, let's be honest, five out of nine.": [
        "body_condition_score 4 withdrawn",
        "body_condition_score 5 of 9",
    ],
    "Muscle, mild loss, let me feel her back again, moderate loss.": [
        "muscle_condition_score mild loss withdrawn",
        "muscle_condition_score moderate loss",
    ],
    "Weight 1.45 kilos, two months before 1.38.": ["weight 1.45 kg", "weight 1.38 kg past"],
    "Weight 3.62 kilos, in June 4.1.": ["weight 3.62 kg", "weight 4.1 kg past"],
    "860 g, last 930 g.": ["weight 0.86 kg", "weight 0.93 kg past"],
    "Four point six kilos, she was four point one two years ago.": ["weight 4.6 kg", "weight 4.1 kg past"],
    "Weight twelve, twelve and a half at the last visit.": ["weight 12 kg", "weight 12.5 kg past"],
    "He's twenty two kilos and in January he was only nineteen.": ["weight 22 kg", "weight 19 kg past"],
    "I'd give her a four out of nine.": ["body_condition_score 4 of 9"],
    "He breathes twenty four times a minute.": ["respiratory_rate 24 /min"],
    "Lungs clear, twenty four.": ["respiratory_rate 24 /min"],
    "Temp thirty eight decimal six.": ["temperature 38.6 Cel"],
    "Gums pink, press and let go, about one second.": ["capillary_refill_time ~1 s"],
    "T.P.R. thirty eight point six, one ten, twenty four.": [
        "temperature 38.6 Cel",
        "heart_rate 110 /min",
        "respiratory_rate 24 /min",
    ],
    "B.C.S. five out of nine. C.R.T. two seconds.": [
        "body_condition_score 5 of 9",
        "capillary_refill_time 2 s",
    ],
    "Pulse is a bit fast, one hundred and forty or so.": ["heart_rate ~140 /min"],
    "Oh you're thinner than last time. Four point one, he was four point eight at Christmas.": [
        "weight 4.1 kg",
        "weight 4.8 kg past",
    ],
    "Eyes good. She's twenty eight point seven, spot on.": ["weight 28.7 kg"],
    "CRT one.": ["capillary_refill_time 1 s"],
    "Weight eight hundred and ten, he was nine fifty a month ago.": ["weight 0.81 kg", "weight 0.95 kg past"],
    "Weight ten fifty.": ["weight 10.5 kg"],
    "Skin tent's slow, I'd say six percent.": ["hydration_deficit 6 %"],
    "Brought in because she's losing hair. Weight nine hundred and forty grams.": ["weight 0.94 kg"],
    "Heart rate was one forty and now it's one ten.": ["heart_rate 140 /min past", "heart_rate 110 /min"],
    "Weight today ten point two, previous weight eleven.": ["weight 10.2 kg", "weight 11 kg past"],
    "On the last exam: heart rate 160, temperature forty. Today: heart rate 120.": [
        "heart_rate 160 /min past",
        "temperature 40 Cel past",
        "heart_rate 120 /min",
    ],
    "Temperature over forty would worry me. His was thirty eight nine.": ["temperature 38.9 Cel"],
    "Target weight eight kilos.": [],
    "We want him down to nine kilos.": [],
    "Blood pressure 142 systolic, 88 diastolic.": ["systolic_blood_pressure 142 mm[Hg]"],
    "Temp 38,5. Weight 4,2 kg.": ["temperature 38.5 Cel", "weight 4.2 kg"],
}


@pytest.mark.parametrize(("said", "expected"), FINDINGS.items())
def test_findings_are_not_turned_round(
    said: str, expected: list[tuple[str, str, str | None, str, str]]
) -> None:
    """The finding, there or not, on its side, now or before, seen or told."""
    found = [f for f in hear(said).findings if not f.superseded and f.nature == "abnormal"]
    assert len(found) == len(expected), [(f.concept, f.assertion) for f in found]
    for finding, (words, assertion, side, when, reporter) in zip(found, expected, strict=True):
        assert words in finding.evidence[0].text.lower()
        got = (finding.assertion, finding.side, finding.when, finding.reported_by)
        assert got == (assertion, side, when, reporter), finding.concept


@pytest.mark.parametrize(("said", "expected"), VALUES.items())
def test_values_of_before_and_of_aims_are_not_todays(said: str, expected: list[str]) -> None:
    """A value that was, that is aimed at or that would worry is not the patient's of today."""
    assert [in_words(m) for m in hear(said).measurements] == expected


def test_a_value_corrected_aloud_leaves_a_correction() -> None:
    """What was withdrawn is told, not only marked."""
    statements = hear("Heart rate one twenty, no, one thirty two.")
    assert [correction.about for correction in statements.corrections] == ["heart_rate"]


def test_otherwise_leads_to_the_part_named_after_it() -> None:
    """What is "otherwise normal" is the part that follows, not the one spoken of before."""
    findings = hear("Sebaceous cyst on the left shoulder, otherwise normal coat.").findings
    assert [(f.concept, f.system) for f in findings] == [("sebaceous_cyst", "skin"), ("good_coat", "skin")]


def test_what_is_looked_for_names_the_part_that_a_possessive_speaks_of() -> None:
    """ "His are fine" after an explanation speaks of the part explained, not of the part examined before it."""
    findings = hear("Right ear clean. We normally look for a swollen node here, his are fine.").findings
    assert [(f.concept, f.system) for f in findings] == [
        ("clean_ears", "ears"),
        ("normal_lymph_node", "lymph_nodes"),
    ]


def test_a_step_of_its_own_is_a_plan_item_of_its_own() -> None:
    """ "And recheck in two weeks" is no part of the treatment said before it, nor is its date."""
    plan = hear("We'll start drops twice a day for seven days, and recheck in two weeks.").plan
    assert [(item.kind, item.due_text) for item in plan] == [
        ("treatment", None),
        ("recheck", "in two weeks"),
    ]


def test_a_side_ends_at_a_part_named_in_the_plural() -> None:
    """ "Feet good" after a lame leg speaks of all of them."""
    findings = hear("Lame on the right fore. Feet good.").findings
    assert [(f.concept, f.side) for f in findings] == [("lameness", "right"), ("good_feet", None)]


@pytest.mark.parametrize(
    ("said", "sure"),
    [
        ("Heart good. Pain.", False),
        ("Ears fine. Squelchy.", False),
        ("Left hip painful.", True),
        ("Right ear waxy.", True),
    ],
)
def test_what_rests_on_little_is_shown_for_a_look(said: str, sure: bool) -> None:
    """A general word without its part, and a word of one system without a part named: wrong one time in three."""
    last = hear(said).findings[-1]
    assert (last.confidence > SURE_ENOUGH) is sure, last.concept


def test_a_grade_is_corrected_by_a_number_alone() -> None:
    findings = hear("Grade two murmur, no, I'd call that a three.").findings
    assert [(f.grade.value if f.grade else None, f.superseded) for f in findings] == [(2, True), (3, False)]


def test_a_side_after_a_comma_is_not_of_what_is_well() -> None:
    assert [f.side for f in hear("Incisors level, a slight step on the right.").findings][:1] == [None]


def test_a_grade_of_lameness_is_no_body_condition() -> None:
    assert hear("He's about a three out of five lame.").measurements == ()
    assert hear("Lame right fore, 2/5.").measurements == ()


def test_a_thing_with_its_result_is_no_plan() -> None:
    assert hear("PCV forty two. Schirmer eighteen.").plan == ()
    assert [item.kind for item in hear("PCV in two weeks.").plan] == [PlanKind.TEST]


def test_as_expected_after_something_wrong_says_nothing_of_its_own() -> None:
    wrong, *rest = hear("A bit of stertor, as you'd expect.").findings
    assert (wrong.concept, rest) == ("stertor", [])
    assert [f.nature for f in hear("Hips are as you'd expect.").findings] == ["normal"]


def test_a_value_read_in_an_unsaid_unit_is_shown_for_a_look() -> None:
    """A guinea pig's 950 and a dog's ten fifty: the record tells how they were read."""
    for said in ("Weight nine hundred and fifty.", "Weight ten fifty."):
        (value,) = hear(said).measurements
        assert value.confidence <= SURE_ENOUGH
        assert value.method is not None


def test_a_part_named_after_an_explanation_is_the_one_spoken_of() -> None:
    """ "Hers" after "then kidneys" are the kidneys, whatever was explained before."""
    findings = hear(
        "I feel down the windpipe for a bean. Then kidneys, in old cats these get lumpy, hers are smooth."
    ).findings
    assert [f.system for f in findings] == ["abdomen"]


@pytest.mark.parametrize(
    ("said", "planned"),
    [
        ("Okay, okay, I see you.", []),
        ("Let's see you, Duke.", []),
        ("I'll see you in two weeks.", ["recheck"]),
        ("See you again soon.", ["recheck"]),
        ("Plan. Bloods, no treats, rest.", ["test", "diet", "treatment"]),
    ],
)
def test_a_greeting_is_no_appointment(said: str, planned: list[str]) -> None:
    """ "See you" is one with a time, or with a word of coming back."""
    assert [item.kind for item in hear(said).plan] == planned


def test_a_day_corrected_aloud_in_a_list_is_the_day_of_the_step() -> None:
    plan = hear("The plan. Rest, and recheck on the fourteenth, no, make that the twenty first.").plan
    standing = [item for item in plan if not item.superseded]
    assert [" ".join(piece.text for piece in item.evidence) for item in standing] == [
        "Rest",
        "recheck on the twenty first",
    ]


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("His bottom is clean and dry.", ["clean_perineum", "clean_perineum"]),
        ("He's dull but responsive.", ["dull", "responsive"]),
        ("He's moving well on all four legs.", ["normal_gait"]),
        ("Neck moving well.", ["free_neck"]),
    ],
)
def test_what_is_well_is_named_after_what_was_said(said: str, found: list[str]) -> None:
    assert [finding.concept for finding in hear(said).findings] == found


def test_a_wart_moved_to_another_place_stays_one_of_the_skin() -> None:
    findings = hear("There's a small wart on the right, correction, the left elbow.").findings
    assert [(f.system, f.side, f.superseded) for f in findings] == [
        ("skin", "right", True),
        ("skin", "left", False),
    ]


@pytest.mark.parametrize(
    ("said", "mm"),
    [
        ("a quarter of an inch", 6.35),
        ("three quarters of an inch", 19.05),
        ("half an inch", 12.7),
        ("an inch", 25.4),
    ],
)
def test_a_part_of_an_inch_is_no_inch(said: str, mm: float) -> None:
    """One inch is 25.4 mm (international agreement of 1959, read in UCUM essence 2.2)."""
    assert [f.size_mm for f in hear(f"A skin tag on the shoulder, maybe {said}.").findings] == [
        pytest.approx(mm, abs=0.06)
    ]
