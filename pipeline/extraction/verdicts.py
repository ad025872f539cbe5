"""Words that are no finding by themselves: loose words of approval without a subject, qualities of another finding."""

from __future__ import annotations

from pipeline.extraction.afterthoughts import Afterthoughts
from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import Item
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import COMMA_MARKS


class Verdicts(Afterthoughts):
    """Words that are no finding by themselves: loose words of approval without a subject, qualities of another finding."""

    def _is_modifier_only(self, item: Item, items: list[Item], position: int) -> bool:
        """A quality beside the finding it describes ("a firm mobile lump", "the lump is soft")."""
        if not item.mention.is_predicate:
            return False
        if self._only_degree(item, items, position) or self._only_size(item, items, position):
            return True
        quality = self.cues.get("quality", self.no_cues).starting_at(item.start)
        if quality is None or quality.end != item.end:
            return False
        concept = self.lexicon.findings[item.entry.id]
        if concept.system != "any" and not item.entry.in_focus:
            return self._more_of_the_same(item)
        following = items[position + 1] if position + 1 < len(items) else None
        if following is not None and following.entry.kind == "noun" and following.start - item.end <= 3:
            between = self.norms[item.end : following.start]
            parts = COMMA_MARKS | self.rules.prepositions | self.rules.denying | {"or"}
            described = self.lexicon.findings[following.entry.id].nature == "abnormal"
            if described and not any(word in parts for word in between):
                return True
        previous = items[position - 1] if position else None
        if previous is not None and previous.entry.kind == "noun" and previous.start >= item.start - 8:
            named = self.lexicon.findings[previous.entry.id]
            between = self.norms[previous.end : item.start]
            return named.nature == "abnormal" and not any(w in self.rules.degree_ends for w in between[:-1])
        return False

    def _only_size(self, item: Item, items: list[Item], position: int) -> bool:
        """ "A small lump in the abdomen", "a big ulcer": a word of size right before something bad."""
        following = items[position + 1] if position + 1 < len(items) else None
        if following is None or following.start != item.end or following.entry.kind != "noun":
            return False
        size, named = (self.lexicon.findings[entry.id] for entry in (item.entry, following.entry))
        of_size = size.nature == "neutral" or size.id in self.rules.sizing
        return of_size and named.nature == "abnormal"

    def _only_degree(self, item: Item, items: list[Item], position: int) -> bool:
        """ "A faint murmur", "a small lump": the word says how much there is of what follows."""
        degree = self.cues.get("severity", self.no_cues).starting_at(item.start)
        following = items[position + 1] if position + 1 < len(items) else None
        if degree is None or degree.end != item.end or following is None:
            return False
        return following.start == item.end and following.entry.kind == "noun"

    def _verdict_stands(self, item: Item, items: list[Item], position: int, segment: Segment) -> bool:
        """Loose words of approval need a subject, or they are talk ("Good. Lovely.")."""
        words = " ".join(self.norms[item.start : item.end])
        if words in self.rules.verbs_too and self._is_done(item, segment):
            return False
        if words in self.rules.unsurprising and self._follows_wrong(segment):
            return False
        if words not in self.rules.weak:
            return True
        following = items[position + 1] if position + 1 < len(items) else None
        if following is not None:
            gap = self.norms[item.end : following.start]
            light = all(word in self.rules.degrees or word in ("and", "looking") for word in gap)
            if light and not following.is_structure and following.mention.is_predicate:
                # "nice and relaxed" is one verdict; "soft and comfortable" are two.
                loose = words in self.rules.praise and self.lexicon.findings[item.entry.id].nature == "normal"
                of_focus = self._subject_pronoun(item, segment) or self._side_subject(item, segment)
                return not loose and (of_focus or self._structure_before(item, items) is not None)
            if light and following.is_structure:
                # "Okay heart now" turns to the heart; it says nothing of it.
                return not (words in self.rules.turning and item.start == segment.start)
        nxt = self.norms[item.end] if item.end < segment.end else ""
        begins_next = following is not None and following.start == item.end
        free = nxt in self.rules.may_follow or begins_next or self._position_cue(item.end) is not None
        of_part = self._structure_before(item, items) is not None
        if nxt.isalpha() and not free and not (of_part and self._follows_copula(item, segment)):
            return False
        if of_part or self.pending:
            return True
        if self.norms[segment.start] in self.rules.possessive_subjects | {"and"} and any(
            w in self.rules.possessive_subjects for w in self.norms[segment.start : segment.start + 2]
        ):
            return self.focus.system is not None
        if self._subject_pronoun(item, segment) or self._side_subject(item, segment):
            return self.focus.system is not None
        if words not in self.rules.praise and self._said_of_patient(item):
            return True
        concept = self.lexicon.findings[item.entry.id]
        alone = item.start == segment.start
        # "Clear." or "Soft, comfortable." right after the part was named.
        strong_alone = words not in self.rules.praise
        near = self.focus.system is not None and segment.sentence - self.focus.sentence <= 1
        negated = (
            self.negation is not None or self.norms[max(segment.start, item.start - 1)] in self.rules.denying
        )
        if concept.nature != "normal":
            return near or negated or not alone
        return strong_alone and near

    def _is_done(self, item: Item, segment: Segment) -> bool:
        """ "I'd just clean that one", "to dry the ears": a verb of what is done, not how something is."""
        at = item.start - 1
        while at > segment.start and self.norms[at] in ("just", "also", "then", "always", "gently", "only"):
            at -= 1
        return at >= segment.start and self.norms[at] in self.rules.before_verb

    def _follows_wrong(self, segment: Segment) -> bool:
        """Whether the finding before, in the same sentence, is something wrong."""
        last = self.out.drafts[-1] if self.out.drafts else None
        wrong = last is not None and last.assertion != "absent" and last.sentence == segment.sentence
        return wrong and last is not None and self.lexicon.findings[last.concept].nature == "abnormal"

    def _follows_copula(self, item: Item, segment: Segment) -> bool:
        """ "The skin's a bit red underneath": a verb ties the word to its subject, whatever follows."""
        at = item.start - 1
        while (
            at > segment.start
            and self.norms[at] in (self.rules.degrees | self.rules.hedges) - self.rules.copulas
        ):
            at -= 1
        return self.norms[at] in self.rules.copulas

    def _position_cue(self, token: int) -> Cue | None:
        for kind in ("side", "anchor", "now", "past", "possible_after", "act", "terminator"):
            if (cue := self.cues.get(kind, self.no_cues).starting_at(token)) is not None:
                return cue
        return None
