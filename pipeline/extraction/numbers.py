"""Numbers as vets say them: "one twelve", "a hundred and one point two", "thirty eight six", "four and a half".

A run of number words is first read into *parts* (each a plain cardinal with the digits behind its point), then the parts are put
together: a single digit before a two-digit part counts hundreds ("one thirty two" → 132), and one digit after a part of two or
more digits may be its decimal ("thirty eight six" → 38.6). The second reading depends on what is measured, so the number keeps
both: `value` without it and `elided` with it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from lexicon import Lexicon

_LONGEST_FIGURE = 9
_LARGEST_PAIR = 400  # rates said in pairs ("two forty") stay below; "thirty eight five, ninety six" is no 596


@dataclass(frozen=True, slots=True)
class Number:
    """A number in tokens start to end (exclusive).

    `value` is the plain reading. `elided` is the reading with an unspoken decimal point, where the words allow one; then
    `value` covers only the tokens before `elided_from`. `pronoun` marks a lone "one", which is rarely a number.
    """

    start: int
    end: int
    value: float
    elided: float | None = None
    elided_from: int | None = None
    pronoun: bool = False

    def read(self, *, decimal: bool) -> float:
        """The value for a quantity that is said with decimals (temperature, weight) or without (rates)."""
        return self.elided if decimal and self.elided is not None else self.value


@dataclass(slots=True)
class _Part:
    start: int
    end: int
    value: Decimal
    digits: int  # 1 for one..nine, 2 for 10..99, 3 for hundreds; 0 when it cannot be combined


def _is_figure(word: str) -> bool:
    """A number in plain figures, short enough to be said of a patient (not a chip or telephone number)."""
    return len(word) <= _LONGEST_FIGURE and word.isascii() and word.replace(".", "", 1).isdecimal()


class NumberGrammar:
    """Finds the numbers in a token list; the words come from lexicon/numbers.toml."""

    def __init__(self, lexicon: Lexicon) -> None:
        table = lexicon.numbers
        self._units = {word: int(value) for word, value in table["units"].items()}
        self._teens = {word: int(value) for word, value in table["teens"].items()}
        self._tens = {word: int(value) for word, value in table["tens"].items()}
        self._fractions = {word: Decimal(str(value)) for word, value in table["fractions"].items()}
        self._digit_words = {**self._units, "o": 0}
        self._counted_by_a = frozenset(table["counted_by_a"])
        self._time_units = frozenset(lexicon.plan["due"]["units"])

    def find(self, norms: list[str]) -> list[Number]:
        """All numbers in order; linear in the number of tokens."""
        numbers: list[Number] = []
        position = 0
        while position < len(norms):
            parts = (
                [] if self._at(norms, position + 1) in ("quarters", "thirds") else self._run(norms, position)
            )
            if not parts:
                fraction = self._bare_fraction(norms, position)
                if fraction is not None:
                    numbers.append(fraction)
                    position = fraction.end
                else:
                    position += 1
                continue
            numbers.extend(self._combine(norms, parts))
            position = max(parts[-1].end, numbers[-1].end)
        return _without_false_starts(norms, numbers)

    def _run(self, norms: list[str], position: int) -> list[_Part]:
        """Adjacent cardinals from `position` on."""
        parts: list[_Part] = []
        while position < len(norms):
            part = self._part(norms, position)
            if part is None:
                break
            parts.append(part)
            position = part.end
        return parts

    def _part(self, norms: list[str], at: int) -> _Part | None:
        """One cardinal: digits, or words up to thousands, with a spoken decimal."""
        word = norms[at]
        if word[0].isdigit():
            if not _is_figure(word):
                return None
            value = Decimal(word)
            end = at + 1
            if "." not in word:
                value, end = self._with_hundreds(norms, end, value)
                value, end = self._point(norms, end, value)
            whole = value == value.to_integral_value()
            return _Part(at, end, value, len(str(int(value))) if whole and "." not in word else 0)
        value_end = self._below_hundred(norms, at)
        if (
            value_end is None
            and word in ("a", "hundred")
            and self._at(norms, at + (word == "a")) == "hundred"
        ):
            value_end = (Decimal(1), at + (word == "a"))
        if value_end is None:
            if word == "point" and self._at(norms, at + 1) in self._digit_words:
                value, end = self._point(norms, at, Decimal(0))
                return _Part(at, end, value, 0)
            return None
        value, end = self._with_hundreds(norms, value_end[1], value_end[0])
        value, end = self._with_thousands(norms, end, value)
        before_point = end
        value, end = self._point(norms, end, value)
        digits = len(str(int(value))) if end == before_point else 0
        return _Part(at, end, value, digits)

    def _below_hundred(self, norms: list[str], at: int) -> tuple[Decimal, int] | None:
        word = norms[at]
        if word in self._tens:
            following = self._at(norms, at + 1)
            if following in self._units and self._units[following] > 0:
                return Decimal(self._tens[word] + self._units[following]), at + 2
            return Decimal(self._tens[word]), at + 1
        if word in self._teens:
            return Decimal(self._teens[word]), at + 1
        if word in self._units:
            return Decimal(self._units[word]), at + 1
        if word == "o" and at and norms[at - 1] in self._units and self._at(norms, at + 1) in self._units:
            return Decimal(0), at + 1
        return None

    def _with_hundreds(self, norms: list[str], end: int, value: Decimal) -> tuple[Decimal, int]:
        if norms[end - 1] == "100" and self._at(norms, end) == "and" and self._is_digits(norms, end + 1):
            return value + Decimal(norms[end + 1]), end + 2
        if self._at(norms, end) != "hundred" or not 0 < value < 100:
            return value, end
        value, end = value * 100, end + 1
        after = end + 1 if self._at(norms, end) == "and" else end
        if after < len(norms):
            rest = self._below_hundred(norms, after)
            if rest is None and _is_figure(norms[after]) and len(norms[after]) <= 2:
                rest = (Decimal(norms[after]), after + 1)
            if rest is not None:
                return value + rest[0], rest[1]
        return value, end

    def _with_thousands(self, norms: list[str], end: int, value: Decimal) -> tuple[Decimal, int]:
        if self._at(norms, end) != "thousand" or not 0 < value < 1000:
            return value, end
        value, end = value * 1000, end + 1
        after = end + 1 if self._at(norms, end) == "and" else end
        if after < len(norms) and (rest := self._below_hundred(norms, after)) is not None:
            more, stop = self._with_hundreds(norms, rest[1], rest[0])
            return value + more, stop
        return value, end

    def _point(self, norms: list[str], end: int, value: Decimal) -> tuple[Decimal, int]:
        """A spoken decimal point and the digits read after it: "point two five"."""
        following = self._at(norms, end + 1)
        # A decimal comma needs a single digit after it: "ninety six comma twenty four" is a list with its comma dictated.
        one_digit = following in self._digit_words or (len(following) == 1 and following.isdecimal())
        spoken_comma = self._at(norms, end) == "comma" and one_digit
        if self._at(norms, end) not in ("point", "decimal") and not spoken_comma:
            return value, end
        digits = ""
        stop = end + 1
        while stop < len(norms):
            word = norms[stop]
            if word in self._digit_words:
                digits += str(self._digit_words[word])
            elif _is_figure(word) and word.isdecimal() and not digits:
                digits += word
            elif (word in self._teens or word in self._tens) and not digits:
                below = self._below_hundred(norms, stop)
                digits += str(below[0]) if below else ""
                stop = below[1] if below else stop + 1
                break
            else:
                break
            stop += 1
        if len(digits) > 1 and self._at(norms, stop) in self._time_units:
            digits, stop = digits[:-1], stop - 1  # "she was four point one two years ago"
        return (value + Decimal(f"0.{digits}"), stop) if digits else (value, end)

    def _bare_fraction(self, norms: list[str], at: int) -> Number | None:
        """ "half a", "a quarter", "three quarters of a", and the one of "a kilo": amounts without a whole number."""
        word = norms[at]
        if word == "half" and self._at(norms, at + 1) in ("a", "an"):
            return Number(at, at + 2, 0.5)
        if word == "a" and self._at(norms, at + 1) in self._counted_by_a:
            return Number(at, at + 1, 1.0)
        if word in self._units and self._at(norms, at + 1) in ("quarters", "thirds"):
            return Number(at, at + 2, float(self._units[word] * self._fractions[norms[at + 1]]))
        if word in ("a", "an") and self._at(norms, at + 1) in ("half", "quarter"):
            return Number(at, at + 2, float(self._fractions[norms[at + 1]]))
        return None

    def _combine(self, norms: list[str], parts: list[_Part]) -> list[Number]:
        """Put adjacent parts together to the numbers they were said as."""
        numbers: list[Number] = []
        index = 0
        while index < len(parts):
            value, end, taken = self._hundreds_by_pairs(parts, index)
            first = parts[index]
            index += taken
            value, end, mixed = self._mixed_fraction(norms, value, end)
            elided, elided_from = None, None
            whole = value == value.to_integral_value() and not mixed
            if whole and index < len(parts) and parts[index].digits == 1 and parts[index].start == end:
                following = parts[index]
                # The digit is a decimal unless it begins the next paired number ("thirty eight, one twelve").
                starts_pair = (
                    index + 1 < len(parts)
                    and parts[index + 1].digits == 2
                    and following.value * 100 + parts[index + 1].value < _LARGEST_PAIR
                )
                is_decimal_of_digits = norms[first.start][0].isdigit() and value < 10
                if not starts_pair and not is_decimal_of_digits:
                    elided, elided_from, end = value + following.value / 10, end, following.end
                    index += 1
            lone_one = taken == 1 and norms[first.start] == "one" and end == first.start + 1
            numbers.append(
                Number(
                    first.start,
                    end,
                    float(value),
                    float(elided) if elided is not None else None,
                    elided_from,
                    lone_one,
                )
            )
        return numbers

    @staticmethod
    def _hundreds_by_pairs(parts: list[_Part], index: int) -> tuple[Decimal, int, int]:
        """ "one twelve" → 112, "one oh five" → 105, "one one two" → 112: value, end, number of parts used."""
        first = parts[index]
        if first.digits == 1 and first.value > 0 and index + 1 < len(parts):
            second = parts[index + 1]
            if second.digits == 2 or (second.digits == 0 and 10 <= second.value < 100):
                return first.value * 100 + second.value, second.end, 2
            if second.digits == 1 and index + 2 < len(parts):
                third = parts[index + 2]
                is_last_or_decimal = third.digits == 1 or (third.digits == 0 and third.value < 10)
                if is_last_or_decimal and (second.value == 0 or index + 3 == len(parts)):
                    return first.value * 100 + second.value * 10 + third.value, third.end, 3
        return first.value, first.end, 1

    def _mixed_fraction(self, norms: list[str], value: Decimal, end: int) -> tuple[Decimal, int, bool]:
        """ "four and a half", "two and three quarters", "12 and a quarter"."""
        if self._at(norms, end) != "and":
            return value, end, False
        second = self._at(norms, end + 1)
        third = self._at(norms, end + 2)
        if second in ("a", "one") and third in ("half", "quarter"):
            return value + self._fractions[third], end + 3, True
        if second in self._units and third in ("quarters", "quarter", "thirds"):
            return value + self._units[second] * self._fractions[third], end + 3, True
        if second == "half":
            return value + self._fractions["half"], end + 2, True
        return value, end, False

    def _is_digits(self, norms: list[str], at: int) -> bool:
        """ "100 and 1.8", as a recogniser writes "a hundred and one point eight"."""
        word = self._at(norms, at)
        return _is_figure(word) and Decimal(word) < 100

    @staticmethod
    def _at(norms: list[str], index: int) -> str:
        return norms[index] if 0 <= index < len(norms) else ""


def _without_false_starts(norms: list[str], numbers: list[Number]) -> list[Number]:
    """ "Thirty, thirty eight six", "a hundred and, a hundred and ten": a number begun and said again is one number."""
    kept: list[Number] = []
    for number in numbers:
        begun = kept[-1] if kept else None
        if begun is not None and _said_again(norms, begun, number):
            kept[-1] = replace(number, start=begun.start)
        else:
            kept.append(number)
    return kept


def _said_again(norms: list[str], begun: Number, number: Number) -> bool:
    first, second = norms[begun.start : begun.end], norms[number.start : number.end]
    gap = [word for word in norms[begun.end : number.start] if word not in (",", "\u2013", "\u2014")]
    broken_off = (len(first) == 1 and not gap) or gap == ["and"] == second[len(first) : len(first) + 1]
    longer = len(second) > len(first) and second[: len(first)] == first
    # "Twelve, twelve and a half at the last visit" are two numbers.
    finished = len(first) == 1 and second[1:2] == ["and"]
    return broken_off and longer and not finished and first[0].isalpha()
