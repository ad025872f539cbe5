"""What is listened for a second time, and what of the second hearing is taken."""

from __future__ import annotations

import re

import pytest

from pipeline.extraction import repair, settled, suspected
from pipeline.extraction.heard_text import REPAIRED_PROBABILITY
from pipeline.speech import Transcript, Utterance, Word


def heard(text: str, unsure: str = "") -> Transcript:
    """A transcript as recognition gives it; the words of `unsure` have low probabilities."""
    words = [
        Word(
            text=match.group(),
            start_char=match.start(),
            end_char=match.end(),
            start_s=number / 2,
            end_s=number / 2 + 0.4,
            probability=0.3 if match.group().strip(".,") in unsure.split() else 0.9,
        )
        for number, match in enumerate(re.finditer(r"\S+", text))
    ]
    whole = Utterance(start_char=0, end_char=len(text), start_s=0, end_s=words[-1].end_s, words=tuple(words))
    return Transcript(text=text, utterances=(whole,), model="base", duration_s=len(words) / 2)


# Written by base over spoken dictations of ours, with what was said.
@pytest.mark.parametrize(
    ("first", "unsure", "wanted"),
    [
        ("No uvities, no cataract.", "", "uveitis"),
        ("There is brown serumen in the left one.", "", "cerumen"),
        ("Cytology of the pastures today.", "pastures", "pustules"),
        ("No dachryosostitis.", "", "dacryocystitis"),
        ("No hepatone glee, spleen smooth.", "glee", "hepatomegaly"),
    ],
)
def test_a_doubtful_word_is_listened_for(first: str, unsure: str, wanted: str) -> None:
    assert wanted in suspected(heard(first, unsure))


@pytest.mark.parametrize(
    "text",
    [
        "Weight 12.4 kilos, temperature thirty eight six.",
        "She was walking on the beach with her brother and lost a shoe.",
        "Gingivitis, popliteal nodes, no crepitus.",
        "",
    ],
)
def test_nothing_is_listened_for_where_nothing_is_doubtful(text: str) -> None:
    assert suspected(heard(text) if text else Transcript(text="")) == ()


@pytest.mark.parametrize(
    ("first", "second", "unsure", "kept"),
    [
        ("No uvities, no cataract.", "no uveitis no cataract", "", "No uveitis, no cataract."),
        (
            "No hepatone glee, spleen fine.",
            "No hepatomegaly. Spleen fine.",
            "glee",
            "No hepatomegaly, spleen fine.",
        ),
        # Numbers, sides, denials and what was heard with certainty stay, whatever the second hearing makes of them.
        ("Left uvities, 12 mites.", "right uveitis, 20 mites", "", "Left uveitis, 12 mites."),
        ("No nistagmas, no ataxia.", "known as nystagmus, no ataxia", "", "No nistagmas, no ataxia."),
        ("The pastures are green.", "The pustules are green.", "", "The pastures are green."),
        # And what is too far from what was heard.
        ("The left one is brixly.", "The left one is gingivitis.", "", "The left one is brixly."),
    ],
)
def test_only_trade_words_in_the_place_of_doubtful_ones_are_taken(
    first: str, second: str, unsure: str, kept: str
) -> None:
    assert settled(heard(first, unsure), second).text == kept


def test_what_was_heard_first_stays_on_the_word_and_is_not_repaired_again() -> None:
    """Offsets fit; the probability asks a person to look; repair leaves the word as the sound settled it."""
    taken = settled(heard("Some uvities, and mild jingavitis here."), "some uveitis and mild jingavitis here")
    repaired = repair(taken)
    assert repaired.text == "Some uveitis, and mild gingivitis here."
    assert [word.heard for word in repaired.words] == [None, "uvities,", None, None, "jingavitis", None]
    for word in repaired.words:
        assert repaired.text[word.start_char : word.end_char] == word.text
        assert (word.probability <= REPAIRED_PROBABILITY) is (word.heard is not None)


def test_what_was_said_before_tells_which_system_is_in_view() -> None:
    """An unsure English word becomes a trade word only in the system that was named, here before the utterance."""
    said = heard("And three pestles here.", "pestles")
    assert repair(said).text == said.text
    assert repair(said, "The skin is red and scaly.").text == "And three pustules here."
