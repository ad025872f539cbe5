"""Spoken numbers: tables, properties against an independent speller, and a comparison with text2num."""

from __future__ import annotations

import time
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from spacy.vocab import Vocab
from text_to_num import text2num

from lexicon import load_lexicon
from pipeline.extraction.numbers import Number, NumberGrammar
from pipeline.extraction.tokens import SpokenTokenizer

LEXICON = load_lexicon()
GRAMMAR = NumberGrammar(LEXICON)
TOKENIZER = SpokenTokenizer(Vocab(), LEXICON)
BELOW_TWENTY = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]


def numbers(text: str) -> list[Number]:
    return GRAMMAR.find(TOKENIZER.phrase(text))


def only(text: str) -> Number:
    """Return the one number that a text consists of."""
    tokens = TOKENIZER.phrase(text)
    found = GRAMMAR.find(tokens)
    assert len(found) == 1, f"{text!r} was read as {found}"
    assert (found[0].start, found[0].end) == (0, len(tokens)), f"{text!r}: only {found[0]} was read"
    return found[0]


def spell(value: int, joiner: str = "") -> str:
    """Spell an integer from 0 to 9999; `joiner` " and" is British usage. Written for these tests."""
    if value < 20:
        return BELOW_TWENTY[value]
    if value < 100:
        tens, unit = divmod(value, 10)
        return TENS[tens - 2] + (f" {BELOW_TWENTY[unit]}" if unit else "")
    size, name = (1000, "thousand") if value >= 1000 else (100, "hundred")
    count, rest = divmod(value, size)
    words = f"{spell(count, joiner)} {name}"
    if not rest:
        return words
    return f"{words}{joiner if rest < 100 else ''} {spell(rest, joiner)}"


# What is said → its value. Spoken forms: common practice, no source; 38.6 and 112 in all their forms: the
# project's page of check values, on speech.
PLAIN = {
    "zero": 0,
    "nought": 0,
    "seven": 7,
    "twelve": 12,
    "nineteen": 19,
    "twenty": 20,
    "forty": 40,
    "fourty": 40,
    "ninety nine": 99,
    "ninety-nine": 99,
    "one hundred": 100,
    "a hundred": 100,
    "hundred": 100,
    "a hundred and one": 101,
    "a hundred one": 101,
    "one hundred and twelve": 112,
    "one hundred twelve": 112,
    "a hundred and twelve": 112,
    "one twelve": 112,
    "one oh one": 101,
    "one o five": 105,
    "one oh eight": 108,
    "one ten": 110,
    "one nineteen": 119,
    "one twenty": 120,
    "one thirty two": 132,
    "one thirty-two": 132,
    "one forty": 140,
    "two ten": 210,
    "two twenty": 220,
    "two oh five": 205,
    "two eighty eight": 288,
    "three sixty": 360,
    "nine ninety nine": 999,
    "one one two": 112,
    "two four zero": 240,
    "two hundred and forty": 240,
    "two hundred forty": 240,
    "twelve hundred": 1200,
    "one thousand": 1000,
    "one thousand two hundred": 1200,
    "two thousand and five": 2005,
    "two thousand three hundred and forty one": 2341,
    "38": 38,
    "1,200": 1200,
    "112": 112,
    "1 hundred and 12": 112,
    "38.6": 38.6,
    "101.5": 101.5,
    "0.5": 0.5,
    "thirty eight point six": 38.6,
    "thirty-eight point six": 38.6,
    "38 point 6": 38.6,
    "thirty eight point oh": 38.0,
    "thirty eight point zero five": 38.05,
    "four point two five": 4.25,
    "four point twenty five": 4.25,
    "twelve point four": 12.4,
    "point five": 0.5,
    "nought point five": 0.5,
    "zero point seven five": 0.75,
    "a hundred and one point two": 101.2,
    "one hundred one point two": 101.2,
    "one oh one point two": 101.2,
    "one oh one point four": 101.4,
    "one hundred and two point two": 102.2,
    "one oh four point oh": 104.0,
    "four and a half": 4.5,
    "four and one half": 4.5,
    "twelve and a quarter": 12.25,
    "two and three quarters": 2.75,
    "seven and a half": 7.5,
    "thirty and a half": 30.5,
    "one and a half": 1.5,
    "4 and a half": 4.5,
    "half a": 0.5,
    "a half": 0.5,
    "a quarter": 0.25,
    "three quarters": 0.75,
}


@pytest.mark.parametrize(("said", "value"), PLAIN.items())
def test_a_spoken_number_has_its_value(said: str, value: float) -> None:
    """Digits, cardinals, pairs, spoken decimals, halves and quarters."""
    assert only(said).value == pytest.approx(value, abs=1e-9)


# A decimal point that is not spoken: (plain reading, reading with decimals).
ELIDED = {
    "thirty eight six": (38, 38.6),
    "thirty-eight six": (38, 38.6),
    "thirty nine one": (39, 39.1),
    "thirty eight oh": (38, 38.0),
    "38 6": (38, 38.6),
    "one oh one five": (101, 101.5),
    "one oh one two": (101, 101.2),
    "a hundred and one five": (101, 101.5),
    "one hundred and two four": (102, 102.4),
    "twelve four": (12, 12.4),
    "four four": (4, 4.4),
    "twenty two three": (22, 22.3),
}


@pytest.mark.parametrize(("said", "readings"), ELIDED.items())
def test_a_point_left_out_keeps_both_readings(said: str, readings: tuple[float, float]) -> None:
    """What the digit after a number means depends on what is measured, so both readings stay."""
    number = only(said)
    assert (number.value, number.elided) == pytest.approx(readings)
    assert number.read(decimal=True) == pytest.approx(readings[1])
    assert number.read(decimal=False) == pytest.approx(readings[0])


# Several numbers in one breath stay several.
SEVERAL = {
    "thirty eight, ninety six, twenty four": [38, 96, 24],
    "five out of nine": [5, 9],
    "two over six": [2, 6],
    "two by three": [2, 3],
    "thirty to thirty six": [30, 36],
    "ninety six and twenty four": [96, 24],
    "one twelve and twenty four": [112, 24],
    "38.6, 112, 24": [38.6, 112, 24],
    "nine pounds four ounces": [9, 4],
    "four kilos two hundred": [4, 200],
}


@pytest.mark.parametrize(("said", "values"), SEVERAL.items())
def test_numbers_side_by_side_stay_apart(said: str, values: list[float]) -> None:
    """Words or marks between numbers keep them apart."""
    assert [n.value for n in numbers(said)] == values


@pytest.mark.parametrize(
    "said", ["", "nothing here", "and a", "the point is", "hundreds of", "halfway", "oh dear me"]
)
def test_talk_holds_no_number(said: str) -> None:
    """Words that merely resemble number words are none; "oh" alone is a sigh."""
    assert [n for n in numbers(said) if n.value != 0] == []


def test_a_lone_one_is_marked_as_a_pronoun() -> None:
    """In "the left one" no number is meant."""
    assert only("one").pronoun
    assert not only("one twelve").pronoun
    assert not only("two").pronoun


@pytest.mark.parametrize("joiner", ["", " and"], ids=["one hundred twelve", "one hundred and twelve"])
def test_every_integer_to_9999_is_read_as_spelled(joiner: str) -> None:
    """All of 0 to 9999, British and American."""
    wrong = {}
    for value in range(10_000):
        found = GRAMMAR.find(spell(value, joiner).split())
        if len(found) != 1 or found[0].value != value or found[0].elided is not None:
            wrong[value] = (spell(value, joiner), found)
    assert not wrong, f"{len(wrong)} wrong, the first: {dict(list(wrong.items())[:5])}"


def test_every_integer_is_read_as_text2num_reads_it() -> None:
    """Reference library text2num: plain cardinals in both spellings, on all of which it is right."""
    for value in (*range(0, 1_000, 3), *range(1_000, 10_000, 97)):
        for joiner in ("", " and"):
            said = spell(value, joiner)
            assert only(said).value == text2num(said, "en") == value


@settings(deadline=None)
@given(st.integers(101, 999).filter(lambda value: value % 100))
def test_a_hundred_left_out_is_understood(value: int) -> None:
    """Paired digits for 101 to 999: "one twelve", "one oh five", "two forty"."""
    hundreds, rest = divmod(value, 100)
    tail = spell(rest) if rest >= 10 else f"oh {BELOW_TWENTY[rest]}"
    assert only(f"{BELOW_TWENTY[hundreds]} {tail}").value == value


@settings(deadline=None)
@given(st.integers(100, 999).filter(lambda value: value % 10))
def test_digits_read_one_by_one_are_understood(value: int) -> None:
    """Single digits: "one one two" is 112."""
    assert only(" ".join(BELOW_TWENTY[int(digit)] for digit in str(value))).value == value


@settings(deadline=None)
@given(
    st.integers(0, 999), st.lists(st.integers(0, 9), min_size=1, max_size=3), st.sampled_from(["", " and"])
)
def test_spoken_decimals_are_exact(whole: int, digits: list[int], joiner: str) -> None:
    """The spoken "thirty eight point six" is exactly the float that "38.6" is."""
    said = f"{spell(whole, joiner)} point {' '.join(BELOW_TWENTY[digit] for digit in digits)}"
    written = f"{whole}.{''.join(map(str, digits))}"
    assert only(said).value == only(written).value == float(written)


@settings(deadline=None)
@given(st.integers(10, 999), st.integers(1, 9))
def test_a_digit_after_a_number_can_be_its_decimal(whole: int, digit: int) -> None:
    """Said for a temperature, "thirty eight six" is 38.6."""
    assert only(
        f"{spell(whole)} {BELOW_TWENTY[digit]}" if whole % 10 or whole % 100 == 10 else f"{whole} {digit}"
    ).read(decimal=True) == pytest.approx(whole + digit / 10)


@settings(deadline=None)
@given(st.integers(1, 99), st.sampled_from([("a half", 0.5), ("a quarter", 0.25), ("three quarters", 0.75)]))
def test_halves_and_quarters_add_to_the_whole(whole: int, part: tuple[str, float]) -> None:
    """Four and a half is 4.5."""
    assert only(f"{spell(whole)} and {part[0]}").value == whole + part[1]


WORDS = st.sampled_from(
    [
        *BELOW_TWENTY,
        *TENS,
        "hundred",
        "thousand",
        "point",
        "and",
        "a",
        "half",
        "quarter",
        "oh",
        "o",
        ",",
        "38.6",
        "7",
        "to",
    ]
)


@settings(max_examples=300, deadline=None)
@given(st.lists(WORDS, max_size=25))
def test_any_run_of_number_words_is_read_in_order(words: list[str]) -> None:
    """No run of number words fails, overlaps, goes below zero or reads beyond its tokens."""
    found = GRAMMAR.find(words)
    assert all(number.value >= 0 and number.start < number.end <= len(words) for number in found)
    assert all(before.end <= after.start for before, after in pairwise(found))
    assert found == GRAMMAR.find(words)


def test_time_grows_with_the_length() -> None:
    """Twice the words take about twice the time (medians; the bound leaves room for a busy machine)."""
    words = [
        "rate",
        "one",
        "hundred",
        "and",
        "twelve",
        "temp",
        "thirty",
        "eight",
        "point",
        "six",
        "five",
        "out",
        "of",
        "nine",
        "one",
        "oh",
        "five",
    ]

    def fastest(copies: int) -> float:
        times = []
        for _ in range(5):
            start = time.process_time()
            GRAMMAR.find(words * copies)
            times.append(time.process_time() - start)
        return min(times)

    # Eight times the words: about 8 for linear work, 64 for quadratic; processor time, so that a busy machine changes little.
    assert fastest(1600) < 24 * fastest(200)
