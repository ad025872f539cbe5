"""Misheard words become trade words, what was heard stays, and nothing else is touched."""

from __future__ import annotations

import pydoc_data.topics
import re

import pytest

from pipeline.extraction import extract, repair, systems_in_view
from pipeline.extraction.heard_text import REPAIRED_PROBABILITY
from pipeline.extraction.likeness import sound_key
from pipeline.extraction.model import SURE_ENOUGH
from pipeline.speech import Transcript, Utterance, Word


def heard(text: str, probability: float = 0.9) -> Transcript:
    """A transcript as recognition gives it, half a second for each word."""
    words = [
        Word(
            text=match.group(),
            start_char=match.start(),
            end_char=match.end(),
            start_s=number / 2,
            end_s=number / 2 + 0.4,
            probability=probability,
        )
        for number, match in enumerate(re.finditer(r"\S+", text))
    ]
    whole = Utterance(start_char=0, end_char=len(text), start_s=0, end_s=words[-1].end_s, words=tuple(words))
    return Transcript(text=text, utterances=(whole,), model="base", duration_s=len(words) / 2)


# Written by the models base and tiny.en over spoken samples of ours.
@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ("Mild jingavitis on both sides.", "Mild gingivitis on both sides."),
        ("No carnacials missing.", "No carnassials missing."),
        ("There is malaclusion of the cheek teeth.", "There is malocclusion of the cheek teeth."),
        ("No tileism.", "No ptyalism."),
        ("The poplital nodes are small.", "The popliteal nodes are small."),
        ("No nistagmas, mild otaxia.", "No nystagmus, mild ataxia."),
        ("There is pato de matitis on the left.", "There is pododermatitis on the left."),
        ("Skin tint is prolonged.", "Skin tent is prolonged."),
        ("No crepitus in either hawk.", "No crepitus in either hock."),
        ("Otitis external on the left.", "Otitis externa on the left."),
    ],
)
def test_what_was_misheard_is_repaired(wrong: str, right: str) -> None:
    assert repair(heard(wrong)).text == right


def test_what_was_heard_stays_on_the_word_and_offsets_fit() -> None:
    """Every word lies where it says, a repaired one keeps time and words, and its probability tells the doubt."""
    repaired = repair(heard("Small lapoma, and pato de matitis here."))
    assert repaired.text == "Small lipoma, and pododermatitis here."
    assert [word.heard for word in repaired.words] == [None, "lapoma,", None, "pato de matitis", None]
    for word in repaired.words:
        assert repaired.text[word.start_char : word.end_char] == word.text
        assert (word.probability <= REPAIRED_PROBABILITY) is (word.heard is not None)
    assert (repaired.words[3].start_s, repaired.words[3].end_s) == (1.5, 2.9)
    assert repaired.utterances[0].end_char == len(repaired.text)


def test_a_fact_read_from_a_repaired_word_is_shown_for_a_person_to_check() -> None:
    (finding,) = extract(repair(heard("There is moderate jingavitis."))).findings
    assert (finding.concept, finding.severity) == ("gingivitis", "moderate")
    assert finding.confidence <= SURE_ENOUGH
    assert finding.evidence[0].text == "gingivitis"
    assert finding.evidence[0].heard == "jingavitis."


@pytest.mark.parametrize(
    "text",
    [
        "Weight 12.4 kilos, temperature thirty eight six.",
        "Left ear clean, right ear clean, no wax.",
        "Ottoline Pelham is here with Oduya.",
        "She was walking on the beach with her brother and lost a shoe.",
        "There is nomyxomatosis.",  # a denial may be in it
        "Gingivitis, popliteal nodes, no crepitus.",
    ],
)
def test_numbers_sides_denials_names_and_known_words_stay(text: str) -> None:
    assert repair(heard(text)) == heard(text)


def test_typed_text_is_never_changed() -> None:
    typed = Transcript.from_text("Mild jingavitis.")
    assert repair(typed) is typed


def test_an_unsure_english_word_is_repaired_only_where_its_system_is_in_view() -> None:
    """ "Diffusion", hardly heard: effusion at the stifle, and itself in talk about paint."""
    text = "The left stifle has a mild diffusion."
    assert repair(heard(text, 0.4)).text == "The left stifle has a mild effusion."
    assert repair(heard(text, 0.9)).text == text
    assert repair(heard("We spoke about the diffusion of paint.", 0.4)).text.endswith("diffusion of paint.")


def test_at_most_one_false_repair_in_a_thousand_ordinary_words() -> None:
    """Source: the language reference of Python as the interpreter ships it (pydoc_data.topics; PSF licence).

    Its prose is a hard case: it is full of words that no dictionary has.
    """
    paragraphs = [
        " ".join(paragraph.split())
        for topic in pydoc_data.topics.topics.values()
        for paragraph in topic.split("\n\n")
        if paragraph.strip() and not paragraph.startswith("   ") and "::=" not in paragraph
    ]
    prose = re.sub(r"[^A-Za-z0-9.,;:?! '\n-]+", " ", "\n".join(paragraphs)).split()[:12_000]
    repaired = repair(heard(" ".join(prose)))
    assert sum(word.heard is not None for word in repaired.words) <= len(prose) / 1000


def test_words_that_sound_alike_have_one_key() -> None:
    for one, other in (
        ("ptyalism", "tialism"),
        ("malocclusion", "malaclusion"),
        ("diarrhoea", "diarrhea"),
        ("auscultation", "oskultation"),
    ):
        assert sound_key(one) == sound_key(other)
    assert sound_key("12.4") == ""


def test_systems_in_view_come_last_named_first() -> None:
    assert systems_in_view("Nose clean. Ears clean, no wax. Heart sounds normal.")[:3] == (
        "cardiovascular",
        "ears",
        "nose",
    )
    assert systems_in_view("Hello, how are you?") == ()
