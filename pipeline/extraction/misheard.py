"""Takes words that are no English for the trade words they sound like; what was heard stays in the evidence.

A small recogniser writes "jingavitis", "weasers", "no this charge". Three ways lead to a term: the table of known sound-alikes
(lexicon/soundalikes.toml); by sound (Metaphone key) and spelling together, a single word that no English word list and no table
knows; and in the same way two to four words right after a denial or a word of degree, where a finding is due. Numbers, sides,
denials and capitalised names are never touched. A repaired mention carries its likeness, which lowers the confidence of what is
read from it so far that a person is asked to look.
"""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import KeysView
from dataclasses import dataclass
from importlib import resources

import jellyfish
from rapidfuzz import fuzz
from rapidfuzz.distance import JaroWinkler
from spacy.tokens import Doc

from lexicon import Entry, Lexicon
from lexicon.forms import plural
from pipeline.extraction.mentions import Mention
from pipeline.extraction.tokens import MARKS, Analysis, SpokenTokenizer, analysis_of

_SINGLE = 0.86  # likeness from which an unknown word is taken for a term
_DUE = 0.82  # the same for words in the place of a finding
_LONGEST_WINDOW = 4
_DOUBT = 0.58  # a guess by sound is never sure: below the confidence from which nobody is asked
_KNOWN_DOUBT = 0.55
_ENDS_WINDOW = frozenset(
    [
        "and",
        "so",
        "but",
        "that",
        "is",
        "are",
        "was",
        "he",
        "she",
        "it",
        "they",
        "in",
        "on",
        "at",
        "to",
        "of",
        "i",
        "we",
        "you",
        "for",
        "with",
        "the",
        "my",
        "no",
        "not",
    ]
)


@dataclass(frozen=True, slots=True)
class _Term:
    letters: str
    key: str
    entries: tuple[Entry, ...]


@functools.lru_cache(maxsize=1)
def english_ranks() -> dict[str, int]:
    """English words with their rank by frequency, 0 the most frequent (symspellpy's dictionary of 82,834 forms, MIT licence)."""
    table = resources.files("symspellpy").joinpath("frequency_dictionary_en_82_765.txt")
    rows = (line.split() for line in table.read_text(encoding="utf-8-sig").splitlines())
    counts = {word: int(count) for word, count in rows}
    return {word: rank for rank, word in enumerate(sorted(counts, key=counts.__getitem__, reverse=True))}


def english_words() -> KeysView[str]:
    """The words of `english_ranks`."""
    return english_ranks().keys()


class MisheardWords:
    """spaCy component that adds mentions for words taken as misheard (needs mentions, cues and numbers)."""

    def __init__(self, lexicon: Lexicon, tokenizer: SpokenTokenizer) -> None:
        by_term: dict[str, list[Entry]] = defaultdict(list)
        for entry in lexicon.entries:
            by_term[entry.term].append(entry)
        self._known = {word for term in by_term for word in term.split()}
        self._known |= {
            word for group in lexicon.cues.values() for term in group.terms for word in term.split()
        }
        self._known |= {
            word for row in lexicon.measurements.values() for name in row.names for word in name.split()
        }
        self._breeds = {
            form
            for row in lexicon.breeds
            for name in row.names
            for word in name.split()
            for form in (word, plural(word))
        }
        self._known |= self._breeds
        self._by_sound: dict[str, list[_Term]] = defaultdict(list)
        for name, entries in by_term.items():
            letters = name.replace(" ", "")
            if len(letters) < 4 or " " in name or not letters.isalpha():
                continue
            key = jellyfish.metaphone(letters)
            if len(key) >= 2:
                self._by_sound[key[:1]].append(_Term(letters, key, tuple(entries)))
        self._alike: dict[tuple[str, ...], tuple[tuple[Entry, ...], bool]] = {}
        for row in lexicon.soundalikes:
            meanings = tuple(by_term[row.term])
            for heard in row.heard:
                self._alike[tuple(tokenizer.phrase(heard))] = (meanings, row.where == "due")
        self._copulas = frozenset(lexicon.words["groups"]["copulas"])
        self._alike_starts = {words[0] for words in self._alike}
        self._best = functools.lru_cache(maxsize=4096)(self._search)

    def __call__(self, doc: Doc) -> Doc:
        """Read the text that the Doc carries."""
        analysis = analysis_of(doc)
        taken = {t for m in analysis.mentions for t in range(m.start, m.end)}
        taken |= {t for n in analysis.numbers for t in range(n.start, n.end)}
        taken |= {
            t
            for c in analysis.cues
            if c.kind in ("side", "negation_before", "negation_after")
            for t in range(c.start, c.end)
        }
        found = self.known_alikes(analysis)
        covered = {t for m in found for t in range(m.start, m.end)}
        if covered:
            analysis.mentions = [m for m in analysis.mentions if covered.isdisjoint(range(m.start, m.end))]
            taken |= covered
        found += self._due(analysis, taken)
        taken |= {t for m in found for t in range(m.start, m.end)}
        found += self._unknown(analysis, taken)
        if found:
            analysis.mentions = sorted([*analysis.mentions, *found], key=lambda m: m.start)
        return doc

    def known_alikes(self, analysis: Analysis) -> list[Mention]:
        """Words of the table of sound-alikes, where their context allows."""
        due = {c.end for c in analysis.cues if c.kind in ("negation_before", "severity")}
        norms = analysis.norms
        found: list[Mention] = []
        at = 0
        while at < len(norms):
            step = 1
            if norms[at] in self._alike_starts:
                for length in range(min(_LONGEST_WINDOW, len(norms) - at), 0, -1):
                    entries, needs_due = self._alike.get(tuple(norms[at : at + length]), ((), False))
                    listed = at > 0 and norms[at - 1] in ("or", "nor", "no", "any")
                    if entries and (not needs_due or at in due or listed):
                        # "dears are": the verb stays a verb.
                        end = at + length - (length > 1 and norms[at + length - 1] in self._copulas)
                        found.append(Mention(at, end, entries, _KNOWN_DOUBT))
                        step = end - at
                        break
            at += step
        return found

    def _unknown(self, analysis: Analysis, taken: set[int]) -> list[Mention]:
        """Single words that neither English nor the lexicon knows."""
        found = []
        for at, norm in enumerate(analysis.norms):
            if at in taken or len(norm) < 5 or len(norm) > 20 or not norm.isalpha() or norm in self._known:
                continue
            if analysis.capitals[at] or norm in english_words():
                continue
            term, likeness = self._best(norm, False)
            if term is not None and len(term.key) >= 3 and likeness >= _SINGLE:
                found.append(Mention(at, at + 1, term.entries, round(likeness * _DOUBT, 2)))
        return found

    def _due(self, analysis: Analysis, taken: set[int]) -> list[Mention]:
        """Two to four words, or one unknown word, in the place where a finding is due."""
        found: list[Mention] = []
        done = -1
        norms = analysis.norms
        for cue in analysis.cues:
            if cue.kind not in ("negation_before", "severity") or cue.end <= done:
                continue
            if cue.kind == "negation_before" and norms[cue.end - 1] not in (
                "no",
                "any",
                "or",
                "nor",
                "without",
            ):
                continue
            start = cue.end
            while start < len(norms) and norms[start] in ("obvious", "any", "of", "overt"):
                start += 1
            best: tuple[float, int, _Term] | None = None
            for end in range(start + 1, min(start + _LONGEST_WINDOW, len(norms)) + 1):
                norm = norms[end - 1]
                if (
                    end - 1 in taken
                    or norm in self._breeds
                    or norm in _ENDS_WINDOW
                    or norm in MARKS
                    or not norm.isalpha()
                ):
                    break
                plain = all(norm in english_words() for norm in norms[start:end])
                if plain and (end == start + 1 or cue.kind == "severity"):
                    continue  # "a lot of people ask": English words after a word of degree mostly mean what they say
                term, likeness = self._best("".join(norms[start:end]), True)
                if (
                    term is not None
                    and len(term.key) >= 3
                    and likeness >= _DUE
                    and (best is None or likeness > best[0])
                ):
                    best = (likeness, end, term)
            if best is not None:
                found.append(Mention(start, best[1], best[2].entries, round(best[0] * _DOUBT, 2)))
                done = best[1]
        return found

    def _search(self, letters: str, nouns_only: bool) -> tuple[_Term | None, float]:
        """The most alike term with its likeness (0 to 1)."""
        key = jellyfish.metaphone(letters)
        if len(key) < 2:
            return None, 0.0
        best: tuple[_Term | None, float] = (None, 0.0)
        for term in self._by_sound.get(key[:1], ()):
            if abs(len(term.key) - len(key)) > 2 or (nouns_only and term.entries[0].kind != "noun"):
                continue
            sound = fuzz.ratio(key, term.key) / 100
            if sound < 0.7:
                continue
            likeness = 0.5 * sound + 0.5 * JaroWinkler.similarity(letters, term.letters)
            if likeness > best[1]:
                best = (term, likeness)
        return best
