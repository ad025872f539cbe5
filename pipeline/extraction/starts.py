"""Where a statement may begin in text without marks: a part with its verdict, a denial, a value, a pronoun with its verb.

A recogniser may write a whole dictation without a comma. What a listener hears as pauses is then told from the words alone: these
are the tokens at which something begins that can be a statement of its own; whether the one before is finished, the cutting knows.
"""

from __future__ import annotations

from enum import Enum

from lexicon import Lexicon
from pipeline.extraction.concepts import Cue
from pipeline.extraction.mentions import Mention
from pipeline.extraction.tokens import MARKS, Analysis

UNMARKED = 18
"""Tokens without a mark that show that none were written."""
_NOUN_PHRASE = 7  # tokens between the beginning of a noun phrase and its noun


def unmarked_stretches(norms: list[str]) -> list[tuple[int, int]]:
    """Stretches between marks that are too long to have been written with marks, or all of a text that has none."""
    if MARKS.isdisjoint(norms):
        return [(0, len(norms))]
    stretches, first = [], 0
    for at, norm in enumerate([*norms, "."]):
        if norm in MARKS:
            if at - first >= UNMARKED:
                stretches.append((first, at))
            first = at + 1
    return stretches


class Start(Enum):
    """What begins at a token."""

    SUBJECT = "a part or finding with its verdict"
    TOPIC = "a part named before what is said of it"
    FINDING = "a finding with its amount"
    DENIAL = "a denial"
    VALUE = "a measured value"
    PRONOUN = "a pronoun with its verb"
    QUALITY = "an adjective of the animal as a whole"
    ACT = "words that do something else"
    MARKER = "a word that opens a new topic"


class StatementStarts:
    """Finds the tokens at which a statement may begin."""

    def __init__(self, lexicon: Lexicon) -> None:
        words = lexicon.words["clauses"]
        groups = lexicon.words["groups"]
        self.copulas = frozenset(groups["copulas"])
        self.linking = frozenset(lexicon.words["reading"]["linking"]) - {"has", "have"}
        self.determiners = frozenset(groups["articles"]) | frozenset(groups["possessives"])
        self.degrees = frozenset(groups["degree_words"])
        self.before_noun = frozenset(words["before_noun"]) | self.determiners
        self.amounts = frozenset(words["amounts"])
        self.markers = frozenset(words["markers"])
        self.pronouns = frozenset(words["pronouns"])
        self.resuming = frozenset(words["resuming_pronouns"])
        self.prepositions = frozenset(groups["prepositions"])
        self.closing = frozenset(words["closing"])
        self.pointing = frozenset(words["pointing"])
        self.verbs = frozenset(words["finite_verbs"])
        self.after_subject = frozenset(words["after_subject"])
        self.binding = (
            frozenset(groups["prepositions"])
            | self.determiners
            | frozenset(groups["conjunctions"])
            | frozenset(words["binding"])
        )

    def find(self, analysis: Analysis) -> dict[int, Start]:
        """What begins at which token, in stretches without marks only; linear in the length of the text."""
        return _Finder(self, analysis).run()


class _Finder:
    """One text being searched."""

    def __init__(self, words: StatementStarts, analysis: Analysis) -> None:
        self.words = words
        self.norms = analysis.norms
        self.unmarked = unmarked_stretches(analysis.norms) if analysis.unmarked is None else analysis.unmarked
        self.mentions = analysis.mentions
        self.mention_starts = [mention.start for mention in analysis.mentions]
        self.mention_at = {mention.start: mention for mention in analysis.mentions}
        self.mention_ending = {mention.end: mention for mention in analysis.mentions}
        self.ends = {mention.end for mention in analysis.mentions} | {r.end for r in analysis.readings}
        self.ends.update(number.end for number in analysis.numbers)
        self.numbers = {number.start: number.end for number in analysis.numbers}
        self.value_at = {
            min(reading.start, reading.name[0] if reading.name else reading.start)
            for reading in analysis.readings
        }
        self.value_tokens = {r.start for r in analysis.readings}
        self.denials = {
            cue.start for cue in analysis.cues if cue.kind == "negation_before" and self._denies(cue.start)
        }
        self.denied_after = {cue.start for cue in analysis.cues if cue.kind == "negation_after"}
        self.act_at = {cue.start for cue in analysis.cues if cue.kind == "act" and self._opens_talk(cue)}
        self.step_at = {cue.start for cue in analysis.cues if cue.kind == "act_initial"}
        self.amount_at = {cue.start for cue in analysis.cues if cue.kind == "severity"}
        self.taken = {t for m in analysis.mentions for t in range(m.start + 1, m.end)}
        self.taken.update(t for n in analysis.numbers for t in range(n.start + 1, n.end))
        self.taken.update(t for r in analysis.readings for t in range(r.start + 1, r.end))

        self.adjectives_first, self.parts_last = self._adjectives_first()

    def _adjectives_first(self) -> tuple[set[int], set[int]]:
        """ "Clean ears bright eyes normal heart": the adjectives that begin a statement, and the parts that then do not."""
        adjectives: set[int] = set()
        parts: set[int] = set()
        at = 0
        while at < len(self.mentions):
            pairs = self._pairs_from(at)
            if len(pairs) > 1 and self._stand_alone(pairs):
                adjectives.update(adjective.start for adjective, _ in pairs[1:])
                parts.update(part.start for _, part in pairs)
            at += max(1, 2 * len(pairs))
        return adjectives, parts

    def _pairs_from(self, at: int) -> list[tuple[Mention, Mention]]:
        """Pairs of an adjective and a part, one right after the other."""
        pairs: list[tuple[Mention, Mention]] = []
        while at + 1 < len(self.mentions):
            one, other = self.mentions[at], self.mentions[at + 1]
            joined = not pairs or pairs[-1][1].end == one.start
            if not (joined and one.is_predicate and other.is_structure and one.end == other.start):
                break
            pairs.append((one, other))
            at += 2
        return pairs

    def _stand_alone(self, pairs: list[tuple[Mention, Mention]]) -> bool:
        """Whether no verdict follows the last part, and none of the adjectives is said of what stands before."""
        following = self.mention_at.get(pairs[-1][1].end)
        if following is not None and following.is_predicate:
            return False
        first = pairs[0][0].start
        while (before := self.mention_ending.get(first)) is not None and before.is_predicate:
            first = before.start  # "lovely clean ears"
        return before is None and not (first > 0 and self.norms[first - 1] in self.words.linking)

    def run(self) -> dict[int, Start]:
        found: dict[int, Start] = {}
        for first, last in self.unmarked:
            for at in range(first + 1, last):
                start = self._start_at(at, last) if at not in self.taken else None
                if start is not None:
                    found[at] = start
        return found

    def _start_at(self, at: int, last: int) -> Start | None:
        before, norm = self.norms[at - 1], self.norms[at]
        if norm in self.words.markers and self._marks(at):
            return Start.MARKER
        if at in self.parts_last:
            return None
        if at in self.adjectives_first:
            return Start.SUBJECT
        if not self._free_after(at):
            return None
        if at in self.denials:
            return Start.DENIAL
        if at in self.value_at:
            return Start.VALUE if before not in ("him", "her", "it", "call") else None
        following = self.norms[at + 1] if at + 1 < last else ""
        if norm in self.words.pronouns and following in self.words.verbs:
            return Start.PRONOUN
        if norm in self.words.pointing and following in self.words.copulas:
            return Start.PRONOUN
        if at in self.act_at or (at in self.step_at and at in self.ends):
            return Start.ACT
        return self._noun_phrase(at, last)

    def _free_after(self, at: int) -> bool:
        """Whether a statement can begin after the word before: no word that asks for a continuation."""
        before = self.norms[at - 1]
        if at in self.ends:
            return before != "both" or self._side_closes(at)
        if before in self.words.copulas:
            return False
        if before in ("left", "right", "both"):
            return self._side_closes(at)
        return before not in self.words.binding and before not in self.words.before_noun

    def _side_closes(self, at: int) -> bool:
        """ "Smooth both, bladder …", "wax on the left, right ear …": the side before belongs to what was said."""
        mention = self.mention_at.get(at)
        singular = mention is not None and not self.norms[mention.end - 1].endswith("s")
        if self.norms[at - 1] == "both":
            return at - 1 in self.ends and (singular or mention is None)
        placed = at >= 3 and self.norms[at - 2] == "the" and self.norms[at - 3] in ("on", "in", "to")
        return placed and (mention is None or not singular)

    def _noun_phrase(self, at: int, last: int) -> Start | None:
        """A part or finding that begins here with its noun phrase, and what it begins."""
        if self.norms[at] in self.words.prepositions or self.norms[at] == "'s":
            return None
        opening = self.mention_at.get(at)
        if opening is not None and opening.is_predicate and at in self.ends:
            # "chest clear effort normal": the adjective is the verdict on what stands before
            return Start.QUALITY if all(not entry.in_focus for entry in opening.entries) else None
        mention = self._noun_after(at, last)
        if mention is None or mention.end >= last:
            return None
        sided = any(word in ("left", "right", "both") for word in self.norms[at : mention.start])
        if self._verdict_follows(mention, last, sided):
            return Start.SUBJECT
        if mention.is_structure:
            return Start.TOPIC if at in self.ends and not sided else None
        amount = self.norms[at] in self.words.amounts or at in self.amount_at
        return (
            Start.FINDING
            if amount and (at in self.ends or self.norms[at - 1] in self.words.closing)
            else None
        )

    def _noun_after(self, at: int, last: int) -> Mention | None:
        """The part or finding whose noun phrase begins at a token."""
        token = at
        while token < min(last, at + _NOUN_PHRASE):
            mention = self.mention_at.get(token)
            if mention is not None and not mention.is_predicate:
                return self._whole_noun(mention)
            if mention is not None:
                token = mention.end
                following = self.mention_at.get(token)
                if following is None or following.is_predicate:
                    return None
            elif token in self.numbers:
                token = self.numbers[token]
            elif self.norms[token] in self.words.before_noun or token in self.amount_at:
                token += 1
            else:
                return None
        return None

    def _whole_noun(self, mention: Mention) -> Mention:
        """ "Ear canal discharge": the last of the nouns that follow one another."""
        last, following = mention.start + _NOUN_PHRASE, self.mention_at.get(mention.end)
        while mention.is_structure and following is not None and not following.is_predicate:
            if following.start >= last:  # "ear ear ear …": no noun phrase, and the time must stay linear
                break
            mention, following = following, self.mention_at.get(following.end)
        return mention

    def _verdict_follows(self, mention: Mention, last: int, sided: bool) -> bool:
        """Whether something is said of the part or finding right after it; "wax both ears, no mites" places the wax."""
        token = mention.end
        while token < min(last, mention.end + 4):
            norm = self.norms[token]
            named = self.mention_at.get(token)
            if named is not None:
                return named.is_predicate
            if norm in self.words.copulas or token in self.denied_after or norm in self.words.after_subject:
                return True
            if token in self.denials or token in self.value_tokens or token in self.amount_at:
                return not sided
            if norm in self.words.resuming or norm in self.words.pointing:
                return token + 1 < last and self.norms[token + 1] in self.words.verbs
            if norm not in self.words.degrees and norm not in ("left", "right", "both", "sides", "the"):
                return False
            token += 1
        return False

    def _opens_talk(self, cue: Cue) -> bool:
        """Whether the words of a cue can begin a clause; a verb of teaching goes on with its subject ("can lead to")."""
        if cue.group.value == "teaching":
            return cue.group.id in ("teaching_breeds", "teaching_conditional") or self.norms[
                cue.end - 1
            ].endswith("s")
        first = self.norms[cue.start]
        return cue.group.value != "observation" and first not in self.words.verbs | self.words.prepositions

    def _denies(self, at: int) -> bool:
        return self.norms[at] in ("no", "nil", "without", "nothing", "none", "never")

    def _marks(self, at: int) -> bool:
        """Whether a word that can turn to something new does so here."""
        before, norm = self.norms[at - 1], self.norms[at]
        following = self.norms[at + 1] if at + 1 < len(self.norms) else ""
        if before in self.words.markers or before in ("and", "until", "till", "by", "for", "since", "every"):
            return False
        if norm == "right":
            return following in ("so", "then", "okay", "ok", "well", "let", "now", "i", "we")
        if norm == "now":
            return (
                following in self.words.determiners
                or following in self.words.pronouns
                or (following in ("left", "right", "for", "let") or at + 1 in self.mention_at)
            )
        if norm == "so":
            intensifies = before in self.words.copulas or before in self.words.degrees
            return not intensifies and following not in ("much", "many", "far")
        if norm in ("okay", "ok", "alright"):
            return (
                before not in self.words.copulas and at not in self.ends and before not in self.words.degrees
            )
        return True


__all__ = ["UNMARKED", "Start", "StatementStarts", "unmarked_stretches"]
