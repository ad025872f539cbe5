"""Where a finding is: the parts of the body that it is said of, and the system that follows from them."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace

from lexicon.schema import FindingConcept
from pipeline.extraction.drafts import Draft, Focus, Item
from pipeline.extraction.mentions import mentions_within
from pipeline.extraction.segments import Segment
from pipeline.extraction.sides import Sides
from pipeline.extraction.tokens import COMMA_MARKS

_MANOEUVRES = (
    ["when", "i"],
    ["as", "i"],
    ["if", "i"],
)  # "painful when I extend that hip": the part tried is the place


class Places(Sides):
    """Where a finding is: the parts of the body that it is said of, and the system that follows from them."""

    def _places(self, item: Item, items: list[Item], segment: Segment) -> list[tuple[str | None, str | None]]:
        """Structures (with their side, where said) that a finding belongs to."""
        structures = [other for other in items if other.is_structure]
        right = self._after_preposition(item, structures, items)
        attributive = self._attributive(item, structures, items)
        left = [] if self._holds_place(item) else self._subjects(item, structures, segment)
        if not left and self._subject_pronoun(item, segment) and self.norms[item.start - 1] != "otherwise":
            attributive = []  # "they're clear ears clean": the pronoun is the subject
        elsewhere: list[Item] = []
        if item.mention.is_predicate and left and not self._consumed(left, items, item):
            # "Proprioception normal in all four limbs": the subject is what is judged.
            elsewhere, right = right, []
        compound = [s for s in structures if s.end == item.start and not item.mention.is_predicate]
        chosen = (
            compound
            or right
            or (attributive if not left or self._consumed(left, items, item) else [])
            or left
        )
        concept = self.lexicon.findings[item.entry.id]
        if not chosen and self.pending and (item.mention.is_predicate or concept.system == "any"):
            return [(structure, side) for structure, side in self.pending]
        # "The coat is matted in the left armpit": the subject is the coat, the side is where it is.
        side_elsewhere = self._side_at(elsewhere[0], segment) if elsewhere else None
        if compound and right:
            # "A cruciate problem in the right stifle": the joint has the side.
            side_elsewhere = self._side_at(right[0], segment)
        later = self._side_said_since(chosen[-1], item, segment) if chosen == left and chosen else None
        pairs: list[tuple[str | None, str | None]] = [
            (other.entry.id, later or self._side_of_place(other, structures, segment) or side_elsewhere)
            for other in chosen
        ]
        if self.pending and chosen and chosen == left and item.mention.is_predicate:
            # "Heart, lungs are clear"; but "nodes, the right prescapular is up": the whole only leads to the part.
            pairs = [*(p for p in self.pending if not self._leads_to(p[0], chosen)), *pairs]
        several = concept.system == "any" and len(self.focus.structures) > 1 and item.mention.is_predicate
        if not pairs and several and self._speaks_of_focus(item, segment):
            return [(name, None) for name in self.focus.structures]
        return pairs

    def _holds_place(self, item: Item) -> bool:
        """ "A wart on the eyelid and a lump on his chest": a term that says where it is needs no part before it."""
        words = self.norms[item.start + 1 : item.end]
        return not item.mention.is_predicate and not self.rules.locating.isdisjoint(words)

    def _leads_to(self, named: str, chosen: list[Item]) -> bool:
        """Whether a part named on its own is one of those that follow, what they belong to, or their region ("abdomen, liver")."""
        system = self.lexicon.structures[named].system
        if named in self.rules.regions and all(self._system_of(item.entry) == system for item in chosen):
            return True
        wholes = {
            part
            for item in chosen
            for part in (item.entry.id, self.lexicon.structures[item.entry.id].part_of)
        }
        return named in wholes

    def _speaks_of_focus(self, item: Item, segment: Segment) -> bool:
        return segment.sentence == self.focus.sentence or self._subject_pronoun(item, segment)

    def _after_preposition(self, item: Item, structures: list[Item], items: list[Item]) -> list[Item]:
        """ "swelling of the left hock", "no discharge from the eyes or nose", "a lump under the skin"."""
        following = [s for s in structures if s.start >= item.end]
        at = bisect_left(self.sizes, item.end, key=lambda z: z.start)
        sized = at < len(self.sizes) and self.sizes[at].start < item.end + 4
        if not following or following[0].start - item.end > (12 if sized else 7):
            return []
        gap = self.norms[item.end : following[0].start]
        named_so = not gap and following[0].mention.similarity == 1.0
        holds_preposition = named_so and self.norms[following[0].start] in self.rules.prepositions
        if not (
            holds_preposition
            or (not gap and self.cues.get("side", self.no_cues).starting_at(following[0].start) is not None)
            or any(word in self.rules.prepositions for word in gap)
            or (gap[:2] in _MANOEUVRES and item.mention.is_predicate)
            or self._placed_by_side(item, following[0], gap)
        ):
            return []
        joined = not self.rules.joining.isdisjoint(gap) and not self._cues(
            "exception", item.end, following[0].start
        )
        if not joined and self._another_between(item, following[0], items):
            return []  # "skin good other than a scab over the shoulder": the shoulder has the scab
        if any(word in self.rules.parting or word in COMMA_MARKS for word in gap):
            return []
        concept = self.lexicon.findings[item.entry.id]
        elsewhere = concept.system not in ("any", "skin", self._system_of(following[0].entry))
        if elsewhere and self._another_between(item, following[0], items):
            return []  # "sneezing and had gunk in both eyes": the eyes have the gunk
        return self._listed(following)

    @staticmethod
    def _another_between(item: Item, structure: Item, items: list[Item]) -> bool:
        return any(item.end <= other.start < structure.start and not other.is_structure for other in items)

    def _placed_by_side(self, item: Item, structure: Item, gap: list[str]) -> bool:
        """ "Wax both ears", "hair loss left flank": a side leads to the part, and no verdict on the part follows."""
        if (
            not gap
            or len(gap) > 3
            or not all(w in self.rules.placing or w in self.rules.determiners for w in gap)
        ):
            return False
        following = self.norms[structure.end] if structure.end < len(self.norms) else ""
        verdict = mentions_within(self.analysis.mentions, structure.end, structure.end + 2)
        sided = any(w in self.rules.sides for w in gap)
        return sided and following not in self.rules.copulas and not any(m.is_predicate for m in verdict)

    def _listed(self, structures: list[Item]) -> list[Item]:
        """The first structure and those joined to it."""
        group = [structures[0]]
        for following in structures[1:]:
            gap = self.norms[group[-1].end : following.start]
            joined = any((word in self.rules.joining or word == "to") for word in gap)
            light = all(
                (word in self.rules.joining or word == "to")
                or word in self.rules.determiners
                or word in self.rules.prepositions
                or word in self.rules.sides
                for word in gap
            )
            if not (joined and light):
                break
            group.append(following)
        return group

    def _attributive(self, item: Item, structures: list[Item], items: list[Item]) -> list[Item]:
        """ "lovely clean ears", "a swollen left hock"."""
        if not item.mention.is_predicate:
            return []
        following = [s for s in structures if s.start >= item.end]
        if not following:
            return []
        gap_items = [o for o in items if item.end <= o.start < following[0].start]
        gap = self.norms[item.end : following[0].start]
        if len(gap) > 5 or any(word in self.rules.copulas for word in gap):
            return []
        allowed = self.rules.before_part
        covered = {t for o in gap_items for t in range(o.start, o.end)}
        for offset, word in enumerate(gap):
            if item.end + offset in covered or word in allowed or word in self.rules.degrees:
                continue
            return []
        if any(not o.mention.is_predicate for o in gap_items):
            return []
        return self._listed(following)

    def _consumed(self, left: list[Item], items: list[Item], item: Item) -> bool:
        """The structure before has its own adjective in front or its verdict already ("clean ears bright eyes")."""
        subject = left[-1]
        verdicts = [o for o in items if subject.end <= o.start < item.start and not o.is_structure]
        in_front = [
            o
            for o in items
            if not o.is_structure
            and o.mention.is_predicate
            and o.end == subject.start
            and not any(s.is_structure and s.end == o.start for s in items)
        ]
        adjacent = item.start == subject.end
        joined = any(
            (word in self.rules.joining or word == ",") for word in self.norms[subject.end : item.start]
        )
        return (bool(verdicts) and not joined) or (bool(in_front) and adjacent)

    def _subjects(self, item: Item, structures: list[Item], segment: Segment) -> list[Item]:
        """The structures before a finding in its segment, joined ones together."""
        before = [s for s in structures if s.end <= item.start]
        if not before:
            return []
        group = [before[-1]]
        for previous in reversed(before[:-1]):
            gap = self.norms[previous.end : group[0].start]
            if self._leads_on(gap):
                # "The pad of the right hind is cut": the pad is what is judged.
                group[0] = previous
            elif (
                gap
                and all(
                    (word in self.rules.joining or word == ",")
                    or word in self.rules.determiners
                    or word in self.rules.sides
                    for word in gap
                )
                and any(word in self.rules.joining for word in gap)
            ):
                group.insert(0, previous)
            elif (
                not gap
                and self._siblings(previous, group[0], item)
                and not self._has_verdict(previous, segment)
            ):
                group.insert(0, previous)  # "ears eyes nose all clean"
            else:
                break
        return group

    def _leads_on(self, gap: list[str]) -> bool:
        """Whether the words between two parts say that the second tells where the first is."""
        return any(word in self.rules.prepositions for word in gap) and all(
            word in self.rules.prepositions or word in self.rules.determiners or word in self.rules.placing
            for word in gap
        )

    def _heads(self, structures: list[Item], segment: Segment) -> list[tuple[str, str | None]]:
        """Parts named by themselves, with their sides; of "the pad of the right hind" the pad."""
        return [
            (item.entry.id, self._side_of_place(item, structures, segment))
            for before, item in zip([None, *structures], structures, strict=False)
            if before is None or not self._leads_on(self.norms[before.end : item.start])
        ]

    def _siblings(self, one: Item, other: Item, item: Item) -> bool:
        """Whether two parts named side by side share a verdict, and are not one named more closely ("hind leg stifle")."""
        first, second = self.lexicon.structures[one.entry.id], self.lexicon.structures[other.entry.id]
        if first.system != second.system:
            return any(word in self.rules.summing for word in self.norms[other.end : item.start])
        named_alike = first.part_of == second.part_of and first.id != second.id
        return named_alike and (first.part_of is not None or first.system != "musculoskeletal")

    def _has_verdict(self, structure: Item, segment: Segment) -> bool:
        """ "Clean ears eyes bright": the part has an adjective in front."""
        before = mentions_within(
            self.analysis.mentions, max(segment.start, structure.start - 3), structure.start
        )
        return bool(before) and before[-1].end == structure.start and before[-1].is_predicate

    def _limb_before(self, structure: Item, structures: list[Item]) -> Item | None:
        """ "Right hind: stifle effusion": the limb that is named before a part of it has the side."""
        limbs = [s for s in structures if s.end <= structure.start and s.entry.id in self.rules.limbs]
        singular = not self.norms[structure.end - 1].endswith("s")
        of_limb = self._organ(structure.entry.id) == "leg" and structure.entry.id not in self.rules.limbs
        return limbs[-1] if limbs and singular and of_limb else None

    def _side_said_since(self, structure: Item, item: Item, segment: Segment) -> str | None:
        """ "No placing on the left, the right is delayed": a side as subject between the part and what is said of it."""
        sides = [
            cue
            for cue in self._sides(structure.end, item.start)
            if self._owner(cue, segment) is None and self._is_subject(cue, segment)
        ]
        return self._side_value(sides[-1]) if sides else None

    def _side_of_place(self, structure: Item, structures: list[Item], segment: Segment) -> str | None:
        """The side said with a part, or with the part that tells where it is ("the pad of the right hind")."""
        side = self._side_at(structure, segment)
        if side is not None:
            return side
        if (limb := self._limb_before(structure, structures)) is not None:
            return self._side_at(limb, segment)
        following = next((s for s in structures if s.start >= structure.end), None)
        if following is None or not self._leads_on(self.norms[structure.end : following.start]):
            return None
        return self._side_at(following, segment)

    def _place(
        self, concept: FindingConcept, structure: str | None, item: Item | None
    ) -> tuple[str, str | None]:
        """System and structure of a finding: its own, else those of the structure, else the focus."""
        if concept.system != "any":
            if structure is None:
                return concept.system, concept.structure
            own = self.lexicon.structures[structure].system == concept.system
            return concept.system, structure if own or concept.structure is None else concept.structure
        if structure in self.rules.abstract_parts and self._in_hand(structure):
            structure = self.focus.structure
        if structure is not None:
            system: str = self.lexicon.structures[structure].system
            on_surface = (
                item is not None
                and system in self.rules.inside
                and self._prepositions_after(item) & self.rules.on_surface
            )
            if system in concept.surface_of or (concept.surface_of and on_surface):
                return concept.home, structure
            return system, structure
        whole = concept.nature == "normal" or concept.id in self.rules.of_whole
        if item is not None and whole and self._said_of_patient(item):
            return concept.home, None
        if self.running is not None and item is not None:
            return (concept.home if self.running in concept.surface_of else self.running), None
        if self.focus.system is not None:
            system = self.focus.system
            if system in concept.surface_of:
                return concept.home, None
            return system, self.focus.structure
        return concept.home, None

    def _in_hand(self, abstract: str) -> bool:
        """ "Elbow, good range, resents extension": the part in focus is the one that is moved."""
        part = self.focus.structure
        return (
            part is not None
            and part not in self.rules.abstract_parts
            and self.lexicon.structures[part].system == self.lexicon.structures[abstract].system
        )

    def _prepositions_after(self, item: Item) -> set[str]:
        return set(self.norms[item.end : item.end + 2])

    def _focus_on(self, structures: list[Item], segment: Segment) -> None:
        parts = [item for item in structures if item.entry.id not in self.rules.abstract_parts]
        last = (parts or structures)[-1]
        structure = self.lexicon.structures[last.entry.id]
        limb = self._limb_before(last, structures)
        if not parts and self._in_hand(structure.id):
            self.focus.sentence = segment.sentence
            self.out.mentioned.add(structure.system)
            return
        side = self._side_at(last, segment) or (self._side_at(limb, segment) if limb is not None else None)
        if side is None:
            sides = [
                cue for cue in self._sides(segment.start, segment.end) if self._owner(cue, segment) is None
            ]
            side = self._side_value(sides[-1]) if sides else None
        if side is None and (
            self._related(structure.id, self.focus.structure) or self._same_limb(last, structure)
        ):
            side = self.focus.side
        names = tuple(item.entry.id for item in self._last_listed(structures))
        self.focus = Focus(structure.system, structure.id, names, side, segment.sentence)
        for item in structures:
            self.out.mentioned.add(self.lexicon.structures[item.entry.id].system)

    def _last_listed(self, structures: list[Item]) -> list[Item]:
        """The last part named and those in one list with it: no finding stands between them."""
        first = len(structures) - 1
        while first > 0 and not any(
            not m.is_structure
            for m in mentions_within(
                self.analysis.mentions, structures[first - 1].end, structures[first].start
            )
        ):
            first -= 1
        return structures[first:]

    def _side_of_verdict(self, found: Draft | None) -> None:
        """ "Stifles, left thickened, no drawer": the side that was said with the finding is that of the part in focus."""
        if found is not None and self.focus.side is None and found.structure == self.focus.structure:
            self.focus.side = found.side
        if self._alike_on_both_sides():
            self.focus.side = None

    def _alike_on_both_sides(self) -> bool:
        """ "Left side smooth, right side smooth, no spurs": after the same of one side and the other neither is meant."""
        if len(self.out.drafts) < 2:
            return False
        one, other = self.out.drafts[-2:]
        same = (one.concept, one.structure, one.assertion, one.sentence) == (
            other.concept,
            other.structure,
            other.assertion,
            other.sentence,
        )
        return same and {one.side, other.side} == {"left", "right"}

    def _stay_on_skin(self, found: Draft | None) -> None:
        """ "A bald patch on the left hock, not sore": what follows is said of the skin there, not of the joint."""
        if found is None or found.system != "skin" or found.structure != self.focus.structure:
            return
        lesion = self.lexicon.findings[found.concept].nature == "abnormal" and found.assertion != "absent"
        if lesion and self.focus.system in ("musculoskeletal", "mouth"):
            self.focus = replace(self.focus, system="skin")

    def _focus_by_finding(self, draft: Draft, segment: Segment) -> None:
        own = self.lexicon.findings[draft.concept].structure
        moved = own is not None and own == draft.structure and not self._related(own, self.focus.structure)
        # "Bladder not obstructed, painful": what is not there leads nowhere.
        moved = moved and own not in self.rules.abstract_parts and draft.assertion != "absent"
        if draft.system != self.focus.system or moved:
            self.focus = Focus(draft.system, draft.structure, (), draft.side, segment.sentence)
        elif draft.side is not None:
            self.focus.side = draft.side
        self.focus.sentence = segment.sentence
