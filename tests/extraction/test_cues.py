"""Every group of cues earns its place: its example is read otherwise without it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import cast

import pytest
from spacy.tokens import Doc

from lexicon import Lexicon, load_lexicon
from pipeline.extraction import engine
from pipeline.extraction.concepts import ConceptMatcher
from pipeline.extraction.model import Statements
from pipeline.extraction.tokens import SpokenTokenizer
from pipeline.speech.model import Transcript

LEXICON = load_lexicon()


def plain_words(term: str) -> frozenset[str]:
    """Give the words that a text must hold for the term to occur, without those that the tokenizer splits."""
    return frozenset(word for word in term.split() if word.isalpha())


ENTRIES = [(plain_words(entry.term), entry) for entry in LEXICON.entries]


def facts(text: str) -> Statements:
    """Extract what a record is made of: a cue that changes only the kind of a clause changes nothing."""
    return engine.extract(Transcript.from_text(text)).model_copy(update={"clauses": ()})


def lexicon_for(text: str, *, without: str) -> Lexicon:
    """Leave out one group of cues, and all forms whose words do not occur in the text, to build fast."""
    words = set(cast("SpokenTokenizer", engine.load_pipeline().tokenizer).phrase(text))
    entries = tuple(entry for needed, entry in ENTRIES if needed <= words)
    cues = {}
    for name, group in LEXICON.cues.items():
        terms = tuple(term for term in group.terms if plain_words(term) <= words)
        if terms and name != without:
            cues[name] = group.model_copy(update={"terms": terms})
    return replace(LEXICON, entries=entries, cues=cues)


def reader_with(lexicon: Lexicon) -> Callable[[str], Doc]:
    """Build the whole pipeline with a matcher over another lexicon."""
    nlp = engine.load_pipeline()
    tokenizer = cast("SpokenTokenizer", nlp.tokenizer)
    matcher = ConceptMatcher(nlp.vocab, lexicon, tokenizer)

    def read(text: str) -> Doc:
        doc = tokenizer(text)
        for name, component in nlp.pipeline:
            doc = matcher(doc) if name == "rostral_concepts" else component(doc)
        return doc

    return read


@pytest.mark.parametrize("name", LEXICON.cues)
def test_a_group_changes_how_its_example_is_read(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without its group the example of a group gives other statements."""
    example = LEXICON.cues[name].example
    with_group = facts(example)
    reader = reader_with(lexicon_for(example, without=name))
    monkeypatch.setattr(engine, "load_pipeline", lambda: reader)
    assert facts(example) != with_group, f"{example!r} is read the same without the group {name!r}"


def test_the_smaller_matcher_reads_as_the_whole_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """The shortcut of these tests changes nothing by itself."""
    for group in LEXICON.cues.values():
        with monkeypatch.context() as patched:
            reader = reader_with(lexicon_for(group.example, without=""))
            expected = facts(group.example)
            patched.setattr(engine, "load_pipeline", lambda reader=reader: reader)
            assert facts(group.example) == expected
