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
    Torn [dewclaw|right @skin], right. Hips [fine|@musculoskeletal].
    Right hind: stifle [effusion|right], positive [drawer|right].
    R ear [waxy|right @ears], L ear [clean|left @ears].
    Corneal [ulcer|right @eyes] OD, OS [normal|left @eyes].
    The left ear has [debris|left @ears] and the right's [clean|right @ears]. No [mites|absent @ears].
    Nails [unremarkable|@skin] bar a torn [dewclaw|right @skin], right fore.
    Skin [pink|@skin], not [sore|absent @skin], couple of [fleas|@skin] on her.
"""

SPOKEN_SIDES = """
    Okay right ear [clean|right @ears], left ear a bit [waxy|left mild @ears].
    [Sore|right @musculoskeletal] on the right back leg.
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


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("One oh eight is fractured.", [("fractured_tooth", "fourth_premolar", "right", "tooth 108")]),
        ("Tooth 204 is loose.", [("loose_tooth", "canine_tooth", "left", "tooth 204")]),
        (
            "There's a root abscess at two oh eight.",
            [("tooth_root_abscess", "fourth_premolar", "left", "tooth 208")],
        ),
        ("Slab fracture of 409.", [("fractured_tooth", "first_molar", "right", "tooth 409")]),
        (
            "Missing 105 and 305.",
            [
                ("missing_tooth", "first_premolar", "right", "tooth 105"),
                ("missing_tooth", "first_premolar", "left", "tooth 305"),
            ],
        ),
        ("Retained 504.", [("retained_deciduous_tooth", "deciduous_tooth", "right", "tooth 504")]),
    ],
)
@pytest.mark.parametrize("punctuation", [True, False])
def test_a_tooth_is_known_by_its_number(
    said: str, expected: list[tuple[str, str, str, str]], punctuation: bool
) -> None:
    """Quadrants and positions are those of the modified Triadan system.

    Read in WikiVet, "Modified Triadan System": 304 is the left lower canine, 409 the right lower first molar, 108 and 208 the
    last upper premolars, 5 to 8 the deciduous quadrants.
    """
    findings = hear(said if punctuation else unpunctuated(said)).findings
    assert [(f.concept, f.structure, f.side, f.modifiers[0]) for f in findings] == expected


def test_a_number_away_from_teeth_is_no_tooth() -> None:
    """A heart rate is one, whatever stands before it."""
    heard = hear("Gums pink. Heart rate 108, no murmur. Glucose 104.")
    assert not any(word.startswith("tooth") for f in heard.findings for word in f.modifiers)


MORE = """
    The left ear has a bit of brown [wax|left mild @ears], and the [same|right mild @ears] on the other side.
    [Tartar|both] on the upper premolars both sides, worse on the left.
    Both hocks [swollen|both], left more than right.
    Heavy [tartar|marked], and a four millimetre [mass|size=4 @mouth] on the gum.
    A skin [tag|size=4], about four millimetres, and a [scab|present] beside it.
    [Mass|left size=10] on the left flank. It's about a centimetre and quite firm.
    A [lump|size=25.4] about an inch across.
    Patella [luxation|left grade=2/4;right grade=3/4], grade two out of four on the left and three out of four on the right.
    [Pododermatitis|left grade=2/5] grade two of five on the left.
"""


@pytest.mark.parametrize("marked", _lines(MORE))
def test_what_is_added_later_goes_to_its_finding(marked: str) -> None:
    """Sizes, grades and comparisons belong to one finding; they are none of their own."""
    wrong = disagreements(marked)
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("He's been coughing for about three weeks.", ("for about three weeks",)),
        ("There are three small warts on the head.", ("three",)),
        ("Grade two gingivitis.", ()),
        ("A lump on the elbow, firm, round, freely mobile.", ("firm", "round", "freely mobile")),
        ("Grade three murmur, loudest at the left base, systolic.", ("left base", "systolic")),
        ("Nodule. It's hairless.", ("hairless",)),
    ],
)
def test_qualities_numbers_and_durations_are_kept_as_said(said: str, kept: tuple[str, ...]) -> None:
    """What has no field of its own stays with the finding in the words that were said."""
    assert hear(said).findings[0].modifiers == kept


def test_joints_named_with_their_verdict_take_the_place_of_the_part_before() -> None:
    dictation = (
        "[Fatty lump|left @skin] over the left ribs. Joints [move freely|@musculoskeletal], no"
        " [heat|absent @musculoskeletal], [swelling|absent @musculoskeletal] or [crepitus|absent @musculoskeletal]."
    )
    assert disagreements(dictation) == []
