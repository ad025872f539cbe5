"""Where a finding is: part, system and side, said or carried over. Our sentences; common practice, no source."""

from __future__ import annotations

import pytest
from marked import disagreements
from said import hear, unpunctuated

SIDES = """
    Ears [clean|@ears], slight [crusting|left mild @ears] on the left one.
    Left eye a bit [weepy|left mild]. Cornea [clear|left]. Pupils [equal|@eyes].
    Left ear [red|left @ears]. Drum [intact|left @ears].
    Knees, the left [luxates|left @musculoskeletal], the right's [sound|right @musculoskeletal].
    The pad of the right hind is [swollen|right @skin].
    A [lump|left @skin] under the skin of the left thigh.
    There's a cruciate [problem|right @musculoskeletal] in the right stifle.
    He's off-[loading|left] the left front. Elbow, [good range|left], not [painful|absent left].
    Heart and lungs both [normal|@cardiovascular;@respiratory].
    No [murmur|absent] and no [lumps|absent] either.
    Last week he was [sneezing|past @nose] and had [gunk|past both @eyes] in both eyes.
    Skin [good|@skin] other than a [scab|left @skin] over the left shoulder.
"""

SPOKEN_SIDES = """
    Right ear [clean|right @ears], left ear [red|left @ears], and he's [purring|@general].
    A [murmur|left] on the left, and he's [purring|@general].
    Left lower canine [loose|left @mouth], tongue has an [ulcer|left @mouth] on that side.
"""

SYSTEMS = """
    Eyes [normal|@eyes] ears [clean|@ears] nose [fine|@nose] nodes [normal|@lymph_nodes] chest [clear|@respiratory].
    [Opacity|left @eyes] in the left eye ?[cataract|possible left @eyes].
    Left hock has a [bald patch|left @skin], not [sore|absent left @skin].
    Gums [pink|@mouth], eyes [bright|@eyes]. It was [swollen|past @eyes] last time.
    Joints [move freely|@musculoskeletal], no [heat|absent @musculoskeletal] or [swelling|absent @musculoskeletal].
"""


def _lines(block: str) -> list[str]:
    return [line.strip() for line in block.strip().splitlines()]


@pytest.mark.parametrize("marked", _lines(SIDES) + _lines(SPOKEN_SIDES) + _lines(SYSTEMS))
def test_a_finding_gets_the_side_and_system_meant(marked: str) -> None:
    """Every finding stands on the side and in the system marked."""
    wrong = disagreements(marked)
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("marked", _lines(SPOKEN_SIDES))
def test_sides_are_told_without_punctuation(marked: str) -> None:
    """The same without marks and capitals."""
    wrong = disagreements(marked, punctuation=False)
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("said", "structures"),
    [
        (
            "Submandibular and prescapular lymph nodes normal.",
            ["submandibular_lymph_node", "prescapular_lymph_node"],
        ),
        (
            "Submandibular prescapular and popliteal nodes all normal.",
            ["submandibular_lymph_node", "prescapular_lymph_node", "popliteal_lymph_node"],
        ),
        ("Ears eyes nose all clean.", ["ear", "eye", "nose"]),
        ("Pad of the right hind, there's a cut.", ["paw_pad"]),
        ("A lump on the pad of the right hind.", ["paw_pad"]),
        ("Left hind leg stifle swollen.", ["stifle"]),
        ("Liver, spleen and kidneys normal.", ["liver", "spleen", "kidney"]),
    ],
)
@pytest.mark.parametrize("punctuation", [True, False])
def test_a_verdict_is_said_of_every_part_in_the_list(
    said: str, structures: list[str], punctuation: bool
) -> None:
    """A list of parts shares its verdict; a part named more closely is one part."""
    findings = hear(said if punctuation else unpunctuated(said)).findings
    assert [finding.structure for finding in findings] == structures
