"""What doubtful words may have been, and what is put in when the sound was asked."""

from __future__ import annotations

import re

import pytest

from pipeline.extraction import Doubts, repair
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
            probability=0.3 if match.group().strip(".,") in unsure.split() else 0.95,
        )
        for number, match in enumerate(re.finditer(r"\S+", text))
    ]
    whole = Utterance(start_char=0, end_char=len(text), start_s=0, end_s=words[-1].end_s, words=tuple(words))
    return Transcript(text=text, utterances=(whole,), model="base", duration_s=len(words) / 2)


def weights(doubts: Doubts, **odds: float) -> list[float]:
    """Weights as the recogniser gives them: each reading as likely as its trade word is here, others hardly."""
    return [
        -50.0,
        *(
            -50.0 + next((odds[term] for term in odds if term in text.lower()), -20.0)
            for text in doubts.texts[1:]
        ),
    ]


# Written by base over spoken dictations of ours, with what was said.
@pytest.mark.parametrize(
    ("first", "unsure", "read"),
    [
        ("No uvities, no cataract.", "", "No uveitis, no cataract."),
        ("There is brown serumen in the left one.", "", "There is brown cerumen in the left one."),
        ("The skin, cytology of the pestles today.", "pestles", "The skin, cytology of the pustules today."),
        ("No dachryosostitis.", "", "No dacryocystitis."),
        ("No hepatone glee, spleen smooth.", "glee", "No hepatomegaly, spleen smooth."),
        # A comma stands inside where both parts are no words.
        ("No dachryosis, stitis, ears clean.", "", "No dacryocystitis, ears clean."),
    ],
)
def test_a_doubtful_word_has_other_readings(first: str, unsure: str, read: str) -> None:
    """The text as heard comes first; the trade words in mind are those of the readings."""
    doubts = Doubts(heard(first, unsure))
    assert doubts.texts[0] == first
    assert read in doubts.texts
    assert all(any(term in text for term in doubts.terms) for text in doubts.texts[1:])


@pytest.mark.parametrize(
    "text",
    [
        "Weight 12.4 kilos, temperature thirty eight six.",
        "She was walking on the beach with her brother and lost a shoe.",
        "Gingivitis, popliteal nodes, no crepitus.",
        "The pastures are green.",
        # Heard so in a dictation: names and lone letters begin no word.
        "Right, that Duke is fine.",
        "It is o dear.",
        "",
    ],
)
def test_nothing_is_weighed_where_nothing_is_doubtful(text: str) -> None:
    doubts = Doubts(heard(text) if text else Transcript(text=""))
    assert doubts.texts == ()
    assert doubts.mended([]).text == text


def test_the_sound_decides_between_words_that_are_alike() -> None:
    """The nearer in letters does not win against the one that fits the sound; what fits in no way leaves what was heard."""
    doubts = Doubts(heard("Reflex normal, no otitisia here."))
    assert doubts.mended(weights(doubts, otitis=4.0)).text == "Reflex normal, no otitis here."
    assert doubts.mended(weights(doubts, iritis=15.0, otitis=2.0)).text == "Reflex normal, no iritis here."
    assert doubts.mended(weights(doubts)).text == "Reflex normal, no otitisia here."


def test_without_weights_likeness_alone_decides() -> None:
    """As when there is no time, live."""
    said = heard("Some uvities, and mild jingavitis here.")
    assert Doubts(said).mended() == repair(said)
    assert repair(said).text == "Some uveitis, and mild gingivitis here."


def test_numbers_sides_and_denials_are_never_inside_a_reading() -> None:
    doubts = Doubts(heard("Left uvities, no nistagmas, 12 mites."))
    assert doubts.texts
    for text in doubts.texts:
        assert text.startswith("Left ")
        assert ", no " in text
        assert text.endswith(" 12 mites.")


def test_what_was_heard_stays_on_the_word() -> None:
    """Offsets fit; the probability asks a person to look."""
    doubts = Doubts(heard("Some uvities, and mild jingavitis here."))
    mended = doubts.mended(weights(doubts, uveitis=3.0, gingivitis=3.0))
    assert mended.text == "Some uveitis, and mild gingivitis here."
    assert [word.heard for word in mended.words] == [None, "uvities,", None, None, "jingavitis", None]
    for word in mended.words:
        assert mended.text[word.start_char : word.end_char] == word.text
        assert (word.probability <= REPAIRED_PROBABILITY) is (word.heard is not None)


def test_what_was_said_before_tells_which_system_is_in_view() -> None:
    """An unsure English word may be a trade word only of the system that was named, here before the utterance."""
    said = heard("And three pestles here.", "pestles")
    assert "pustules" not in Doubts(said).terms
    assert repair(said).text == said.text
    assert "pustules" in Doubts(said, "The skin is red and scaly.").terms
    assert repair(said, "The skin is red and scaly.").text == "And three pustules here."
