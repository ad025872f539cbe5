"""Which meaning a mention has: the one that fits the part or system in focus, or the one that needs no focus."""

from __future__ import annotations

from bisect import bisect_left

from lexicon import SYSTEMS, Entry
from pipeline.extraction.drafts import Item
from pipeline.extraction.mentions import Mention, mentions_within
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import COMMA_MARKS, MARKS, SENTENCE_MARKS
from pipeline.extraction.view import View

_NEAR = 16
"""Farthest distance, in words and their marks, at which a part or finding tells the system of another word."""


class Meaning(View):
    """Which meaning a mention has: the one that fits the part or system in focus, or the one that needs no focus."""

    def _items(self, segment: Segment) -> list[Item]:
        """Resolve the mentions of a segment from left to right, moving the focus along."""
        mentions = [m for m in self._unmeasured(segment.start, segment.end) if not self._is_verb(m)]
        places = self._landmarks(segment.start, self._sentence_end(segment))
        items: list[Item] = []
        context = self.focus.system
        pending = mentions[::-1]
        while pending:
            mention = pending.pop()
            if self._foreign_subject(mention, segment):
                continue
            near = self._near_system(mention, places, segment.end) or context
            item = self._of_patient(mention, segment, near) or self._resolve(mention, near)
            if item is None:
                pending += mention.inner[::-1]
                continue
            items.append(item)
            if (system := self._system_of(item.entry)) != "any":
                context = system
        return items

    def _foreign_subject(self, mention: Mention, segment: Segment) -> bool:
        """ "The door's open", "costs have gone up": an adjective or verb with a subject that is no part of a patient."""
        if not mention.is_predicate or not any(
            e.in_focus or self._system_of(e) == "any" for e in mention.entries
        ):
            return False
        at = mention.start - 1
        while at >= segment.start and self.norms[at] in self.rules.degrees:
            at -= 1
        if at <= segment.start or self.norms[at] not in self.rules.linking:
            return False
        subject = self.norms[at - 1]
        if subject in self.rules.subjects or subject in self.rules.copulas or not subject.isalpha():
            return False
        covered = mentions_within(self.analysis.mentions, max(segment.start, at - 6), at)
        if any(m.end == at for m in covered) or (at - 1) in self.measured:
            return False
        determined = at - 2 >= segment.start and self.norms[at - 2] in self.rules.definite
        return determined or (at - 1 == segment.start and subject.endswith("s"))

    def _is_verb(self, mention: Mention) -> bool:
        """ "Lungs sound good": the verb, not the sound."""
        if mention.end - mention.start > 1 or self.norms[mention.start] not in self.rules.copulas:
            return False
        following = self.norms[mention.end] if mention.end < len(self.norms) else ""
        return following in self.rules.degrees or any(
            m.start == mention.end and m.is_predicate
            for m in mentions_within(self.analysis.mentions, mention.end, mention.end + 1)
        )

    def _sentence_end(self, segment: Segment) -> int:
        """End of the part of the sentence that can tell what a word before it means."""
        end = segment.end
        limit = min(len(self.norms), end + 10)
        while end < limit and self.norms[end] not in SENTENCE_MARKS:
            end += 1
        return end

    def _landmarks(self, start: int, end: int) -> list[tuple[int, int, str]]:
        """(start, end, system) of the words whose system needs no context."""
        found = []
        for mention in self._unmeasured(start, end):
            if self._tells_whose(mention):
                continue
            systems = {self._system_of(e) for e in mention.entries if not e.in_focus or e.kind == "structure"}
            if len(systems) == 1 and (system := systems.pop()) != "any":
                found.append((mention.start, mention.end, system))
        return found

    def _tells_whose(self, mention: Mention) -> bool:
        """ "The dewclaw on the right front has split": the limb after a part only tells which one of them is meant."""
        if not any(entry.id in self.rules.limbs for entry in mention.entries):
            return False
        parts = mentions_within(self.analysis.mentions, mention.start - 5, mention.start)
        if not parts or not parts[-1].is_structure:
            return False
        gap = self.norms[parts[-1].end : mention.start]
        light = self.rules.prepositions | self.rules.determiners | self.rules.placing
        return not self.rules.prepositions.isdisjoint(gap) and all(word in light for word in gap)

    def _near_system(
        self, mention: Mention, places: list[tuple[int, int, str]], segment_end: int
    ) -> str | None:
        """The system of the nearest landmark; one behind a mark, or in the next segment, is farther."""
        if (placed := self._system_of_place(mention)) is not None:
            return placed
        best: tuple[int, str] | None = None
        first = bisect_left(places, (mention.start - 2 * _NEAR, 0, ""))
        for start, end, system in places[first:]:
            if start == mention.start:
                continue
            if start - mention.end > _NEAR:
                break
            marks = sum(
                w in COMMA_MARKS for w in self.norms[min(end, mention.end) : max(start, mention.start)]
            )
            ahead = start >= mention.end
            if start >= segment_end:
                marks = max(marks, 2)  # "no masses in her tummy coat is dull"
            distance = (start - mention.end) * 2 + 3 if ahead else mention.start - end
            distance += marks * (8 if ahead else 2)
            if best is None or distance < best[0]:
                best = (distance, system)
        return best[1] if best is not None and best[0] <= _NEAR else None

    def _system_of_place(self, mention: Mention) -> str | None:
        """ "Drooling and seems wobbly in the back legs": the part right after a preposition is where it is."""
        at = mention.end
        if at >= len(self.norms) or self.norms[at] not in self.rules.locating:
            return None
        for part in mentions_within(self.analysis.mentions, at + 1, at + 4):
            if not part.is_structure or not MARKS.isdisjoint(self.norms[at : part.start]):
                return None
            systems = {self._system_of(entry) for entry in part.entries}
            if len(systems) > 1 or not any(
                self._system_of(e) in systems or (not e.in_focus and self._system_of(e) == "any")
                for e in mention.entries
            ):
                return None
            return systems.pop()
        return None

    def _of_patient(self, mention: Mention, segment: Segment, near: str | None) -> Item | None:
        """ "He's quiet", "Bright, alert.": said of the animal as a whole, where the word can mean that."""
        general = [e for e in mention.entries if self._is_general(e)]
        if not general or not mention.is_predicate:
            return None
        free = [e for e in mention.entries if not e.in_focus]
        if free and all(self._system_of(e) not in ("any", "general") for e in free):
            return None
        before = self.norms[segment.start : mention.start]
        subject = next(
            (w for w in reversed(before) if w not in self.rules.degrees and w not in self.rules.copulas), ""
        )
        if subject in self.rules.animal_subjects and any(w in self.rules.copulas for w in before):
            return Item(mention, general[0], mention.similarity)
        if before and not all(w in self.rules.degrees or w == "and" for w in before):
            return None
        following = mentions_within(self.analysis.mentions, mention.end, mention.end + 3)
        if any(m.is_structure for m in following):
            return None
        if near is not None and any(self._system_of(e) == near for e in mention.entries):
            return None
        if self.focus.structure is not None and free and near != "general":
            composed = {
                self.lexicon.compose(self.focus.structure, e.id) for e in free if e.kind != "structure"
            }
            if any(self.lexicon.findings[c].system != "any" for c in composed):
                return None
        return Item(mention, general[0], mention.similarity)

    def _is_general(self, entry: Entry) -> bool:
        """Whether a word can be said of the animal as a whole."""
        if entry.kind == "structure":
            return False
        concept = self.lexicon.findings[entry.id]
        return concept.system == "general" or (concept.system == "any" and concept.id in self.rules.of_whole)

    def _resolve(self, mention: Mention, context: str | None) -> Item | None:
        """The meaning that fits the system in focus; else the one that needs no focus."""
        fitting = [e for e in mention.entries if e.in_focus and self._system_of(e) == context]
        free = [e for e in mention.entries if not e.in_focus]
        if fitting:
            return Item(mention, self._prefer(mention, fitting), mention.similarity)
        if free:
            return Item(mention, self._prefer(mention, free), mention.similarity)
        if any(not e.in_focus for inner in mention.inner for e in inner.entries):
            return None
        systems = {self._system_of(e) for e in mention.entries}
        nouns = [e for e in mention.entries if e.kind != "predicate"]
        sided = self.cues.get("side", self.no_cues).ending_at(mention.start) is not None
        if len(systems) == 1 and nouns and (context is None or systems == {context} or sided):
            return Item(mention, nouns[0], 0.8)
        several_words = mention.end - mention.start > 1
        if nouns and context is None and (len(nouns) <= 2 or several_words):
            # Nose to tail, the first system that has the word.
            return Item(mention, min(nouns, key=lambda e: SYSTEMS.index(self._system_of(e))), 0.55)
        return None

    def _prefer(self, mention: Mention, entries: list[Entry]) -> Entry:
        """Between a structure and a finding of the same name: the finding, unless a verdict follows."""
        if len(entries) == 1:
            return entries[0]
        following = self.norms[mention.end] if mention.end < len(self.norms) else ""
        structures = [e for e in entries if e.kind == "structure"]
        if structures and (following in self.rules.copulas or len(structures) == len(entries)):
            return structures[0]
        return next(e for e in entries if e.kind != "structure")
