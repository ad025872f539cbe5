"""The desk's words: all in one file, none missing, none left over."""

from __future__ import annotations

import re
from pathlib import Path
from string import Formatter

from pipeline.desk.texts import texts

DESK = Path(__file__).parents[2] / "pipeline" / "desk"


def asked_for() -> tuple[set[str], set[str]]:
    """Names that templates, scripts and modules ask for as they are, and beginnings that values are put behind."""
    whole: set[str] = set()
    begun: set[str] = set()
    for file in (*DESK.rglob("*.html"), *DESK.rglob("*.js"), *DESK.rglob("*.py")):
        source = file.read_text(encoding="utf-8")
        named = re.findall(
            r"""\b(?:t|t_or|say|say_or|_refuse)\(\s*(?:\d+, )?f?["']([a-z_.]+)(["'{])""", source
        )
        named += re.findall(r"""["']([a-z_]+\.[a-z_]+)(["'])""", source)
        named += [
            (prefix, "{") for prefix in re.findall(r"""f?["']([a-z_]+\.[a-z_]*)(?:\{|" [+~])""", source)
        ]
        named += [(prefix, "{") for prefix in re.findall(r"""["']([a-z_]+\.)["']""", source)]
        for name, end in named:
            (begun if end == "{" or name.endswith((".", "_")) else whole).add(name)
    return whole, begun


def test_every_text_that_is_asked_for_is_there() -> None:
    known = set(texts())
    whole, _ = asked_for()
    sections = {name.split(".")[0] for name in known}
    missing = {
        name
        for name in whole
        if name.split(".")[0] in sections
        and name not in known
        and not {f"{name}.one", f"{name}.other"} <= known
        and not any(one.startswith(name) for one in known)
        and not name.endswith((".html", ".js", ".css", ".svg", ".toml"))
    }
    assert missing == set()


def test_every_text_is_asked_for() -> None:
    whole, begun = asked_for()
    left = {
        name
        for name in texts()
        if name not in whole
        and name.removesuffix(".one").removesuffix(".other") not in whole
        and not any(name.startswith(beginning) for beginning in begun)
    }
    assert left == set()


def test_both_forms_of_a_number_want_the_same_values() -> None:
    for name, text in texts().items():
        if name.endswith(".one"):
            other = texts()[f"{name.removesuffix('.one')}.other"]
            assert fields(text) <= fields(other), name


def fields(text: str) -> set[str]:
    return {field for _, field, _, _ in Formatter().parse(text) if field}
