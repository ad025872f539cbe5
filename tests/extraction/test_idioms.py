"""Idioms of vets and owners that name a finding without its clinical word: common practice, no source."""

from __future__ import annotations

import pytest
from said import hear

# Sentence → the concept that it tells of as present.
IDIOMS = {
    "Owner says he's in flying form.": "well_in_self",
    "She's eating like a horse.": "good_appetite",
    "He's leaving half.": "inappetence",
    "She's draining the bowl.": "polydipsia",
    "He is howling at night.": "vocalisation",
    "The puppy sleeps through.": "sleeping_well",
    "Weight 12.1 kilos, so it's crept up.": "weight_gain",
    "He was throwing up on Sunday.": "vomiting",
    "Lungs clear but there's referred noise.": "referred_upper_airway_noise",
    "He breathes quietly.": "normal_breathing",
    "Pupils match.": "symmetrical_pupils",
    "Third eyelids tucked away.": "normal_eyelids",
    "His bite is scissor.": "normal_bite",
    "He's slow getting up.": "difficulty_rising",
    "She won't jump up.": "reluctance_to_jump",
    "The cat is dropped in the hocks.": "plantigrade",
    "He's dragging his toes.": "leg_dragging",
    "The rabbit is hopping well.": "normal_gait",
    "He withdraws briskly.": "normal_reflexes",
    "He is in and out of the tray.": "dysuria",
    "She's been peeing on the rug.": "inappropriate_urination",
    "Testes, both in the scrotum.": "testicles_descended",
    "One dewclaw is curling into the pad.": "ingrown_claw",
    "She's nibbling her feet.": "paw_licking",
    "The extraction sites have healed.": "recent_dental",
    "His left node is up a bit.": "lymphadenopathy",
}


@pytest.mark.parametrize(("sentence", "concept"), IDIOMS.items())
def test_an_idiom_tells_its_finding(sentence: str, concept: str) -> None:
    """What is said in the words of the trade or of the house is the same finding as in clinical words."""
    findings = hear(sentence).findings
    assert (concept, "present") in [(finding.concept, finding.assertion) for finding in findings]


@pytest.mark.parametrize(
    ("sentence", "concept"),
    [
        ("It's windy out there.", "flatulence"),
        ("The fontanelle has closed.", "wound_healed"),
        ("Canines, both in place.", "testicles_descended"),
    ],
)
def test_the_same_words_elsewhere_are_none(sentence: str, concept: str) -> None:
    """A word that means it only of one part must not mean it of the weather or of another part."""
    assert concept not in {finding.concept for finding in hear(sentence).findings}
