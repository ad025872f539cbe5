"""The written forms of a term that follow by rule from the one in a table: spelling, plural, verb forms, comparatives.

Tables hold one form. A form made by rule never displaces one that a person wrote.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

_PLAIN_TERM = re.compile(r"[a-z]+(?: [a-z]+)*")
_VOWELS = re.compile(r"[aeiouy]+")
_CONSONANT_END = re.compile(r"[^aeiou][aeiou][bdgklmnprt]")

# Singulars end in -ss, -us, -is or -as; other words in -s are plurals, but for the lens.
_NO_PLURAL = re.compile(
    r"(?:(?<!\blen)s(?<![aisu]s)|[^e]ae|ness|itis|ous|teeth|feet|(?<![beh])ed|(?:al|iv|ous)ly)$"
)
_IRREGULAR = (("foot", "feet"), ("tooth", "teeth"), ("louse", "lice"))


def normal_form(term: str) -> str:
    """A term as the matcher sees it: lower case, hyphens and slashes as blanks, single blanks."""
    if _PLAIN_TERM.fullmatch(term):
        return term
    return re.sub(r"[\s/-]+", " ", term.lower().replace("\u2019", "'")).strip()


def plural(noun_phrase: str) -> str:
    """Regular English plural of the last word ("eyelid" → "eyelids", "body" → "bodies", "mass" → "masses").

    What has none comes back as it is: plurals ("crackles", "bullae"), states ("lameness", "otitis"), and words that are no nouns
    ("matted", "squamous"). A wrong plural attracts what was misheard.
    """
    if _NO_PLURAL.search(noun_phrase):
        return noun_phrase
    for ending, many in _IRREGULAR:
        if noun_phrase.endswith(ending):
            return noun_phrase.removesuffix(ending) + many
    if noun_phrase.endswith("sis"):
        return noun_phrase[:-2] + "es"
    if re.search(r"(?:s|x|z|ch|sh)$", noun_phrase):
        return noun_phrase + "es"
    if re.search(r"[^aeiou]y$", noun_phrase):
        return noun_phrase[:-1] + "ies"
    return noun_phrase + "s"


def spellings(term: str, pairs: Iterable[tuple[str, str]]) -> set[str]:
    """The term in both spellings of every pair that occurs in it (UK and US)."""
    # Blanks in a pair are where words begin and end.
    forms = {f" {term} "}
    for left, right in pairs:
        for form in tuple(forms):
            if left in form:
                forms.add(form.replace(left, right))
            elif right in form:
                forms.add(form.replace(right, left))
    return {form.strip() for form in forms}


class Inflection:
    """Forms of verbs and adjectives, from lexicon/inflection.toml."""

    def __init__(self, table: Mapping[str, Any]) -> None:
        self._of_verb: dict[str, tuple[str, ...]] = {}
        without_past = frozenset(table["without_past"])
        for base in table["verbs"]:
            self._add_verb(base, tuple(_regular(base, past=base not in without_past)))
        for base, forms in table["irregular"].items():
            self._add_verb(base, tuple(forms))
        self._no_comparative = frozenset(table["adjectives"]["without_comparative"])

    def _add_verb(self, base: str, forms: tuple[str, ...]) -> None:
        every = (base, *forms)
        for form in every:
            self._of_verb.setdefault(form, every)

    def verb_forms(self, term: str) -> Iterator[str]:
        """The other forms of a term that begins with a verb ("shaking his head" → "shakes his head").

        Only -ing and -s forms are taken for verbs: "pulled", "lean" and "wet" are adjectives as often. A bare verb has
        no base form and no irregular past: they are as often another word ("limp", "water", "a bit", "the left").
        """
        first, blank, rest = term.partition(" ")
        if not first.endswith(("ing", "s")):
            return
        for form in self._of_verb.get(first, ()):
            if form != first and (blank or form.endswith(("ing", "s", "ed"))):
                yield form + blank + rest

    def comparatives(self, adjective: str) -> Iterator[str]:
        """ "Red" → "redder", "crusty" → "crustier"; nothing for other words."""
        short = len(_VOWELS.findall(adjective.removesuffix("e"))) == 1 and 3 <= len(adjective) <= 6
        if " " in adjective or adjective in self._no_comparative or adjective in self._of_verb:
            return
        if re.fullmatch(r"[a-z]{3,7}[^aeiou]y", adjective):
            yield adjective[:-1] + "ier"
        elif short and adjective.isalpha() and not re.search(r"s$|[a-z]{2}ed$", adjective):
            stem = adjective.removesuffix("e")
            if re.fullmatch(r"[a-z]*" + _CONSONANT_END.pattern, adjective):
                stem += adjective[-1]
            yield stem + "er"


def _regular(base: str, *, past: bool) -> Iterator[str]:
    """The -s, -ing and -ed forms of a regular verb."""
    yield base + "s" if base.endswith("ed") else plural(base)
    single = len(_VOWELS.findall(base)) == 1 and re.fullmatch(r"[a-z]*" + _CONSONANT_END.pattern, base)
    doubled = base + base[-1] if single else base
    yield (base.removesuffix("e") if base.endswith("e") and not base.endswith("ee") else doubled) + "ing"
    if past:
        yield base + "d" if base.endswith("e") else re.sub(r"(?<=[^aeiou])y$", "i", doubled) + "ed"
