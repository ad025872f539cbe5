"""How a text was understood, clause by clause, as plain values: what `rostral extract --explain` shows.

Reads what the components and the reading left behind and decides nothing itself.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from typing import Literal

from pydantic import Field

from pipeline.extraction.concepts import Cue
from pipeline.extraction.drafts import CARRYING, Draft, Read
from pipeline.extraction.mentions import Mention, mentions_within
from pipeline.extraction.model import Finding, Measurement, PlanItem, Side, SpeechAct, Statements
from pipeline.extraction.segments import Segment
from pipeline.extraction.tokens import Analysis
from pipeline.speech.model import Frozen

EXPLANATION_VERSION: Literal["1"] = "1"

_ASIDE = {
    SpeechAct.INTENTION: "what is looked for or done is not yet found",
    SpeechAct.TEACHING: "said of animals, diseases or times in general",
    SpeechAct.QUESTION: "asked, not stated",
    SpeechAct.PLAN: "planned, given or advised",
    SpeechAct.CHATTER: "not about the examination",
    SpeechAct.OTHER_ANIMAL: "said of another animal or person",
}


class Words(Frozen):
    """Words of the text: `text[start_char:end_char]`."""

    text: str
    start_char: int = Field(ge=0)
    end_char: int = Field(ge=0)


class Term(Frozen):
    """Words of the lexicon in a clause and what they can stand for."""

    words: Words
    kind: Literal["part", "finding", "quality"] = Field(
        description="A part of the body, a noun that names a finding, or an adjective or verb that does."
    )
    meanings: tuple[str, ...] = Field(description="Identifiers of the lexicon, all that were considered.")
    misheard: bool = Field(description="Taken for a term that it sounds like.")


class Scope(Frozen):
    """A cue that reaches a finding and changes what is said of it."""

    does: Literal["denies", "doubts", "dates", "sides"]
    cue: Words
    reaches: Words


class Fact(Frozen):
    """A finding of a clause and where its side comes from."""

    finding: Finding
    side_from: Literal["said", "carried over"] | None = Field(
        default=None,
        description="Said in the clause, or carried over from what was in focus; null without a side.",
    )


class SetAside(Frozen):
    """Words that name something and made no finding, and why."""

    words: Words
    why: str


class ClauseExplanation(Frozen):
    """One clause: what it does and why, what was found in it, and what was left out."""

    words: Words
    act: SpeechAct
    why: str
    cue: Words | None = Field(
        default=None, description="The words that decided the act, null where no words did."
    )
    cue_group: str | None = Field(
        default=None, description="The group of cues in lexicon/cues that they belong to."
    )
    terms: tuple[Term, ...] = ()
    scopes: tuple[Scope, ...] = ()
    facts: tuple[Fact, ...] = ()
    measurements: tuple[Measurement, ...] = ()
    plan: tuple[PlanItem, ...] = ()
    set_aside: tuple[SetAside, ...] = ()


class Explanation(Frozen):
    """A text and its clauses in order; together they hold every word but the marks between them."""

    version: Literal["1"] = EXPLANATION_VERSION
    text: str
    clauses: tuple[ClauseExplanation, ...] = ()


def explanation_of(analysis: Analysis, read: Read, statements: Statements) -> Explanation:
    """Explain a reading; `statements` are what was written down of `read`, in the same order."""
    return _Explainer(analysis, read, statements).explain()


class _Explainer:
    def __init__(self, analysis: Analysis, read: Read, statements: Statements) -> None:
        self._analysis = analysis
        self._found: dict[int, list[tuple[Draft, Finding]]] = defaultdict(list)
        for draft, finding in zip(read.drafts, statements.findings, strict=True):
            self._found[draft.segment].append((draft, finding))
        self._measured: dict[int, list[Measurement]] = defaultdict(list)
        for (_, segment), measurement in zip(read.readings, statements.measurements, strict=True):
            self._measured[segment.start].append(measurement)
        starts = [analysis.starts[segment.start] for segment in analysis.segments]
        self._planned: dict[int, list[PlanItem]] = defaultdict(list)
        for item in statements.plan:
            self._planned[bisect_right(starts, item.evidence[0].start_char) - 1].append(item)
        self._named = {token for draft in read.drafts for token in range(draft.start, draft.end)}
        self._valued = {token for reading, _ in read.readings for token in range(reading.start, reading.end)}
        self._sides = [cue for cue in analysis.cues if cue.kind == "side"]

    def explain(self) -> Explanation:
        return Explanation(
            text=self._analysis.text,
            clauses=tuple(
                self._clause(index, segment) for index, segment in enumerate(self._analysis.segments)
            ),
        )

    def _clause(self, index: int, segment: Segment) -> ClauseExplanation:
        mentions = mentions_within(self._analysis.mentions, segment.start, segment.end)
        found = self._found[index]
        cue = segment.act_cue
        return ClauseExplanation(
            words=self._words(segment.start, segment.end),
            act=segment.act,
            why=segment.ground.value,
            cue=self._cue(cue) if cue is not None else None,
            cue_group=cue.group.id if cue is not None else None,
            terms=tuple(self._term(mention) for mention in mentions),
            scopes=tuple(
                scope for draft, finding in found for scope in self._scopes(draft, finding, segment)
            ),
            facts=tuple(
                Fact(finding=finding, side_from=self._side_from(draft, finding.side, segment))
                for draft, finding in found
            ),
            measurements=tuple(self._measured[segment.start]),
            plan=tuple(self._planned[index]),
            set_aside=tuple(
                SetAside(words=self._words(m.start, m.end), why=self._why_aside(segment))
                for m in mentions
                if not m.is_structure
                and self._named.isdisjoint(range(m.start, m.end))
                and self._valued.isdisjoint(range(m.start, m.end))
            ),
        )

    def _words(self, start: int, end: int) -> Words:
        first, last = self._analysis.slice(start, end)
        return Words(text=self._analysis.text[first:last], start_char=first, end_char=last)

    def _cue(self, cue: Cue) -> Words:
        return self._words(cue.start, cue.end)

    def _term(self, mention: Mention) -> Term:
        kind: Literal["part", "finding", "quality"] = "quality" if mention.is_predicate else "finding"
        return Term(
            words=self._words(mention.start, mention.end),
            kind="part" if mention.is_structure else kind,
            meanings=tuple(dict.fromkeys(entry.id for entry in mention.entries)),
            misheard=mention.similarity < 1.0,
        )

    def _scopes(self, draft: Draft, finding: Finding, segment: Segment) -> list[Scope]:
        reaches = self._words(draft.start, draft.end)
        scopes = [Scope(does=effect, cue=self._cue(cue), reaches=reaches) for effect, cue in draft.reached_by]
        side = self._side_cue(draft, finding.side, segment)
        if side is not None:
            scopes.append(Scope(does="sides", cue=self._cue(side), reaches=reaches))
        return scopes

    def _side_cue(self, draft: Draft, side: Side | None, segment: Segment) -> Cue | None:
        """The words for a finding's side that stand nearest to it in its clause."""
        first = bisect_left(self._sides, segment.start, key=lambda cue: cue.start)
        last = bisect_left(self._sides, segment.end, key=lambda cue: cue.start)
        said = [
            cue for cue in self._sides[first:last] if side is not None and cue.group.value in (side, "other")
        ]
        return min(said, key=lambda cue: abs(cue.start - draft.start), default=None)

    def _side_from(
        self, draft: Draft, side: Side | None, segment: Segment
    ) -> Literal["said", "carried over"] | None:
        if side is None:
            return None
        within = self._analysis.norms[draft.start : draft.end]
        said = side in within or self._side_cue(draft, side, segment) is not None
        return "said" if said else "carried over"

    def _why_aside(self, segment: Segment) -> str:
        if segment.act not in CARRYING:
            return _ASIDE[segment.act]
        return "nothing in the clause makes it a statement of its own"
