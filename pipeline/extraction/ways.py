"""Says why a phrase is read as it is: which words were taken for which term, by which way, and what they come to together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lexicon import Entry, Lexicon, load_lexicon
from pipeline.extraction.drafts import Draft
from pipeline.extraction.engine import load_pipeline
from pipeline.extraction.mentions import Mention
from pipeline.extraction.statements import StatementReader
from pipeline.extraction.tokens import Analysis, analysis_of


@dataclass(frozen=True, slots=True)
class Step:
    """Some words of a phrase, the id and name of what they are read as, and the way there."""

    words: str
    id: str
    label: str
    way: str


def ways(phrase: str) -> tuple[Step, ...]:
    """The reading of a phrase said by itself, as typed; empty where no table, no rule and no sound leads anywhere."""
    nlp = load_pipeline()
    analysis = analysis_of(nlp(phrase))
    lexicon = load_lexicon()
    drafts = StatementReader(lexicon).read(analysis).drafts
    return (*_mentioned(analysis, lexicon, drafts), *_composed(analysis, lexicon, drafts))


def _mentioned(analysis: Analysis, lexicon: Lexicon, drafts: list[Draft]) -> Iterator[Step]:
    """Each mention, in the meaning that it came to have."""
    for mention in analysis.mentions:
        read = {draft.concept for draft in drafts if draft.start == mention.start}
        entries = [entry for entry in mention.entries if entry.id in read] or list(mention.entries)
        for entry in entries:
            row = lexicon.structures.get(entry.id) or lexicon.findings[entry.id]
            yield Step(analysis.words(mention.start, mention.end), entry.id, row.label, _way(mention, entry))


def _way(mention: Mention, entry: Entry) -> str:
    if mention.route:
        return f"said for {mention.route}"
    if mention.similarity < 1:
        return f"sounds like {entry.term!r}, so a person is asked"
    if entry.rule:
        return f"{entry.rule} of {entry.base!r}"
    return "as written" + (f" in {entry.origin}" if entry.origin else "")


def _composed(analysis: Analysis, lexicon: Lexicon, drafts: list[Draft]) -> Iterator[Step]:
    """General findings that are another concept, or belong to a system, by the part they are on."""
    for draft in drafts:
        general = [
            entry
            for mention in analysis.mentions
            if mention.start == draft.start
            for entry in mention.entries
            if entry.kind != "structure" and lexicon.findings[entry.id].system == "any"
        ]
        if draft.structure is None or not general or draft.concept in {e.id for e in general}:
            continue
        words = analysis.words(draft.start, draft.end)
        parts = f"{lexicon.structures[draft.structure].label} + {lexicon.findings[general[0].id].label}"
        yield Step(words, draft.concept, lexicon.findings[draft.concept].label, f"composed: {parts}")
