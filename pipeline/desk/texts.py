"""Every word that the desk says, from one file for each language: `texts/en.toml` is what a translation starts from."""

from __future__ import annotations

import functools
import json
import tomllib
from datetime import date
from importlib import resources
from typing import Any

from markupsafe import Markup


class TextError(LookupError):
    """The desk was asked for a text that the file does not hold."""


@functools.cache
def texts(language: str = "en") -> dict[str, str]:
    """All texts by their dotted names."""
    raw = (resources.files("pipeline.desk") / "texts" / f"{language}.toml").read_text(encoding="utf-8")
    return dict(_flat("", tomllib.loads(raw)))


def say(name: str, /, **values: object) -> str:
    """A text with its values put in; where a number `n` is given, `name.one` or `name.other` is taken.

    Raises TextError.
    """
    found = texts()
    if "n" in values and name not in found:
        name = f"{name}.{'one' if values['n'] == 1 else 'other'}"
    try:
        return found[name].format_map(values)
    except KeyError as error:
        raise TextError(f"the texts lack {name!r}, or it needs {error}") from None


def day(value: date | None) -> str:
    """A day as people in a practice read it, with the month as a word so that none takes it for another; empty for none."""
    return "" if value is None else f"{value.day} {say(f'month.{value.month}')} {value.year}"


def say_or(name: str, otherwise: str) -> str:
    """A text, or `otherwise` where the file has none: for values that may be anything."""
    return texts().get(name, otherwise)


def as_json(*sections: str) -> Markup:
    """The texts of some sections for the page's own scripts, safe within a script element of data."""
    chosen = {
        name: text
        for name, text in texts().items()
        if any(name == section or name.startswith(f"{section}.") for section in sections)
    }
    plain = json.dumps(chosen, ensure_ascii=False)
    return Markup(plain.replace("<", "\\u003c").replace("&", "\\u0026"))  # noqa: S704 - no mark-up is left


def _flat(before: str, table: dict[str, Any]) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for key, value in table.items():
        name = f"{before}{key}"
        found += _flat(f"{name}.", value) if isinstance(value, dict) else [(name, str(value))]
    return found
