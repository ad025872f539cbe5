"""Every group of cues earns its place: its example is read otherwise without it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from spacy.language import Language
from spacy.vocab import Vocab

from lexicon import Lexicon, load_lexicon
from pipeline.extraction import engine
from pipeline.extraction.model import Statements
from pipeline.extraction.tokens import SpokenTokenizer
from pipeline.speech.model import Transcript

LEXICON = load_lexicon()
TOKENIZER = SpokenTokenizer(Vocab(), LEXICON)


def plain_words(term: str) -> frozenset[str]:
    """Give the words that a text must hold for the term to occur, without those that the tokenizer splits."""
    return frozenset(word for word in term.split() if word.isalpha())


ENTRIES = [(plain_words(entry.term), entry) for entry in LEXICON.entries]


def facts(text: str) -> Statements:
    """Extract what a record is made of: a cue that changes only the kind of a clause changes nothing."""
    return engine.extract(Transcript.from_text(text)).model_copy(update={"clauses": ()})


def lexicon_for(text: str, *, without: str) -> Lexicon:
    """Leave out one group of cues, and all forms whose words do not occur in the text, to build fast."""
    words = set(TOKENIZER.phrase(text))
    entries = tuple(entry for needed, entry in ENTRIES if needed <= words)
    cues = {}
    for name, group in LEXICON.cues.items():
        terms = tuple(term for term in group.terms if plain_words(term) <= words)
        if terms and name != without:
            cues[name] = group.model_copy(update={"terms": terms})
    return replace(LEXICON, entries=entries, cues=cues)


@pytest.fixture(scope="module")
def pipeline() -> Language:
    """Build a pipeline of our own, so that exchanging a part does not touch the one of the other tests."""
    small = lexicon_for("", without="")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(engine, "load_lexicon", lambda: small)
        return engine.load_pipeline()


def read_with(lexicon: Lexicon, text: str, pipeline: Language) -> Statements:
    """Extract with words and cues of another lexicon."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(engine, "load_lexicon", lambda: lexicon)
        pipeline.replace_pipe("rostral_concepts", "rostral_concepts")
        patched.setattr(engine, "load_pipeline", lambda: pipeline)
        return facts(text)


@pytest.mark.parametrize("name", LEXICON.cues)
def test_a_group_changes_how_its_example_is_read(name: str, pipeline: Language) -> None:
    """Without its group the example of a group gives other statements."""
    example = LEXICON.cues[name].example
    without = read_with(lexicon_for(example, without=name), example, pipeline)
    assert facts(example) != without, f"{example!r} is read the same without the group {name!r}"


def test_the_smaller_matcher_reads_as_the_whole_one(pipeline: Language) -> None:
    """The shortcut of these tests changes nothing by itself."""
    for group in LEXICON.cues.values():
        smaller = read_with(lexicon_for(group.example, without=""), group.example, pipeline)
        assert smaller == facts(group.example)
