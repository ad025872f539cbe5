"""An explanation says of every clause what it does and why, what reaches what, and what was set aside."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from pipeline.extraction import explain, extract
from pipeline.extraction.explain import ClauseExplanation, Explanation, Words
from pipeline.extraction.model import SpeechAct
from pipeline.speech.model import Transcript

DICTATION = (
    "I check for swellings and I can't feel any. Spaniels get waxy ears, but hers are clean. Left ear, bit of wax, no smell. "
    "Query cataract in the right eye. A cherry eye is a red lump. Last year he had a murmur. Any coughing? "
    "Heart rate one twenty. Recheck in two weeks."
)


def explained(text: str) -> Explanation:
    """Explain a typed text."""
    return explain(Transcript.from_text(text))


def clause(explanation: Explanation, words: str) -> ClauseExplanation:
    """Give the clause that holds the words."""
    return next(clause for clause in explanation.clauses if words in clause.words.text)


def words_in(value: object) -> Iterator[Words]:
    """Give every quotation anywhere in a value."""
    if isinstance(value, Words):
        yield value
    elif isinstance(value, tuple):
        for inner in value:
            yield from words_in(inner)
    elif isinstance(value, BaseModel):
        for _, inner in value:
            yield from words_in(inner)


def check(text: str) -> None:
    """An explanation tells the same as the statements, and quotes exactly."""
    explanation, statements = explained(text), extract(Transcript.from_text(text))
    findings = [fact.finding for part in explanation.clauses for fact in part.facts]
    assert sorted(map(repr, findings)) == sorted(map(repr, statements.findings))
    assert sum(len(part.measurements) for part in explanation.clauses) == len(statements.measurements)
    assert [item for part in explanation.clauses for item in part.plan] == list(statements.plan)
    assert [part.act for part in explanation.clauses] == [part.act for part in statements.clauses]
    assert all(text[w.start_char : w.end_char] == w.text for w in words_in(explanation))


def test_nothing_is_told_otherwise_than_in_the_statements() -> None:
    """Findings, values, plan items and acts of all clauses together are those of the extraction."""
    check(DICTATION)


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_explained(text: str) -> None:
    """Arbitrary characters of any script."""
    check(text)


@pytest.mark.parametrize(
    ("words", "act", "cue", "why"),
    [
        ("I check for", SpeechAct.INTENTION, "I check", "its own words"),
        ("Spaniels", SpeechAct.TEACHING, "Spaniels", "its own words"),
        ("hers are clean", SpeechAct.OBSERVATION, None, "nothing in it says otherwise"),
        ("cherry eye", SpeechAct.TEACHING, None, "a kind of thing is the subject, in the simple present"),
        ("Any coughing", SpeechAct.QUESTION, None, "a question mark ends it"),
        ("Recheck", SpeechAct.PLAN, "Recheck in", "its own words"),
    ],
)
def test_each_clause_tells_why_it_does_what_it_does(
    words: str, act: SpeechAct, cue: str | None, why: str
) -> None:
    """The act, the words that decided it, and the rule."""
    found = clause(explained(DICTATION), words)
    assert (found.act, found.cue.text if found.cue else None, found.why) == (act, cue, why)


def test_scopes_tell_which_cue_reaches_which_words() -> None:
    """Denial, doubt, time and side with the words that they reach, also back to what was looked for before."""
    scopes = {
        (scope.does, scope.cue.text, scope.reaches.text)
        for part in explained(DICTATION).clauses
        for scope in part.scopes
    }
    assert scopes >= {
        ("denies", "can't", "swellings"),
        ("denies", "no", "smell"),
        ("doubts", "Query", "cataract"),
        ("dates", "Last year", "murmur"),
        ("sides", "right", "cataract"),
    }


def test_a_side_is_said_or_carried_over() -> None:
    """The wax has the side of the ear that was named before, the cataract its own."""
    explanation = explained(DICTATION)
    assert clause(explanation, "bit of wax").facts[0].side_from == "carried over"
    assert clause(explanation, "cataract").facts[0].side_from == "said"


def test_what_is_set_aside_tells_why() -> None:
    """Words that name a finding in talk that is none."""
    aside = clause(explained(DICTATION), "cherry eye").set_aside
    assert [(item.words.text, item.why) for item in aside] == [
        (words, "said of animals, diseases or times in general") for words in ("cherry eye", "red", "lump")
    ]
