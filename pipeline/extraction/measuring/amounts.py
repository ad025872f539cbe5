"""A number with what belongs to it: the upper end of a range, scale, unit, smaller unit, seconds counted, bound."""

from __future__ import annotations

from dataclasses import replace

from pipeline.extraction.measuring.model import Unit, Value
from pipeline.extraction.measuring.sheet import Sheet
from pipeline.extraction.numbers import Number

_COUNTED_SECONDS = (6, 10, 15, 20, 30)
_STEPS = (2, 3, 4, 6, 10)
_ENDS_OF_SCALES = ("9", "5", "nine", "five")


class Amounts:
    """Reads the surroundings of numbers; what it takes in is marked as used on the sheet."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self._comparators = sheet.cues("comparator")
        self._comparators_after = sheet.cues("comparator_after")

    def value(self, number: Number) -> Value:
        """The number as a whole value, ready to be given to a name."""
        number = self._with_colon(number)
        end = number.end
        high, end = self._upper_end(number, end)
        out_of, end = self._scale(end)
        unit = self._unit_at(end)
        if unit is not None:
            number, end = self._with_half(number, unit.end)
        elif out_of is None and high is None:
            unit = self._unit_after_pause(end)
        minor = None
        if unit is not None and unit.row.quantity == "mass":
            minor = self._minor(end)
            end = max(minor[1].end, minor[0].end) if minor else end
        window, end = self._window(number, unit, end)
        comparator = self._comparator(number.start, end)
        return Value(number.start, end, number, high, comparator, out_of, unit, minor, window)

    def plain(self, number: Number) -> Value:
        """The number with its unit alone."""
        unit = self.sheet.units.get(number.end)
        return Value(number.start, unit.end if unit else number.end, number, unit=unit)

    def _unit_at(self, end: int) -> Unit | None:
        """The unit right after a number; "mm" before a verdict on the gums ("CRT <2, MM pink") is no unit."""
        unit = self.sheet.units.get(end)
        return None if unit is not None and self._names_gums(unit) else unit

    def _names_gums(self, unit: Unit) -> bool:
        """ "mm" that is a part of a term or stands before one."""
        said = self.sheet.mention_at(unit.start) or self.sheet.mention_at(unit.end)
        return unit.row.quantity == "length" and said is not None

    def _unit_after_pause(self, end: int) -> Unit | None:
        """ "twelve point four, kilos": a comma before the unit."""
        unit = self.sheet.units.get(end + 1) if self.sheet.at(end) == "," else None
        # "one fifty, second one fifty five": an ordinal, no unit.
        if unit is None or unit.row.quantity == "time" or self._names_gums(unit):
            return None
        return unit

    def _with_half(self, number: Number, end: int) -> tuple[Number, int]:
        """ "a kilo and a half", "a second and a half": the fraction after the unit."""
        words = self.sheet.norms[end : end + 3]
        if words[:1] != ["and"] or number.elided is not None or number.value % 1:
            return number, end
        for fraction, share in (("half", 0.5), ("quarter", 0.25)):
            if words[1:] == ["a", fraction]:
                self.sheet.used.add(end + 1)
                return replace(number, value=number.value + share, pronoun=False), end + 3
        return number, end

    def _with_colon(self, number: Number) -> Number:
        """ "1:40", as recognisers write "one forty" when they take it for the time of day."""
        second = self.sheet.numbers.get(number.end + 1)
        if (
            self.sheet.at(number.end) != ":"
            or second is None
            or not self._adjoin(number.end - 1, number.end + 1)
        ):
            return number
        if not (number.value < 10 <= second.value < 60) or number.elided is not None:
            return number
        self.sheet.used.add(second.start)
        return Number(number.start, second.end, number.value * 100 + second.value)

    def _adjoin(self, first: int, last: int) -> bool:
        """Whether tokens stand in the text without a blank between them."""
        analysis = self.sheet.analysis
        return all(analysis.ends[at] == analysis.starts[at + 1] for at in range(first, last))

    def _upper_end(self, number: Number, end: int) -> tuple[Number | None, int]:
        """The second number of "thirty to thirty six", "between thirty and thirty six", "five or six", "30-36"."""
        sheet = self.sheet
        before = sheet.at(number.start - 1)
        at = end + 1 if sheet.at(end) == "," and sheet.is_word(end + 1, "perhaps") else end
        word = sheet.at(at)
        joins = word in ("to", "till") or (word == "and" and before in ("between", "from"))
        narrow = word == "or" or sheet.is_word(at, "perhaps")
        second = sheet.numbers.get(at + 1) if joins or narrow else self._hyphenated(end)
        if second is None or second.pronoun:
            return None, end
        low, high = number.read(decimal=True), second.read(decimal=True)
        if high > low and (not narrow or high <= low * 1.5):
            sheet.used.add(second.start)
            return second, second.end
        return None, end

    def _hyphenated(self, end: int) -> Number | None:
        second = self.sheet.numbers.get(end)
        if second is None or end == 0:
            return None
        analysis = self.sheet.analysis
        between = analysis.text[analysis.ends[end - 1] : analysis.starts[end]]
        return second if between.strip() in ("-", "\u2013") else None

    def _scale(self, end: int) -> tuple[float | None, int]:
        """ "out of nine", "of nine", "over six", "/ 9"."""
        sheet = self.sheet
        at = end
        if sheet.at(at) == "out" and sheet.at(at + 1) == "of":
            at += 2
        elif sheet.at(at) in ("of", "over", "/"):
            at += 1
        elif (
            sheet.analysis.from_sound and sheet.at(at) in ("r", "are") and sheet.at(at + 1) in _ENDS_OF_SCALES
        ):
            at += 1  # "three of nine" heard as "3R9"
        else:
            return None, end
        scale = sheet.numbers.get(at)
        if scale is None and sheet.at(at) in ("a", "the"):
            scale = sheet.numbers.get(at + 1)
        if scale is None or scale.pronoun or self._counts_seconds(scale):
            return None, end
        sheet.used.add(scale.start)
        # A digit after the scale belongs to something else ("five of nine, four...").
        return scale.value, scale.elided_from or scale.end

    def _counts_seconds(self, number: Number) -> bool:
        """ "Seven breaths over fifteen seconds": no scale."""
        unit = self.sheet.units.get(number.end)
        return unit is not None and unit.row.code == "s"

    def _minor(self, end: int) -> tuple[Number, Unit] | None:
        """The ounces of "nine pounds four ounces", the grams of "four kilos two hundred grams"."""
        sheet = self.sheet
        at = end + 1 if sheet.at(end) in ("and", ",") else end
        number = sheet.numbers.get(at)
        unit = sheet.units.get(number.end) if number is not None else None
        if number is not None and unit is None and at == end and self._bare_ounces(number, end):
            sheet.used.add(number.start)
            return number, Unit(number.end, number.end, sheet.tables.unit("[oz_av]"))
        if number is not None and unit is None and at == end and self._bare_grams(number, end):
            sheet.used.add(number.start)
            grams = number.value * 10.0 ** (3 - len(f"{number.value:g}"))
            return replace(number, value=grams), Unit(number.end, number.end, sheet.tables.unit("g"))
        if number is None or unit is None or unit.row.code not in ("[oz_av]", "g", "[lb_av]"):
            return None
        sheet.used.add(number.start)
        return number, unit

    def _bare_ounces(self, number: Number, end: int) -> bool:
        """ "nine pounds four": ounces go without saying right after pounds."""
        pounds = self.sheet.is_word(end - 1, "minor_without_unit_before")
        return pounds and number.value < 16 and not self.sheet.counts_noun(number.end)

    def _bare_grams(self, number: Number, end: int) -> bool:
        """ "four kilo two", "four kilos two hundred": the decimals of the kilogram."""
        whole = number.elided is None and number.value == int(number.value) and 0 < number.value < 1000
        kilos = self.sheet.is_word(end - 1, "decimals_without_unit_after")
        return kilos and whole and not self.sheet.counts_noun(number.end)

    def _window(self, number: Number, unit: Unit | None, end: int) -> tuple[float | None, int]:
        """Seconds counted over, up to where they and the product are said: "28 in fifteen, times four, one twelve"."""
        seconds, end = self._seconds(end)
        if seconds is None:
            return None, end
        per_minute = number.value * 60 / seconds
        total = self._product(per_minute, end)
        return seconds, end if total is None else total

    def _seconds(self, end: int) -> tuple[float | None, int]:
        sheet = self.sheet
        word, number = sheet.at(end), sheet.numbers.get(end + 1)
        if word in ("in", "over", "per") and sheet.at(end + 1) in ("a", "the"):
            number = sheet.numbers.get(end + 2)
        if number is None:
            return None, end
        if word in ("in", "over", "per"):
            seconds = sheet.units.get(number.end)
            timed = seconds is not None and seconds.row.code == "s"
            if timed or (word == "in" and number.value in _COUNTED_SECONDS and self._goes_on(number.end)):
                sheet.used.add(number.start)
                return number.value, seconds.end if seconds is not None and timed else number.end
        if word in ("times", "x") and number.value in _STEPS:
            sheet.used.add(number.start)
            return 60 / number.value, number.end
        return None, end

    def _goes_on(self, end: int) -> bool:
        """After "thirty two in fifteen" the factor or the product follows, or the clause ends: no noun is counted."""
        following = self.sheet.at(end)
        return not following.isalpha() or self.sheet.is_word(end, "before_product")

    def _product(self, per_minute: float, end: int) -> int | None:
        """Where the product ends that is said after a count: ", times four, one twenty", "so that's 100 a minute"."""
        sheet = self.sheet
        at, stop = end, end + 10
        found = None
        while at < min(stop, len(sheet.norms)):
            number = sheet.numbers.get(at)
            if number is not None and not number.pronoun:
                if abs(number.value - per_minute) < 0.5:
                    sheet.used.add(number.start)
                    unit = sheet.units.get(number.end)
                    return unit.end if unit is not None and unit.row.to == "/min" else number.end
                if sheet.at(at - 1) not in ("times", "by", "x") or number.value not in _STEPS:
                    return found
                sheet.used.add(number.start)
                found = at = number.end
            elif sheet.is_word(at, "before_product") or sheet.at(at) in (",", "="):
                at += 1
            else:
                return found
        return found

    def _comparator(self, start: int, end: int) -> str | None:
        sheet = self.sheet
        for stop in (start, start - 1):
            cue = self._comparators.ending_at(stop)
            if cue is None:
                continue
            if sheet.norms[cue.start] == "up" and sheet.is_word(cue.start - 1, "has_risen"):
                return None  # "weight's up to 31 kilos" has risen to it
            if all(sheet.is_word(at, "after_bound") for at in range(stop, start)):
                return cue.group.value
        after = self._comparators_after.starting_at(end)
        return after.group.value if after is not None else None
