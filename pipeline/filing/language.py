"""The fixed words of the documents: English as it comes, or a practice's own file over it."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Sequence
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Literal

from pydantic import Field

from pipeline.extraction.model import Comparator, Measurement
from pipeline.filing.errors import FilingError
from pipeline.record.wording import unit_text
from pipeline.speech.model import Frozen

ENGLISH = Path(__file__).parent / "english.toml"
"""The file that a practice copies to reword or translate it."""

_MONTHS = 12
_COMPARATORS: dict[Comparator, str] = {
    "<": "under",
    "<=": "at_most",
    ">": "over",
    ">=": "at_least",
    "~": "about",
}


class Language(Frozen):
    """The words of all documents, by section and name; `{braces}` are filled in by whoever prints."""

    sections: dict[str, dict[str, str]] = Field(description="As in english.toml.")

    def __getitem__(self, section: str) -> dict[str, str]:
        """Give a section; all those of english.toml are there."""
        return self.sections[section]

    def day(self, day: date) -> str:
        """Write a day with its month's name."""
        month = listed(self["language"]["months"])[day.month - 1]
        return self["language"]["day"].format(day=day.day, month=month, year=day.year)

    def short_day(self, day: date) -> str:
        """Write a day for a narrow place: the month by the first letters of its name."""
        month = listed(self["language"]["months"])[day.month - 1]
        return self["language"]["day"].format(day=day.day, month=month[:3], year=day.year)

    def limits(self, low: float | None, high: float | None) -> str:
        """Write the ends of a range, either of which may be open; empty when both are."""
        words = self["language"]
        if low is not None and high is not None:
            return number(low) if low == high else words["between"].format(low=number(low), high=number(high))
        if high is not None:
            return words["up_to"].format(high=number(high))
        return words["from"].format(low=number(low)) if low is not None else ""

    def value(self, measurement: Measurement) -> str:
        """Write a value with its unit: "under 2 s", "30 to 36 per minute", "7 of 9"."""
        words = self["values"]
        if not isinstance(measurement.value, float):
            return measurement.value or words["not_counted"]
        said = number(measurement.value)
        if measurement.value_high is not None:
            said = words["span"].format(low=said, high=number(measurement.value_high))
        if measurement.out_of is not None:
            said = words["score"].format(value=said, out_of=number(measurement.out_of))
        said = f"{said} {self.unit(measurement.unit)}".strip()
        comparator = measurement.comparator
        return words[_COMPARATORS[comparator]].format(value=said) if comparator is not None else said

    def unit(self, unit: str | None) -> str:
        """Write a unit as it is printed; nothing for a score."""
        return self["values"]["per_minute"] if unit == "/min" else unit_text(unit)

    def age(self, months: int) -> str:
        """Write an age: in months up to two years."""
        words = self["values"]
        years, rest = divmod(months, 12)
        if years < 2:
            return words["one_month"] if months == 1 else words["months"].format(months=months)
        if rest > 1:
            return words["years_months"].format(years=years, months=rest)
        return words["years_one_month" if rest else "years"].format(years=years)

    def listing(self, items: Sequence[str], last: Literal["or", "and"]) -> str:
        """Write a list as it is said: "a, b or c"."""
        if len(items) < 2:
            return "".join(items)
        return self["values"][last].format(first=", ".join(items[:-1]), last=items[-1])

    def time(self, at: datetime) -> str:
        """Write a day and a time with the name of its zone, or how far it is from UTC where it has no name."""
        clock = self["language"]["time"].format(hour=f"{at:%H}", minute=f"{at:%M}")
        name = at.tzname() or ""
        if name.startswith(("+", "-")):  # what zones without a name of their own are called: "+0545", "-03"
            name = f"UTC{name[:3]}{f':{name[3:]}' if name[3:] else ''}"
        return f"{self.day(at)}, {clock} {name}".strip()


@cache
def _ours() -> Language:
    return Language(sections=tomllib.loads(ENGLISH.read_text(encoding="utf-8")))


def load_language(own: Path | None = None) -> Language:
    """Give the words; those of a practice's `own` file, read anew each time, replace ours of the same name.

    Raises FilingError when the file cannot be read, names what we do not have, or changes what stands in braces.
    """
    ours = _ours()
    if own is None:
        return ours
    theirs = _read(own)
    sections = {name: dict(words) for name, words in ours.sections.items()}
    for section, words in theirs.items():
        for name, word in words.items():
            text = _fits(own, section, name, word, ours.sections.get(section, {}).get(name))
            sections[section][name] = text
    _check_months(own, sections["language"]["months"])
    return Language(sections=sections)


def number(value: float) -> str:
    """Write a number without needless digits."""
    return f"{value:.6g}"


def listed(text: str) -> list[str]:
    """Split a list as the file writes it, by commas."""
    return [part.strip() for part in text.split(",") if part.strip()]


def _read(own: Path) -> dict[str, dict[str, object]]:
    try:
        read = tomllib.loads(own.read_text(encoding="utf-8"))
    except OSError as error:
        raise FilingError(f"The words of the documents, {own}, cannot be read: {error.strerror}.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise FilingError(
            f"{own} is no TOML file: {error}. Copy {ENGLISH.name} again and change it there."
        ) from error
    loose = [name for name, words in read.items() if not isinstance(words, dict)]
    if loose:
        raise FilingError(
            f'{own}: "{loose[0]}" stands in no section. Put it below its [section], as in {ENGLISH.name}.'
        )
    return read


def _fits(own: Path, section: str, name: str, text: object, ours: str | None) -> str:
    """A text of theirs, if ours has the same gaps to fill in."""
    where = f"{own}, [{section}] {name}"
    if ours is None:
        raise FilingError(
            f"{where}: there is no such text in {ENGLISH.name}. Take the line out or correct its name."
        )
    if not isinstance(text, str) or not text.strip():
        raise FilingError(f"{where}: write words in quotation marks.")
    try:
        gaps = _gaps(text)
    except ValueError:
        raise FilingError(f"{where}: a brace is not closed or has no partner.") from None
    if strange := gaps - _gaps(ours):
        raise FilingError(
            f"{where}: nothing is filled in for {{{min(strange)}}}. Possible here: "
            f"{', '.join(f'{{{gap}}}' for gap in sorted(_gaps(ours))) or 'nothing'}."
        )
    return text


def _gaps(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def _check_months(own: Path, months: str) -> None:
    if len(listed(months)) != _MONTHS:
        raise FilingError(f"{own}, [language] months: write twelve names with commas between.")
