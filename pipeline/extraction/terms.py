"""Finds the lexicon's terms in a row of tokens, also with small words between ("wax in [his left] ear").

One walk along the tokens follows a tree of words; what it costs is bounded for each token, so it is linear in the text. Three
ways lead to a term:

- word by word, as a table or a rule of lexicon/forms.py writes it;
- with words passed over inside it that say how much, whose or which side (lexicon/words.toml, matching), never a denial;
- turned round: a term of two nouns said with "of" ("tip of the ear" for "ear tip").

And two for words cut otherwise than the table has them: "over weight" for "overweight", "earwax" for "ear wax".
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from lexicon import Entry

_MOST_PASSED = 4
_SHORTEST_PART = 3  # letters that each part of a joined or cut word has at least


@dataclass(slots=True)
class _Node:
    """A place in the tree: the entries that end here word by word, those that end here in another way, the next words."""

    exact: list[Entry] = field(default_factory=list)
    loose: list[Entry] = field(default_factory=list)
    following: dict[str, _Node] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Match:
    """Entries at tokens start to end (exclusive); `passed` are the tokens between that are no part of the term.

    `route` says in words how the term was found when not word by word.
    """

    start: int
    end: int
    entries: tuple[Entry, ...]
    passed: tuple[int, ...] = ()
    route: str = ""


class TermTree:
    """All terms, ready to be found."""

    def __init__(
        self, terms: Iterable[tuple[tuple[str, ...], Entry]], matching: Mapping[str, Iterable[str]]
    ) -> None:
        whose = frozenset(matching["whose"])
        fixed = frozenset(matching["fixed"])
        self._passed_over = whose | frozenset(matching["how_much"])
        self._root = _Node()
        self._single: dict[str, list[Entry]] = defaultdict(list)
        self._double: dict[str, list[Entry]] = defaultdict(list)
        for words, entry in terms:
            self._node(words).exact.append(entry)
            if len(words) == 1:
                self._single[words[0]].append(entry)
                continue
            if not fixed.isdisjoint(words):
                continue
            inner = tuple(word for word in words[1:-1] if word not in whose)
            self._node((words[0], *inner, words[-1])).loose.append(entry)
            if len(words) == 2 and min(map(len, words)) >= _SHORTEST_PART:
                self._double["".join(words)].append(entry)
                if entry.kind != "predicate":
                    self._node((words[1], "of", words[0])).loose.append(entry)

    def _node(self, words: tuple[str, ...]) -> _Node:
        node = self._root
        for word in words:
            node = node.following.setdefault(word, _Node())
        return node

    def exact(self, words: Iterable[str]) -> list[Entry]:
        """The entries that a table or a rule writes with just these words."""
        node: _Node | None = self._root
        for word in words:
            node = node.following.get(word) if node is not None else None
        return node.exact if node is not None else []

    def find(self, norms: list[str]) -> Iterator[Match]:
        """All places of all terms; they may overlap."""
        for start, word in enumerate(norms):
            node = self._root.following.get(word)
            if node is not None:
                if node.exact:
                    yield Match(start, start + 1, tuple(node.exact))
                if node.following:
                    yield from self._from(node, norms, start, start + 1, ())
            elif joined := self._double.get(word):
                yield Match(start, start + 1, tuple(joined), route=f"{joined[0].term!r} in one word")
            if (
                start + 1 < len(norms)
                and len(word) >= _SHORTEST_PART
                and len(norms[start + 1]) >= _SHORTEST_PART
                and (single := self._single.get(word + norms[start + 1]))
            ):
                yield Match(start, start + 2, tuple(single), route=f"{single[0].term!r} in two words")

    def _from(
        self, node: _Node, norms: list[str], start: int, at: int, passed: tuple[int, ...]
    ) -> Iterator[Match]:
        """Go on from a node with the token `at`, word by word or passing it over."""
        if at >= len(norms):
            return
        following = node.following.get(norms[at])
        if following is not None:
            if following.exact and not passed:
                yield Match(start, at + 1, tuple(following.exact))
            elif following.loose:
                route = _route(norms, passed, following.loose[0])
                yield Match(start, at + 1, tuple(following.loose), passed, route)
            if following.following:
                yield from self._from(following, norms, start, at + 1, passed)
        if norms[at] in self._passed_over and len(passed) < _MOST_PASSED:
            yield from self._from(node, norms, start, at + 1, (*passed, at))


def _route(norms: list[str], passed: tuple[int, ...], entry: Entry) -> str:
    between = ", ".join(repr(norms[token]) for token in passed)
    return f"{entry.term!r}" + (
        f" with {between} between" if between else " with words left out or turned round"
    )
