"""The qualifiers of EDS-NLP, which are made for French, with English cues.

Denial has the terms of negspacy, the other qualifiers the words of medspaCy's default ConText rules by category. The third argument
is the file of `ask_negspacy.py --rules`, the fourth that of `ask_medspacy.py --rules`.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import edsnlp
from asking import Spans, answer, entity_of, mark

TERMS = json.loads(Path(sys.argv[3]).read_text(encoding="utf-8"))
RULES = json.loads(Path(sys.argv[4]).read_text(encoding="utf-8"))


def words(category: str, *directions: str) -> list[str]:
    """List the words of a category of rules, those of the directions only."""
    return sorted(
        {
            rule["literal"]
            for rule in RULES
            if rule["category"] == category and (not directions or rule["direction"] in directions)
        }
    )


nlp = edsnlp.blank("eds")
nlp.add_pipe("eds.normalizer")
nlp.add_pipe("eds.sentences")
ENDING = TERMS["termination"]
DOUBT = ("POSSIBLE_EXISTENCE", "HYPOTHETICAL")
QUALIFIERS: tuple[tuple[str, dict[str, Any]], ...] = (
    (
        "eds.negation",
        {
            "pseudo": TERMS["pseudo_negations"],
            "preceding": TERMS["preceding_negations"],
            "following": TERMS["following_negations"],
            "verbs": [],
            "termination": ENDING,
        },
    ),
    (
        "eds.hypothesis",
        {
            "pseudo": [],
            "preceding": [word for kind in DOUBT for word in words(kind, "FORWARD", "BIDIRECTIONAL")],
            "following": [word for kind in DOUBT for word in words(kind, "BACKWARD", "BIDIRECTIONAL")],
            "verbs_hyp": [],
            "verbs_eds": [],
            "termination": ENDING,
        },
    ),
    ("eds.history", {"history": words("HISTORICAL"), "termination": ENDING, "use_sections": False}),
    ("eds.family", {"family": words("FAMILY"), "termination": ENDING, "use_sections": False}),
)
for name, config in QUALIFIERS:
    nlp.add_pipe(name, config=config)
FIRST = ("normalizer", "sentences")


def label(text: str, spans: Spans) -> Sequence[set[str]]:
    """Say what the qualifiers say of the words."""
    doc = nlp.make_doc(text)
    pipes = dict(nlp.pipeline)
    for pipe in FIRST:
        doc = pipes[pipe](doc)
    marked = mark(doc, spans)
    for pipe in pipes.keys() - FIRST:
        doc = pipes[pipe](doc)
    return [said(entity_of(doc, span)) for span in marked]


def said(entity: Any) -> set[str]:
    """Name what holds; a hypothesis may be doubt or condition, and counts as either."""
    states = {
        "absent": entity._.negation,
        "possible or hypothetical": entity._.hypothesis,
        "past": entity._.history,
        "not the patient": entity._.family,
    }
    return {name for name, holds in states.items() if holds}


answer(
    f"edsnlp {version('edsnlp')}",
    "English terms of negspacy for denial, words of ConText's default rules for the rest",
    label,
)
