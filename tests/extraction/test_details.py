"""What a finding is of, how much of it, how large and where. Clinical meaning: common practice, no source."""

from __future__ import annotations

import pytest
from said import hear

from pipeline.extraction.model import Finding


def in_short(finding: Finding) -> str:
    """Write a finding as one line: "lump: left elbow, mild, 5 mm", with what is not said left out."""
    parts = [finding.side or "", finding.structure or ""]
    details = [" ".join(part for part in parts if part), finding.severity or ""]
    if finding.grade is not None:
        details.append(f"{finding.grade.value:g}/{finding.grade.out_of or 0:g}")
    if finding.size_mm is not None:
        details.append(f"{finding.size_mm:g} mm")
    if finding.assertion != "present":
        details.append(finding.assertion)
    return f"{finding.concept}: {', '.join(detail for detail in details if detail)}"


SAID: dict[str, list[str]] = {
    # a value's name names the part of what is judged beside it
    "Heart's fast at one sixty.": ["tachycardia: heart_rate"],
    "Heart rate is elevated at one eighty.": ["tachycardia: heart_rate"],
    "Pulse is weak and fast at two hundred.": ["weak_pulse: pulse", "tachycardia: pulse"],
    "Cap refill is sluggish at three seconds.": ["prolonged_refill: capillary_refill"],
    # a word of size is no finding of its own
    "Mouth, big ulcer on the tongue.": ["tongue_ulcer: tongue"],
    "Umbilical hernia, tiny, reducible.": ["umbilical_hernia: umbilicus, trace"],
    # a grade, a size and a place may come later
    "On the trot there's a head nod, left fore, about two out of five.": ["head_nod: left gait, 2/5"],
    "There's a lump here. Yes, about half a centimetre, just behind the left elbow.": [
        "mass: left elbow, 5 mm"
    ],
    "There's a small lump. It's on the right flank and it's two centimetres.": ["mass: right flank, 20 mm"],
    "There's a lump. Ears are clean.": ["mass: ", "clean_ears: ear"],
    # what an organ is empty of
    "Bladder's empty.": ["small_bladder: bladder"],
    "Colon's empty.": ["empty_bowel: colon"],
    "Stomach's empty.": ["empty_stomach: stomach"],
    "Anal sacs, both empty.": ["anal_sac_empty: both anal_sac"],
    # which of several
    "There's a gallop rhythm and a grade two murmur.": [
        "gallop_sound: heart_sound",
        "heart_murmur: heart, 2/0",
    ],
    "He's got a wart on his left eyelid and a small lump on his chest.": [
        "eyelid_wart: left eyelid",
        "skin_mass: skin",
    ],
    "He's got a lump on his right shoulder, and another on the left thigh, about a centimetre.": [
        "skin_mass: right shoulder",
        "skin_mass: left thigh, 10 mm",
    ],
    "A few lumps, one here on the left ribs about three centimetres.": [
        "mass: ",
        "mass: left rib, 30 mm",
    ],
    "Lump on the flank, one on the belly.": ["mass: flank", "mass: ventral_skin"],
    "Ears, right one's a bit red and waxy.": ["ear_redness: right ear, mild", "ear_wax: right ear"],
    "Dewclaw on the right front has split.": ["broken_claw: right dewclaw"],
    # doubt
    "I'm thinking Cushing's.": ["cushings: general_condition, possible"],
    "My main concern is diabetes.": ["diabetes_mellitus: general_condition, possible"],
    "Pads are cracked.": ["cracked_pads: paw_pad"],
}


@pytest.mark.parametrize(("said", "expected"), SAID.items())
def test_what_is_said_of_a_finding_goes_to_it(said: str, expected: list[str]) -> None:
    assert [in_short(finding) for finding in hear(said).findings] == expected


def test_what_was_done_to_a_part_is_seen_and_not_told() -> None:
    """ "Has been" opens what owners tell, but a broken tooth is under the vet's eyes."""
    assert [f.reported_by for f in hear("Lower left canine's been broken.").findings] == ["vet"]
    assert [f.reported_by for f in hear("He's been vomiting.").findings] == ["owner"]


# Text as a recogniser writes it without marks → findings by system, in order.
ALTERNATING: dict[str, list[str]] = {
    "lymph nodes normal heart sounds normal no murmur": [
        "normal_lymph_node",
        "normal_heart_sound",
        "heart_murmur",
    ],
    "jaw line smooth gums pink eyes bright": ["normal_jaw", "pink_mucous_membranes", "clear_bright_eyes"],
    "nodes not enlarged heart regular": ["lymphadenopathy", "regular_rhythm"],
    "retinas look flat ears clean nose clear gums pink": [
        "normal_fundus",
        "clean_ears",
        "clean_nose",
        "pink_mucous_membranes",
    ],
    "ears clean normal heart sounds clear lungs": ["clean_ears", "normal_heart_sound", "clear_lungs"],
    "he has lovely clean ears bright eyes pink gums": [
        "clean_ears",
        "clear_bright_eyes",
        "pink_mucous_membranes",
    ],
}


@pytest.mark.parametrize(("said", "concepts"), ALTERNATING.items())
def test_where_parts_and_adjectives_take_turns_each_part_has_its_own(said: str, concepts: list[str]) -> None:
    assert [finding.concept for finding in hear(said).findings] == concepts


def test_one_side_and_the_other_are_both() -> None:
    sides = [f.side for f in hear("Baby canines retained on the upper left and upper right.").findings]
    assert sides == ["both"]
    graded = hear("Patellas luxate grade two on the left and grade three on the right.").findings
    assert [f.side for f in graded] == ["left", "right"]


CARRIED: dict[str, list[str]] = {
    # the side that stands with a verdict goes on to what is said next of that part
    "Carpi: right swollen, no heat.": ["joint_swelling right", "joint_heat right"],
    "Pupils small, both, responsive.": ["miosis both", "normal_plr both"],
    # what is said on of a wound is where the wound is
    "A graze on the left elbow, healing.": ["skin_wound left", "wound_healed left"],
    # left set off by marks, and right set off in the same way
    "Molars. Left, good. Right, a small spur low down.": ["cheek_tooth_spurs right"],
    # the others, the whole animal, another part of the head, and what is alike on either side have none
    "The left axillary node is up, the rest are normal.": ["lymphadenopathy left", "normal_lymph_node -"],
    "The left hock is swollen. Moves freely.": ["joint_swelling left", "normal_gait -"],
    "Loose lower right premolar. Jaw smooth.": ["loose_tooth right", "normal_jaw -"],
    "Cheek teeth: left rows even, right rows even, no spurs.": [
        "symmetrical left",
        "symmetrical right",
        "cheek_tooth_spurs -",
    ],
    "Both eyes cloudy, no discharge.": ["cloudy_eye both", "ocular_discharge -"],
    # words that are no side
    "Right as rain in herself.": ["well_in_self -"],
    "A swelling either side of the hock.": ["joint_swelling -"],
}


@pytest.mark.parametrize(("said", "expected"), CARRIED.items())
def test_a_side_goes_on_to_what_is_said_of_the_same_place(said: str, expected: list[str]) -> None:
    assert [f"{finding.concept} {finding.side or '-'}" for finding in hear(said).findings] == expected


def test_a_score_beside_a_part_of_the_body_is_no_body_condition() -> None:
    said = "Left fore, head bobbing at walk, I'd call it three out of five."
    assert hear(said).measurements == ()


def test_what_is_not_there_leads_to_no_other_part() -> None:
    """ "Painful" after "not obstructed" is still said of the bladder."""
    findings = hear("Bladder's small, not obstructed, a bit painful.").findings
    assert findings[-1].structure == "bladder"
