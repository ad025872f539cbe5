"""Any text is understood without failing: evidence is its slice, answers repeat, time is linear."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from said import evidence_of, hear, unpunctuated

from lexicon import load_lexicon
from pipeline.exam import understand
from pipeline.extraction import extract
from pipeline.extraction.model import Statements
from pipeline.record import ExamRecord, Patient, Visit
from pipeline.speech.model import Transcript, Utterance, Word

PATIENT, VISIT = Patient(name="Moss", species="rabbit"), Visit(kind="health_check")

DICTATION = (
    "Good morning. Bright, alert and responsive. Temperature thirty eight point six, heart rate one "
    "twelve, no murmur. Gums pink, CRT under two seconds, mild tartar. Left ear, bit of wax, no smell, "
    "right ear clean. Owner says he has been coughing at night. I'm checking for fleas, none. Lymph "
    "nodes normal, abdomen soft, no pain. A two centimetre lump on the right flank, no, sorry, the left "
    "flank. Cavaliers often get heart disease. Weight twelve point four kilos, body condition five out "
    "of nine. Plan is to recheck the ear in two weeks. "
)

ODD = {
    "empty": "",
    "blanks": " \t \n\n ",
    "marks": ".,;:!?.,- \u2013 \u2014 … ( ) /",
    "emoji": "The left ear is red 😿🐾, temp 38.6 👍🏽 and no fleas 🪳.",
    "control characters": "No\x00 murmur\x07, heart\x1b[31m rate\x7f 112\u200b.\ufeff",
    "other scripts": "Das linke Ohr ist gerötet. 左耳が赤い。 Уши чистые. الأذن حمراء. No murmur. ελκος",
    "right to left marks": "\u202eno fleas\u202c left ear red",
    "combining marks": "No mu\u0301rmur, le\u0301ft ear r\u0308ed. Ⅳ ½ ① ٣ ५ percent",
    "odd numbers": "1e308 0x1F 00000 9999999999999999999999 3.14.15.9 1,2,3,4 -40 +3 1/0 0/0 .5 5. 1..2",
    "a point before a decimal": "Temp zero point 38.6, weight point 4.2.",
    "long word": "a" * 200_000,
    "long number": "9" * 5_000,
    "long run of number words": "one " * 3_000,
    "hundreds": "hundred " * 3_000,
    "points": "point " * 3_000,
    "only negations": "no " * 3_000,
    "only corrections": "no wait sorry scratch that " * 500,
    "only commas": "," * 5_000,
    "only quotes": "'" * 5_000,
    "line breaks": "left\near\n\nred\r\n\r\nno\u2028fleas\u2029here",
    "surrogate-like": "\ud7ff\ue000\ufffd\U0010ffff no murmur",
}


def check(text: str) -> Statements:
    """Read a text; `hear` asserts that every evidence text is its slice."""
    statements = hear(text)
    assert all(0 <= clause.start_char < clause.end_char <= len(text) for clause in statements.clauses)
    assert all(measurement.evidence for measurement in statements.measurements)
    assert all(finding.evidence for finding in statements.findings)
    return statements


@pytest.mark.parametrize("name", ODD)
def test_odd_texts_are_read(name: str) -> None:
    """Nothing that can be typed or misheard fails, and what is understood points at its words."""
    check(ODD[name])


def test_silence_says_nothing() -> None:
    """No words, no statements."""
    assert hear("") == Statements()
    assert hear(" \n ") == Statements()


@pytest.mark.parametrize("name", ODD)
def test_odd_texts_make_a_record(name: str) -> None:
    """Whatever was typed or heard becomes a record that keeps every word of it."""
    record = understand(Transcript.from_text(ODD[name]), PATIENT, VISIT)
    assert record.transcript.text == ODD[name]
    assert ExamRecord.model_validate_json(record.model_dump_json()) == record


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.text(max_size=200),
            st.sampled_from(["no murmur", "left ear red", "38.6", "\x1b[2J", "\x00", "🐇"]),
        )
    )
)
def test_speech_among_anything_makes_a_record(parts: list[str]) -> None:
    """Trade words between other languages, control characters and signs: a record, and the same text in it."""
    text = " ".join(parts)
    assert understand(Transcript.from_text(text), PATIENT, VISIT).transcript.text == text


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=400))
def test_any_text_is_read(text: str) -> None:
    """Arbitrary characters of any script."""
    check(text)


LEXICON = load_lexicon()
PHRASES = sorted(
    {term for group in LEXICON.cues.values() for term in group.terms}
    | {entry.term for entry in LEXICON.entries[::7]}
    | {term for unit in LEXICON.units for term in unit.terms}
    | {name for row in LEXICON.measurements.values() for name in row.names}
)
SPEECH = st.lists(
    st.one_of(
        st.sampled_from(PHRASES),
        st.sampled_from(
            [
                ",",
                ".",
                "?",
                "and",
                "or",
                "the",
                "one",
                "two",
                "thirty eight",
                "38.6",
                "112",
                "point five",
                "of",
            ]
        ),
    ),
    max_size=40,
).map(" ".join)


@settings(max_examples=200, deadline=None)
@given(SPEECH)
def test_any_run_of_trade_words_is_read(text: str) -> None:
    """Words of the tables in any order, the hardest input the rules can get."""
    check(text)


@settings(max_examples=60, deadline=None)
@given(SPEECH)
def test_the_same_text_says_the_same(text: str) -> None:
    """Understanding is deterministic and keeps nothing from one text to the next."""
    first = hear(text)
    hear(DICTATION)
    assert hear(text) == first


def test_evidence_carries_the_time_of_its_words() -> None:
    """Words with times give evidence with the same times; the doubt of a word lowers the confidence."""
    text = "No fleas but a murmur"
    words, at = [], 0
    for index, part in enumerate(text.split()):
        start = text.index(part, at)
        at = start + len(part)
        probability = 0.3 if part == "murmur" else 0.9
        words.append(
            Word(
                text=part,
                start_char=start,
                end_char=at,
                start_s=index,
                end_s=index + 0.5,
                probability=probability,
            )
        )
    utterance = Utterance(start_char=0, end_char=len(text), start_s=0, end_s=4.5, words=tuple(words))
    statements = extract(Transcript(text=text, utterances=(utterance,), duration_s=5))
    times = {
        finding.concept: (finding.evidence[0].start_s, finding.evidence[0].end_s)
        for finding in statements.findings
    }
    assert times == {"fleas": (1.0, 1.5), "heart_murmur": (4.0, 4.5)}
    assert [finding.confidence for finding in statements.findings] == [1.0, 0.3]


def test_a_hundred_thousand_words_without_punctuation_are_read() -> None:
    """An hours-long recording without a single mark; the speed is printed."""
    words = unpunctuated(DICTATION).split()
    text = " ".join(words * (100_000 // len(words) + 1))
    start = time.perf_counter()
    statements = extract(Transcript.from_text(text))
    seconds = time.perf_counter() - start
    count = len(text.split())
    print(f"{count:,} words in {seconds:.1f} s: {count / seconds:,.0f} words/s")  # noqa: T201
    assert len(statements.findings) > count / 100
    assert all(text[e.start_char : e.end_char] == e.text for e in evidence_of(statements))


# Said again and again, as a recogniser that has lost its thread does: each kind of word that the rules look around.
REPEATED = {
    "parts": "ear ",
    "parts and findings": "ear wax red spleen ",
    "names of values": "temperature ",
    "qualities": "quiet ",
    "denials": "no fleas, ",
    "corrections": "left sorry right no ",
    "reports": "she says he is itchy ",
    "conditions": "if she vomits ",
    "numbers": "one two three ",
    "mishearings": "jingavitis poplital ",
    "plans": "recheck in two weeks ",
    "verdicts": "otherwise normal ",
    "another language": "das linke ohr ist rot ",
}


@pytest.mark.parametrize("name", ["punctuated", "unpunctuated", *REPEATED])
def test_time_grows_with_the_length(name: str) -> None:
    """Time grows in proportion to the text."""
    whole = {"punctuated": DICTATION, "unpunctuated": unpunctuated(DICTATION)}
    text = whole.get(name) or REPEATED[name] * (60 // len(REPEATED[name].split()))

    def fastest(copies: int) -> float:
        transcript = Transcript.from_text(text * copies)
        times = []
        for _ in range(3):
            start = time.process_time()
            extract(transcript)
            times.append(time.process_time() - start)
        return min(times)

    fastest(1)
    # Eight times the text: about 8 for linear work, 64 for quadratic; processor time, so that a busy machine changes little.
    once, eight_times = fastest(4), fastest(32)
    print(f"ratio {eight_times / once:.2f}, {len(text.split()) * 32 / eight_times:,.0f} words/s")  # noqa: T201
    assert eight_times < 20 * once
