"""Finds the lexicon's words and the cues (spaCy PhraseMatcher) in a tokenised text, longest first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from spacy.matcher import PhraseMatcher
from spacy.tokens import Doc
from spacy.vocab import Vocab

from lexicon import Lexicon
from lexicon.schema import CueGroup
from pipeline.extraction.alternation import Alternation
from pipeline.extraction.mentions import Mention
from pipeline.extraction.terms import Match, TermTree
from pipeline.extraction.tokens import Analysis, SpokenTokenizer, analysis_of

_LOOSE = 0.9  # likeness of a term that was not said word by word


@dataclass(frozen=True, slots=True)
class Cue:
    """A cue of lexicon/cues in tokens start to end (exclusive)."""

    start: int
    end: int
    group: CueGroup
    kind: str


class ConceptMatcher:
    """spaCy component that fills `mentions` and `cues` of the Analysis."""

    def __init__(self, vocab: Vocab, lexicon: Lexicon, tokenizer: SpokenTokenizer) -> None:
        self._cues: dict[int, CueGroup] = {}
        self._lengths = frozenset(
            t for unit in lexicon.units if unit.quantity == "length" for t in unit.terms
        )
        self._tree = TermTree(
            ((tuple(tokenizer.phrase(entry.term)), entry) for entry in lexicon.entries),
            lexicon.words["matching"],
        )
        self._alternation = Alternation(self._tree, lexicon)
        self._joining = frozenset(lexicon.words["reading"]["joining"])
        self._cue_matcher = PhraseMatcher(vocab, attr="ORTH")
        for group in lexicon.cues.values():
            key = f"cue {group.id}"
            self._cue_matcher.add(key, [Doc(vocab, words=tokenizer.phrase(term)) for term in group.terms])
            self._cues[vocab.strings.add(key)] = group

    def __call__(self, doc: Doc) -> Doc:
        """Read the text that the Doc carries."""
        analysis = analysis_of(doc)
        cues = [
            Cue(start, end, group, group.kind)
            for group, start, end in (
                (self._cues[key], start, end) for key, start, end in self._cue_matcher(doc)
            )
        ]
        cues = _longest_per_kind(cues)
        # "No sign of fleas": the denial's words are not free to begin a term ("sign of fleas").
        taken = {t for c in cues if c.kind in _TAKING for t in range(c.start + 1, c.end)}
        # "The left eye scratch that": words that take a statement back are no part of a term.
        withdrawing = [
            range(c.start, c.end) for c in cues if c.kind == "withdraw" and c.group.value != "named"
        ]
        apart = {t for tokens in withdrawing for t in tokens}
        found = (
            m
            for m in self._tree.find(analysis.norms)
            if (m.start not in taken or m.end in taken)
            and (not apart or apart.isdisjoint(range(m.start, m.end)))
        )
        mentions = self._alternation.settle(_longest(_mentions(found)), analysis.norms)
        mentions = self._with_shared_heads(mentions, analysis.norms)
        mentions = self._without_units(mentions, analysis)
        analysis.mentions, analysis.cues = _settle(mentions, cues)
        return doc

    def _with_shared_heads(self, mentions: list[Mention], norms: list[str]) -> list[Mention]:
        """Add the first of two terms that share their last words ("nasal or ocular discharge", "upper and lower incisors")."""
        covered = {token for mention in mentions for token in range(mention.start, mention.end)}
        shared = []
        for mention in mentions:
            first = mention.start - 2
            head = norms[mention.start + 1 : mention.end]
            if not head or first < 0 or norms[first + 1] not in self._joining or first in covered:
                continue
            entries = self._tree.exact([norms[first], *head])
            kinds = {entry.kind for entry in mention.entries}
            if entries and {entry.kind for entry in entries} <= kinds:
                shared.append(Mention(first, first + 1, tuple(entries)))
        return sorted([*mentions, *shared], key=lambda mention: mention.start) if shared else mentions

    def _without_units(self, mentions: list[Mention], analysis: Analysis) -> list[Mention]:
        """Leave out a part whose short name is a unit right after a number ("a 3 mm nodule", but "120, mm pink")."""
        number_ends = {number.end for number in analysis.numbers}
        counted = {t for n in analysis.numbers if n.end - n.start > 1 for t in range(n.start, n.end)}
        kept = []
        for at, mention in enumerate(mentions):
            unit = mention.start in number_ends and analysis.norms[mention.start] in self._lengths
            following = mentions[at + 1 : at + 3]
            verdict = bool(following) and following[0].start == mention.end and following[0].is_predicate
            described = len(following) == 2 and following[1].start - following[0].end <= 1
            if counted.issuperset(range(mention.start, mention.end)):
                continue  # "eight point six" has no sharp point
            if not unit or (verdict and not (described and not following[1].is_structure)):
                kept.append(mention)
        return kept


def _mentions(matches: Iterable[Match]) -> Iterator[Mention]:
    """One mention for each place: what stands there word by word comes before what was found in another way."""
    by_place: dict[tuple[int, int], list[Match]] = defaultdict(list)
    for match in matches:
        by_place[match.start, match.end].append(match)
    for (start, end), here in by_place.items():
        direct = [match for match in here if not match.route] or here
        entries = {(e.kind, e.id, e.in_focus): e for match in direct for e in match.entries}
        first = direct[0]
        yield Mention(
            start,
            end,
            tuple(entries.values()),
            _LOOSE if first.route else 1.0,
            passed=first.passed,
            route=first.route,
        )


def _longest(mentions: Iterable[Mention]) -> list[Mention]:
    """Non-overlapping mentions, longer ones first, in text order, with what stands inside focus-only ones."""
    taken: dict[int, int] = {}
    kept: list[Mention] = []
    inside: dict[int, list[Mention]] = defaultdict(list)
    for mention in sorted(mentions, key=lambda item: (item.start - item.end, item.start)):
        owners = {taken.get(token) for token in range(mention.start, mention.end)}
        if owners == {None}:
            for token in range(mention.start, mention.end):
                taken[token] = len(kept)
            kept.append(mention)
        elif len(owners) == 1 and (owner := owners.pop()) is not None:
            inside[owner].append(mention)
    with_inner = [
        replace(mention, inner=tuple(_longest(inside[number]))) if inside[number] else mention
        for number, mention in enumerate(kept)
    ]
    return sorted(with_inner, key=lambda item: item.start)


def _longest_per_kind(cues: list[Cue]) -> list[Cue]:
    taken: dict[str, set[int]] = defaultdict(set)
    kept = []
    for cue in sorted(cues, key=lambda item: (item.start - item.end, item.start)):
        tokens = range(cue.start, cue.end)
        if taken[cue.kind].isdisjoint(tokens):
            taken[cue.kind].update(tokens)
            kept.append(cue)
    return sorted(kept, key=lambda item: (item.start, -item.end))


_TAKING = frozenset(("negation_before", "possible_before"))
# Cues that keep their meaning inside the words of a term.
_FREE = frozenset(
    (
        "measure_link",
        "comparator",
        "weight_change",
        "change_before",
        "change_after",
        "now",
        "past",
        "present_opening",
    )
)
_SWALLOWING = frozenset(("pseudo_negation", "possible_after"))
# A cue of these kinds inside a longer cue of the other kinds says something else there ("not" in "not only").
_SHADOWS = {
    "negation_before": (
        "pseudo_negation",
        "possible_before",
        "possible_after",
        "replace",
        "not_examined",
        "withdraw",
    ),
    "negation_after": ("pseudo_negation", "possible_after", "not_examined"),
    "act": (
        "negation_before",
        "possible_before",
        "possible_after",
        "negation_after",
        "pseudo_negation",
        "not_examined",
    ),
    "act_weak": (
        "negation_before",
        "possible_before",
        "possible_after",
        "negation_after",
        "pseudo_negation",
        "not_examined",
        "act",
    ),
    "side": ("swallow", "no_side"),
    "past": ("swallow",),
    "replace": ("apology",),
}


def _one_part(mention: Mention | None, cue: Cue) -> bool:
    """ "Okay, right ear": before the name of one part "right" is a side, whatever else it could be."""
    if mention is None or mention.start != cue.end or not mention.is_structure:
        return False
    return not any(entry.rule == "plural" for entry in mention.entries)


def _settle(mentions: list[Mention], cues: list[Cue]) -> tuple[list[Mention], list[Cue]]:
    """Let the longer reading win where a cue and a mention, or two cues, cover the same words."""
    owner: dict[int, Mention] = {
        token: m for m in mentions for token in range(m.start, m.end) if token not in m.passed
    }
    swallowed: set[int] = set()
    kept_cues = []
    for cue in cues:
        inside = owner.get(cue.start)
        within = inside is not None and inside.start <= cue.start and cue.end <= inside.end
        shorter = inside is not None and within and inside.end - inside.start > cue.end - cue.start
        if shorter and cue.kind not in _FREE:
            continue
        kept_cues.append(cue)
        if cue.kind == "swallow" or (cue.kind in _SWALLOWING and cue.end - cue.start > 1):
            swallowed.update(range(cue.start, cue.end))
    covers: dict[str, list[Cue]] = defaultdict(list)
    for cue in kept_cues:
        covers[cue.kind].append(cue)
    masked: dict[str, set[int]] = {
        kind: {
            token
            for other in others
            for cue in covers[other]
            if cue.end - cue.start > 1 or other in ("swallow", "no_side")
            for token in range(cue.start, cue.end)
        }
        for kind, others in _SHADOWS.items()
    }
    final_cues = [
        cue
        for cue in kept_cues
        if cue.kind not in masked
        or cue.start not in masked[cue.kind]
        or (cue.kind == "side" and _one_part(owner.get(cue.end), cue))
    ]
    final_mentions = [m for m in mentions if not swallowed.issuperset(range(m.start, m.end))]
    return final_mentions, final_cues
