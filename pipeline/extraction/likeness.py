"""How alike two words sound and look, to a small recogniser."""

from __future__ import annotations

import re

from rapidfuzz.distance import JaroWinkler, Levenshtein

# English spellings of one sound, as a phonetic key has them; voiced and unvoiced sounds, which recognisers mix up, share a
# letter, and so do all vowels. The order matters.
_SOUNDS = tuple(
    (re.compile(spelling), sound)
    for spelling, sound in (
        (r"[^a-z]", ""),
        (r"^[pb]t", "t"),
        (r"^ps", "s"),
        (r"^[pkg]n", "n"),
        (r"^wr", "r"),
        (r"ph", "f"),
        (r"sch", "sk"),
        (r"tch|dg(?=[eiy])", "c"),
        (r"ck|ch", "k"),
        (r"qu", "kw"),
        (r"x", "ks"),
        (r"ae|oe", "e"),
        (r"sc(?=[eiy])|c(?=[eiy])", "s"),
        (r"c", "k"),
        (r"g(?=[eiy])", "j"),
        (r"(?<=[aeiouy])gh|[hw]", ""),
        (r"z", "s"),
        (r"v", "f"),
        (r"d", "t"),
        (r"b", "p"),
        (r"g", "k"),
        (r"[aeiouy]+", "a"),
        (r"(.)\1+", r"\1"),
        (r"a$", ""),
    )
)


def sound_key(text: str) -> str:
    """A phonetic key: words that sound alike to a small recogniser have like keys. Empty without letters."""
    key = text.lower()
    for spelling, sound in _SOUNDS:
        key = spelling.sub(sound, key)
    return key


def likeness(heard: str, term: str) -> float:
    """How alike two words are, 0 to 1: three fifths the sound, two fifths the spelling. Letters only, lower case."""
    sound = Levenshtein.normalized_similarity(sound_key(heard), sound_key(term))
    spelling = JaroWinkler.similarity(heard, term) + Levenshtein.normalized_similarity(heard, term)
    return float(0.6 * sound + 0.2 * spelling)
