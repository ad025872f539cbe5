"""What an annotated finding shows of the ways of spoken exams, told from its words and those around it."""

from __future__ import annotations

import re

import pytest

from pipeline.evaluation.phenomena import Stated, is_punctuated, phenomena


def shown(marked: str) -> list[frozenset[str]]:
    """Name the phenomena of the marked words of a text: "no [heat|absent]", "[sore|left]", "[lame|past]"."""
    text, facts = "", []
    for part in re.split(r"(\[[^\]]+\])", marked):
        if not part.startswith("["):
            text += part
            continue
        words, *values = part[1:-1].split("|")
        assertion = next((v for v in values if v in ("absent", "possible")), "present")
        facts.append(
            Stated(
                len(text),
                len(text) + len(words),
                assertion=assertion,
                side=next((v for v in values if v in ("left", "right", "both")), None),
                told_by_owner="owner" in values,
                past="past" in values,
                withdrawn="withdrawn" in values,
            )
        )
        text += words
    return phenomena(text, facts)


@pytest.mark.parametrize(
    ("marked", "names"),
    [
        ("No [fleas|absent], [ticks|absent] or [scabs|absent].", {"denied in a list"}),
        ("No [pain|absent], but the spleen is [big].", {"after an ended denial"}),
        ("No [discharge|absent], slight [redness].", {"right after a denial"}),
        ("no [crackles|absent] tummy [soft]", {"right after a denial"}),
        ("[Fleas|absent] not seen.", {"denied afterwards"}),
        ("The [squint|absent] has gone.", {"denied afterwards"}),
        ("I can't rule out a [mass|possible].", {"seeming denial", "uncertain"}),
        ("She was [lame|past] last week.", {"past"}),
        ("She says he's [coughing|owner].", {"told by the owner"}),
        ("There's a [lump|withdrawn], no, there isn't.", {"withdrawn"}),
        ("The left ear is [red|left].", {"side said"}),
        ("Left ear. It's [red|left], and it smells.", {"side carried over"}),
    ],
)
def test_the_last_marked_words_show(marked: str, names: set[str]) -> None:
    """Each phenomenon by the words that make it."""
    assert names <= shown(marked)[-1]


@pytest.mark.parametrize(
    "marked",
    [
        "No [murmur|absent]. [Pink] gums.",
        "No [murmur|absent], no [gallop|absent].",
        "Lungs [clear], belly [soft].",
    ],
)
def test_a_new_sentence_or_a_denial_of_its_own_is_no_scope(marked: str) -> None:
    """What a denial cannot reach, or need not, shows nothing of it."""
    scope = {"denied in a list", "after an ended denial", "right after a denial", "denied afterwards"}
    assert not shown(marked)[-1] & scope


def test_recogniser_text_is_known_by_its_missing_marks() -> None:
    """A mark after every few words is typing; a long run without one is not."""
    assert is_punctuated("Ears clean, no wax. Eyes bright.")
    assert not is_punctuated(
        "right so ears are clean no wax um eyes are bright nose is dry temp 38.6 " * 3 + "."
    )
