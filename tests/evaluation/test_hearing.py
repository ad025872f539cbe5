"""Texts are compared in one spelling, and word errors are those of jiwer."""

from __future__ import annotations

import jiwer
import pytest

from pipeline.evaluation import WordScore, plain_words, trade_words_of
from pipeline.speech import Transcript, Utterance, Word


@pytest.mark.parametrize(
    ("spoken", "written"),
    [
        ("Temp, a hundred and one point two.", "temp 101.2"),
        ("thirty eight point six degrees", "38.6 degrees"),
        ("Twelve point four kilos", "12.4 kg"),
        ("heart rate one twelve", "Heart rate 112"),
        ("he's seven percent dehydrated", "He is 7% dehydrated."),
        ("It isn't, um, oedematous", "it is not edematous"),
        ("two by three centimetres", "2 by 3 cm"),
        ("body condition five of nine", "Body condition 5 of 9"),
    ],
)
def test_what_can_be_written_in_two_ways_is_one(spoken: str, written: str) -> None:
    assert plain_words(spoken) == plain_words(written)


@pytest.mark.parametrize(
    ("spoken", "written"),
    [
        ("thirty eight point six", "36.8"),
        ("no murmur", "murmur"),
        ("left ear", "right ear"),
        ("four kilos", "four pounds"),
    ],
)
def test_what_differs_stays_different(spoken: str, written: str) -> None:
    assert plain_words(spoken) != plain_words(written)


def heard(text: str, **repaired: str) -> Transcript:
    words, at = [], 0
    for part in text.split():
        words.append(
            Word(
                text=part,
                start_char=at,
                end_char=at + len(part),
                start_s=at,
                end_s=at + 1,
                heard=repaired.get(part),
            )
        )
        at += len(part) + 1
    return Transcript(
        text=text, utterances=(Utterance(start_char=0, end_char=len(text), words=tuple(words)),), model="base"
    )


def test_sums_are_those_of_jiwer_over_all_recordings() -> None:
    """Jiwer's rate over many texts is all errors by all words, as here."""
    pairs = [("no discharge from the nose", "no charge from nose"), ("gums are pink", "gums are very pink")]
    score = WordScore()
    for said, got in pairs:
        score.add(said, heard(got))
    assert score.word_error_rate == pytest.approx(jiwer.wer([a for a, _ in pairs], [b for _, b in pairs]))


def test_trade_words_count_as_often_as_they_are_said_and_heard() -> None:
    """Singular and plural are one; a term of several words is one word of the trade."""
    assert trade_words_of("The popliteals, a popliteal, capillary refill").total() == 3
    score = WordScore()
    score.add(
        "mild gingivitis, more gingivitis, no ptyalism", heard("mild gingivitis more jingavitis no ptyalism")
    )
    assert (score.trade_said, score.trade_heard, dict(score.missed)) == (3, 2, {"gingivitis": 1})


def test_a_repair_is_false_when_nobody_said_its_word() -> None:
    score = WordScore()
    score.add("no fleas on the coat", heard("no fleas on the cornea", fleas="flees", cornea="coat"))
    assert (score.repairs, score.false_repairs) == (2, 1)
    assert score.false_repairs_per_thousand == pytest.approx(200)
