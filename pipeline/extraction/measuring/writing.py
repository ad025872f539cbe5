"""From a value that has found its kind to a reading in the stored unit, saying what was inferred."""

from __future__ import annotations

from lexicon.schema import UnitWord
from pipeline.extraction.measuring.conversion import add, convert, half_up
from pipeline.extraction.measuring.model import DECIMAL_UNITS, Reading, Value
from pipeline.extraction.measuring.sheet import Sheet

_SAID_IN = {"[degF]": "said in degrees Fahrenheit", "[lb_av]": "said in pounds"}


class Writing:
    """Writes readings on the sheet."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet

    def write(self, value: Value, kind: str, name: tuple[int, int] | None) -> Reading:
        """A reading of a kind; `name` are the tokens of its name, if it has one."""
        row = self.sheet.tables.row(kind)
        number = value.number
        end = value.end
        if row.unit not in DECIMAL_UNITS and number.elided_from is not None and value.end == number.end:
            end = number.elided_from
        reading = Reading(
            kind, value.start, end, value.amount(row.unit), unit=row.unit, comparator=value.comparator
        )
        if value.high is not None:
            reading.value_high = value.high.read(decimal=row.unit in DECIMAL_UNITS)
        if row.out_of:
            reading.out_of, reading.unit = value.out_of, None
        elif value.out_of is not None and kind == "systolic_blood_pressure":
            reading.method = f"over {value.out_of:g} diastolic"
        self._apply_unit(reading, value)
        reading.name = name
        if name is not None and name[0] < name[1]:
            reading.start, reading.end = min(reading.start, name[0]), max(reading.end, name[1])
        self.sheet.used.add(number.start)
        if name is not None:
            self.sheet.used.add(name[0])
        reading.past_said = bool(self.sheet.cues("past").within(max(0, reading.start - 5), reading.start))
        self.sheet.out.append(reading)
        return reading

    def doubt_units(self) -> None:
        """Someone who says Fahrenheit weighs in pounds as often as not: a weight without a unit becomes doubtful."""
        if any("Fahrenheit" in (reading.method or "") for reading in self.sheet.out):
            for reading in self.sheet.out:
                if reading.kind == "weight" and reading.unit_inferred:
                    reading.confidence = 0.5

    def _apply_unit(self, reading: Reading, value: Value) -> None:
        amount = reading.value
        reading.said_in = value.unit.row if value.unit is not None else None
        if not isinstance(amount, float):
            return
        if value.window_s is not None and reading.unit == "/min":
            reading.method = f"counted {amount:g} in {value.window_s:g} s"
            reading.value = half_up(amount * 60 / value.window_s, 0)
            return
        unit = value.unit.row if value.unit is not None else self._unit_carried(reading, value)
        if reading.kind == "temperature" and (unit is None or unit.code == "deg"):
            self._infer_scale(reading, amount)
            return
        if unit is None:
            self._infer_unit(reading, amount)
            self._read_out_decimals(reading, value)
            return
        if unit.to == reading.unit:
            total = convert(amount, unit)
            if value.minor is not None:
                number, minor = value.minor
                total = add(amount, unit, number.value, minor.row)
            reading.value = total
            if reading.value_high is not None:
                reading.value_high = convert(reading.value_high, unit)
            reading.method = _SAID_IN.get(unit.code, reading.method)

    def _infer_unit(self, reading: Reading, amount: float) -> None:
        if reading.unit == "kg" and amount > self._heaviest(reading):
            # "Weight nine fifty" of a guinea pig: no patient weighs that many kilograms.
            reading.unit_inferred = True
            reading.said_in = self.sheet.tables.unit("g")
            reading.value = convert(amount, reading.said_in)
            reading.method = "no unit said, read as grams"
            reading.confidence = 0.6
        elif reading.unit == "kg":
            reading.unit_inferred = True
            reading.method = "no unit said, taken as kilograms"
            reading.confidence = 0.8
        elif reading.unit == "/min" and self.sheet.analysis.from_sound and 1 <= amount < 4 and amount % 1:
            # Recognisers write "one thirty two" as 1.32; a person is asked to look.
            reading.value = half_up(amount * 100, 0)
            reading.method = f"heard as {amount:g}, read as {amount * 100:g} a minute"
            reading.confidence = 0.5

    def _read_out_decimals(self, reading: Reading, value: Value) -> None:
        """ "Weight ten fifty": two numbers read out for 10.50; it may be 1,050 grams, so a person is asked to look."""
        following = self.sheet.numbers.get(value.end)
        if reading.unit != "kg" or following is None or not isinstance(reading.value, float):
            return
        if reading.value % 1 or not 10 <= following.value < 100 or following.value % 1:
            return
        self.sheet.used.add(following.start)
        reading.end = max(reading.end, following.end)
        reading.method = (
            f"heard as {reading.value:g} {following.value:g}, read with a decimal point, as kilograms"
        )
        reading.value = half_up(reading.value + following.value / 100, 2)
        reading.confidence = 0.5

    def _heaviest(self, reading: Reading) -> float:
        plausible = self.sheet.tables.row(reading.kind).plausible
        return plausible[1] if plausible is not None else float("inf")

    def _unit_carried(self, reading: Reading, value: Value) -> UnitWord | None:
        """The unit of the reading that this one corrects or is compared with."""
        previous = self.sheet.out[-1] if self.sheet.out else None
        if previous is None or previous.kind != reading.kind or reading.kind != "weight":
            return None
        unit = previous.said_in
        if unit is not None and in_unit_of(previous, value):
            reading.said_in = unit
            return unit
        return None

    def _infer_scale(self, reading: Reading, amount: float) -> None:
        """No scale was said: what is far too hot for Celsius can only be Fahrenheit."""
        reading.unit_inferred = True
        fahrenheit = self.sheet.tables.unit("[degF]")
        low, high = self.sheet.tables.row("temperature").plausible or (0.0, 0.0)
        if low <= convert(amount, fahrenheit) <= high:
            reading.value = convert(amount, fahrenheit)
            if reading.value_high is not None:
                reading.value_high = convert(reading.value_high, fahrenheit)
            reading.method = "no scale said, read as degrees Fahrenheit"
        elif self.sheet.analysis.from_sound and low * 10 <= amount <= high * 10:
            # Recognisers write "thirty eight one" as 381; a person is asked to look.
            reading.value = amount / 10
            reading.method = f"heard as {amount:g}, read as {amount / 10:g} Celsius"
            reading.confidence = 0.5
        else:
            reading.method = "no scale said, taken as Celsius"


def in_unit_of(previous: Reading, value: Value) -> bool:
    """The earlier value was said in another unit than the stored one, so this one is too."""
    unit = previous.said_in
    if unit is None or not isinstance(previous.value, float):
        return False
    return previous.value / 4 < convert(value.number.read(decimal=True), unit) < previous.value * 4
