"""One text while its values are read: what was found in it, what has been read so far, and what stands near a token."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict

from spacy.tokens import Doc

from pipeline.extraction.attributes import CueIndex
from pipeline.extraction.concepts import Cue
from pipeline.extraction.measuring.model import Name, Reading, Value
from pipeline.extraction.measuring.tables import MeasuringTables
from pipeline.extraction.mentions import Mention
from pipeline.extraction.tokens import MARKS, analysis_of

_PAUSES = frozenset((",", ":", "\u2013", "\u2014"))


_REACH_OF_GRADE = 8  # tokens from a graded finding to its grade; "two out of five lame" has it right before


class Sheet:
    """Names, units, numbers and cues of one text by place, `out` what has been read, `used` the numbers and names spent."""

    def __init__(self, tables: MeasuringTables, doc: Doc) -> None:
        self.tables = tables
        self.analysis = analysis_of(doc)
        self.norms = self.analysis.norms
        self.names = tables.names(doc)
        self.units = {unit.start: unit for unit in tables.units(doc)}
        self.numbers = {number.start: number for number in self.analysis.numbers}
        self.out: list[Reading] = []
        self.used: set[int] = set()
        self._cues: dict[str, list[Cue]] = defaultdict(list)
        for cue in self.analysis.cues:
            self._cues[cue.kind].append(cue)
        self._indexes: dict[str, CueIndex] = {}
        self.links = self._tokens("measure_link") | self._tokens("comparator")
        self.replacing = CueIndex(self._cues["replace"] + self._cues["withdraw"])
        self.doubting = CueIndex(self._cues["replace_value"])
        self.replacing_tokens = {
            t
            for index in (self.replacing, self.doubting)
            for cue in index.cues
            for t in range(cue.start, cue.end)
        }
        self.name_ends = [name.end for name in self.names]
        self.name_starts = {name.start for name in self.names}
        self.number_tokens = {
            t for n in self.analysis.numbers if not n.pronoun for t in range(n.start, n.end)
        }
        mentions = self.analysis.mentions
        self.blocking = {t for m in mentions if not tables.is_verdict(m) for t in range(m.start, m.end)} | {
            t for name in self.names for t in range(name.start, name.end)
        }
        self._mention_starts = [m.start for m in mentions]
        self._mention_systems = [
            "any" if m.entries[0].in_focus else tables.system_of(m.entries[0]) for m in mentions
        ]

    def cues(self, kind: str) -> CueIndex:
        """The cues of a kind, found by place."""
        if kind not in self._indexes:
            self._indexes[kind] = CueIndex(self._cues[kind])
        return self._indexes[kind]

    def _tokens(self, kind: str) -> set[int]:
        return {t for cue in self._cues[kind] for t in range(cue.start, cue.end)}

    def at(self, index: int) -> str:
        """The token at an index, "" outside of the text."""
        return self.norms[index] if 0 <= index < len(self.norms) else ""

    def is_word(self, index: int, group: str) -> bool:
        """Whether the token at an index is of a closed class of [measuring]."""
        return self.at(index) in self.tables.words[group]

    def linked(self, gap: range) -> bool:
        """Whether only linking words, pauses and words of correction stand in a gap."""
        return all(
            token in self.links
            or token in self.replacing_tokens
            or self.norms[token] in _PAUSES
            or self.norms[token] == "'s"
            for token in gap
        )

    def is_link(self, token: int) -> bool:
        """A linking word, a pause or a clitic."""
        return token in self.links or self.norms[token] in (",", ":", "'s")

    def stands_alone(self, value: Value) -> bool:
        """No noun follows that the number could count ("weighed in fine, two lumps")."""
        following = self.at(value.end)
        if any(index.starting_at(value.end) is not None for index in (self.replacing, self.doubting)):
            return True
        if self.cues("replace_value_after").starting_at(value.end) is not None:
            return True
        if any(self.cues(kind).starting_at(value.end) is not None for kind in ("now", "past")):
            return True
        return following == "" or not following[0].isalpha() or self.is_word(value.end, "after_lone_value")

    def between_marks(self, value: Value) -> bool:
        """The value fills the stretch between two marks, but for words such as "and it's"."""
        before = value.start - 1
        while self.is_word(before, "before_lone_value"):
            before -= 1
        bound = self.cues("comparator_after").starting_at(value.end)
        end = value.end if bound is None else bound.end
        return self.at(before) in ("", *MARKS) and self.at(end) in ("", *MARKS)

    def counts_noun(self, token: int) -> bool:
        """Whether what begins at a token is counted by the number before it."""
        index = bisect_left(self._mention_starts, token)
        if index >= len(self._mention_starts) or self._mention_starts[index] > token:
            return self.is_word(token, "before_counted")
        return token not in self.name_starts

    def mention_at(self, token: int) -> Mention | None:
        """The mention that begins at a token."""
        index = bisect_left(self._mention_starts, token)
        found = index < len(self._mention_starts) and self._mention_starts[index] == token
        return self.analysis.mentions[index] if found else None

    def mention_over(self, token: int) -> Mention | None:
        """The mention that covers a token."""
        index = bisect_left(self._mention_starts, token + 1) - 1
        mention = self.analysis.mentions[index] if index >= 0 else None
        return mention if mention is not None and token < mention.end else None

    def system_before(self, token: int) -> str | None:
        """System of the last words of the lexicon within twelve tokens before a token."""
        index = bisect_left(self._mention_starts, token) - 1
        while index >= 0 and token - self._mention_starts[index] <= 12:
            if self._mention_systems[index] != "any":
                return self._mention_systems[index]
            index -= 1
        return None

    def system_after(self, token: int) -> str | None:
        """System of words of the lexicon within two tokens after a token."""
        index = bisect_left(self._mention_starts, token)
        if index >= len(self._mention_starts) or self._mention_starts[index] - token > 2:
            return None
        return self._mention_systems[index]

    def last_mention_end(self, token: int) -> int:
        """Where the last mention before a token ends; far off if there is none."""
        index = bisect_left(self._mention_starts, token) - 1
        return self.analysis.mentions[index].end if index >= 0 else -100

    def graded_nearby(self, value: Value) -> bool:
        """Whether a number on a scale grades a finding ("lameness, two out of five") and is no score."""
        if "grade" in self.norms[max(0, value.start - 3) : value.start]:
            return True
        low = bisect_left(self._mention_starts, value.start - _REACH_OF_GRADE)
        high = bisect_left(self._mention_starts, value.end + 2)
        around = self.analysis.mentions[low:high]
        return any(self.tables.is_graded(mention) for mention in around)

    def name_before(self, token: int, reach: int) -> Name | None:
        """The nearest name that ends at most `reach` tokens before a token."""
        index = bisect_left(self.name_ends, token + 1) - 1
        near = index >= 0 and token - self.names[index].end <= reach
        return self.names[index] if near else None
