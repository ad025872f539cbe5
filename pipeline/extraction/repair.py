"""Puts trade words in the place of what a recogniser made of them; what was heard stays on the word.

A small recogniser writes "jingavitis", "malaclusion", "pato de matitis". A word is looked at when neither English nor the
lexicon knows it, or when the recogniser itself was unsure of it; two or three words together when one of them is. It becomes
the trade word that it resembles most in sound (a phonetic key) and in spelling, if the likeness reaches a bound, which is
higher for short words and lower for words of the system in view. Numbers, sides, denials, names and words the lexicon knows
are never touched. The new word carries what was heard and a probability so low that whatever is read from it is shown for a
person to check.
"""

from __future__ import annotations

import functools
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import cast

from rapidfuzz import process
from rapidfuzz.distance import JaroWinkler, Levenshtein

from lexicon import SYSTEMS, Entry, Lexicon, load_lexicon
from lexicon.forms import plural
from lexicon.schema import System
from pipeline.extraction.engine import load_pipeline
from pipeline.extraction.misheard import MisheardWords, english_ranks
from pipeline.extraction.tokens import Analysis, analysis_of
from pipeline.speech.model import Transcript, Utterance, Word

REPAIRED_PROBABILITY = 0.49
"""Most that a repaired word's probability may be: below one half a fact read from it is never taken as sure."""

# Likeness from which a word is taken for a trade word. Chosen on dictations by five synthetic voices so that no name and no
# ordinary word was taken; "jingavitis" has 0.85, "ceremony" for cerumen 0.90, "artiline" (a name) for ortolani 0.84.
_UNKNOWN = 0.845
_SHORT = 0.89  # words of five letters or less
_UNSURE = 0.84  # English words of which the recogniser was unsure, in the system in view only
_TOGETHER = 0.88  # several words for one
_VIEW_BONUS = 0.02
_KNOWN_ALIKE = 0.95  # words of the table of sound-alikes
_UNSURE_PROBABILITY = 0.5
_LONGEST = 3
# A word more common than this in English is no trade word, and nothing is turned into it.
_RARE_FROM_RANK = 18_000
_LEAST_LETTERS = 5
# Verb forms and comparatives made by rule are seldom trade words ("puffier").
_RULES = ("", "spelling", "plural")
# A lone letter is a name of something, but for the article.
_LONE_LETTERS = frozenset("bcdefghijklmnopqrstuvwxyz")
_PLURAL_ENDS = "seiy"
# Only the most alike in sound are compared letter by letter.
_COMPARED = 12
# How many words back a part that was named is still in view.
_VIEW_WORDS = 40

_LETTERS = re.compile(r"^([^A-Za-z]*)([A-Za-z](?:[A-Za-z'-]*[A-Za-z])?)([^A-Za-z]*)$")

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


def _system(entry: Entry) -> str:
    lexicon = load_lexicon()
    row = lexicon.structures if entry.kind == "structure" else lexicon.findings
    return str(row[entry.id].system)


@dataclass(frozen=True)
class _TradeWords:
    """Rare words of the lexicon, with the systems they belong to, and every word the lexicon knows.

    `plurals` are words that stand in no table as they are, only by the rule of plurals.
    """

    systems: dict[str, frozenset[str]]
    plurals: frozenset[str]
    by_key: dict[str, tuple[str, ...]]
    keys: tuple[str, ...]
    known: frozenset[str]

    def nearest(self, heard: str, view: frozenset[str]) -> tuple[str, float]:
        """The most alike trade word and its likeness, a little more for words of the systems in view."""
        best = ("", 0.0)
        for key, _, _ in process.extract(
            sound_key(heard), self.keys, scorer=Levenshtein.normalized_similarity, limit=_COMPARED
        ):
            for word in self.by_key[key]:
                if word in self.plurals and heard[-1] not in _PLURAL_ENDS:
                    continue
                alike = likeness(heard, word) + _VIEW_BONUS * (not view.isdisjoint(self.systems[word]))
                if alike > best[1]:
                    best = (word, alike)
        return best


def _trade_words() -> _TradeWords:
    return _trade_words_of(load_lexicon())


@functools.lru_cache(maxsize=2)
def _trade_words_of(lexicon: Lexicon) -> _TradeWords:
    ranks = english_ranks()
    systems: dict[str, set[str]] = defaultdict(set)
    written: set[str] = set()
    plurals: set[str] = set()
    known = {word for group in lexicon.cues.values() for term in group.terms for word in term.split()}
    known |= {word for row in lexicon.measurements.values() for name in row.names for word in name.split()}
    known |= {
        form
        for row in lexicon.breeds
        for name in row.names
        for word in name.split()
        for form in (word, plural(word))
    }
    for entry in lexicon.entries:
        if entry.rule not in _RULES:
            known.update(entry.term.split())
            continue
        for word in re.findall(r"[a-z]+", entry.term):
            known.add(word)
            if len(word) >= _LEAST_LETTERS and ranks.get(word, _RARE_FROM_RANK) >= _RARE_FROM_RANK:
                systems[word].add(_system(entry))
                (plurals if entry.rule == "plural" else written).add(word)
    by_key: dict[str, list[str]] = defaultdict(list)
    plurals -= written
    for word in systems:
        by_key[sound_key(word)].append(word)
    return _TradeWords(
        plurals=frozenset(plurals),
        systems={word: frozenset(named) for word, named in systems.items()},
        by_key={key: tuple(words) for key, words in by_key.items()},
        keys=tuple(by_key),
        known=frozenset(known),
    )


@dataclass(frozen=True)
class _Heard:
    """A word as it may be repaired: its letters, what stands around them, and whether it must stay."""

    word: Word
    before: str
    letters: str
    after: str
    fixed: bool

    @property
    def unknown(self) -> bool:
        """Whether neither English nor the lexicon has the word."""
        plain = self.letters.removesuffix("'s")
        return plain not in _trade_words().known and plain not in english_ranks()

    @property
    def unsure(self) -> bool:
        """Whether the recogniser itself did not trust the word."""
        return self.word.probability < _UNSURE_PROBABILITY


def repair(transcript: Transcript) -> Transcript:
    """Repair what was misheard; typed text and text without misheard words come back as they are.

    Offsets fit the new text. A repaired `Word` has `heard`, the words it stands for, and at most `REPAIRED_PROBABILITY`.
    """
    if not transcript.words:
        return transcript
    analysis = _read(transcript.text)
    alikes = _known_alikes(analysis)
    utterances = [
        (utterance, tuple(_repaired(utterance.words, analysis, alikes)))
        for utterance in transcript.utterances
    ]
    if all(utterance.words == words for utterance, words in utterances):
        return transcript
    return _joined(transcript, [words for _, words in utterances])


def systems_in_view(text: str) -> tuple[System, ...]:
    """The body systems named in a text, the last one first, each once; words of no one system say none."""
    found = [_system(entry) for mention in _read(text).mentions for entry in mention.entries[:1]]
    return tuple(name for name in dict.fromkeys(reversed(found)) if name in SYSTEMS)


def trade_words() -> frozenset[str]:
    """The single words that repair puts in: rare in English, and in the lexicon."""
    return frozenset(_trade_words().systems)


def _read(text: str) -> Analysis:
    nlp = load_pipeline()
    doc = nlp.make_doc(text)
    for component in ("rostral_numbers", "rostral_concepts"):
        doc = nlp.get_pipe(component)(doc)
    return analysis_of(doc)


def _known_alikes(analysis: Analysis) -> dict[int, tuple[int, str]]:
    """Words of the table of sound-alikes: where they begin, where they end (characters), and the term."""
    misheard = cast("MisheardWords", load_pipeline().get_pipe("rostral_misheard"))
    found = {}
    for mention in misheard.known_alikes(analysis):
        start, end = analysis.slice(mention.start, mention.end)
        found[start] = end, mention.entries[0].term
    return found


def _repaired(
    words: tuple[Word, ...], analysis: Analysis, alikes: dict[int, tuple[int, str]]
) -> Iterator[Word]:
    row = _looked_at(words, analysis)
    at = 0
    while at < len(row):
        start = words[at].start_char + len(row[at].before)
        if start in alikes:
            end, term = alikes[start]
            count = sum(words[at].start_char <= word.start_char < end for word in words)
            alike = _KNOWN_ALIKE
        else:
            count, term, alike = _best(row, at, _view(analysis, words[at].start_char))
        if count:
            yield from _written(row[at : at + count], term, alike)
        else:
            yield words[at]
        at += max(count, 1)


def _written(taken: list[_Heard], term: str, alike: float) -> Iterator[Word]:
    """The words of a term in the place of those heard; each has a share of their time."""
    first, last = taken[0].word, taken[-1].word
    parts = _like_written(first.text, term).split()
    texts = [*parts[:-1], parts[-1] + taken[-1].after]
    texts[0] = taken[0].before + texts[0]
    for number, text in enumerate(texts):
        shares = [_between(first.start_s, last.end_s, edge / len(texts)) for edge in (number, number + 1)]
        yield Word(
            text=text,
            start_char=first.start_char,
            end_char=last.end_char,
            start_s=shares[0],
            end_s=shares[1],
            probability=round(
                min(REPAIRED_PROBABILITY * min(alike, 1.0), *(one.word.probability for one in taken)), 3
            ),
            heard=" ".join(one.word.text for one in taken),
        )


def _between(start_s: float | None, end_s: float | None, share: float) -> float | None:
    return None if start_s is None or end_s is None else round(start_s + share * (end_s - start_s), 2)


def _looked_at(words: tuple[Word, ...], analysis: Analysis) -> list[_Heard]:
    fixed = [analysis.slice(number.start, number.end) for number in analysis.numbers]
    fixed += [
        analysis.slice(cue.start, cue.end)
        for cue in analysis.cues
        if cue.kind in ("side", "negation_before", "negation_after", "pseudo_negation")
    ]
    row = []
    for word in words:
        parts = _LETTERS.match(word.text)
        held = any(start < word.end_char and word.start_char < end for start, end in fixed)
        before, letters, after = parts.groups() if parts else ("", "", "")
        row.append(_Heard(word, before, letters.lower(), after, held or not parts))
    return row


def _view(analysis: Analysis, start_char: int) -> frozenset[str]:
    """Systems of the parts and findings named shortly before."""
    reached = [m for m in analysis.mentions if analysis.slice(m.start, m.end)[1] <= start_char]
    if not reached:
        return frozenset()
    nearest = [m for m in reached if reached[-1].end - m.start <= _VIEW_WORDS][-3:]
    return frozenset(_system(entry) for mention in nearest for entry in mention.entries)


def _best(row: list[_Heard], at: int, view: frozenset[str]) -> tuple[int, str, float]:
    """How many words from `at` on are one misheard trade word (0 for none), which, and how alike."""
    best = (0, "", 0.0)
    for count in range(1, min(_LONGEST, len(row) - at) + 1):
        taken = row[at : at + count]
        if any(one.fixed for one in taken) or any(
            one.after or one.word.text[:1].isupper() for one in taken[:-1]
        ):
            # What lies before a mark, or is written like a name, begins nothing that goes on.
            if count == 1 and row[at].fixed:
                break
            if count > 1:
                break
        bound = _bound(taken)
        if bound is None:
            continue
        letters = "".join(one.letters for one in taken).replace("'", "")
        if len(letters) < _LEAST_LETTERS - (count == 1):
            continue
        term, alike = _trade_words().nearest(letters, view)
        systems = _trade_words().systems.get(term, frozenset())
        in_view = bool(view) and ("any" in systems or not view.isdisjoint(systems))
        if _swallows_denial(letters, term) or (bound == _UNSURE and not in_view):
            continue
        if alike >= bound and alike > best[2]:
            best = (count, term, alike)
    return best


def _bound(taken: list[_Heard]) -> float | None:
    """The likeness these words need, None when there is nothing to repair."""
    known = _trade_words().known
    if len(taken) == 1:
        (one,) = taken
        if one.letters in known or _is_name(one):
            return None
        if one.unknown:
            return _SHORT if len(one.letters) <= _LEAST_LETTERS else _UNKNOWN
        return _UNSURE if one.unsure and len(one.letters) >= _LEAST_LETTERS else None
    telling = any(
        len(one.letters) > 2 and (one.unknown or (one.unsure and one.letters not in known)) for one in taken
    )
    return _TOGETHER if telling and not any(one.letters in _LONE_LETTERS for one in taken) else None


def _is_name(one: _Heard) -> bool:
    """Whether the word is written like a name and not only at the start of a sentence."""
    return one.word.text[:1].isupper() and not one.unknown


def _swallows_denial(letters: str, term: str) -> bool:
    """Whether a "no" may be inside what was heard ("nomyxomatosis"), which must not go with it."""
    return any(letters.startswith(no) and not term.startswith(no[0]) for no in ("no", "know", "snow", "not"))


def _like_written(heard: str, term: str) -> str:
    return term.capitalize() if heard[:1].isupper() else term


def _joined(transcript: Transcript, rows: list[tuple[Word, ...]]) -> Transcript:
    """The transcript of these words, with one space between, as recognition writes it."""
    text = ""
    utterances = []
    for words in rows:
        placed = []
        for word in words:
            text += " " if text else ""
            end = len(text) + len(word.text)
            placed.append(word.model_copy(update={"start_char": len(text), "end_char": end}))
            text += word.text
        if placed:
            utterances.append(
                Utterance(
                    start_char=placed[0].start_char,
                    end_char=placed[-1].end_char,
                    start_s=placed[0].start_s,
                    end_s=placed[-1].end_s,
                    words=tuple(placed),
                )
            )
    # Built anew, since a copy would keep the words that the old one remembers.
    return Transcript(
        text=text,
        utterances=tuple(utterances),
        language=transcript.language,
        model=transcript.model,
        duration_s=transcript.duration_s,
        dropped=transcript.dropped,
    )
