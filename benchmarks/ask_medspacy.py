"""ConText as medspaCy has it: its own tokenizer, its sentence splitter and its default English rules.

`--rules FILE` writes those rules down by category, for programs that bring no English ones.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

import medspacy
from asking import Spans, answer, entity_of, mark
from loguru import logger

STATES = {
    "is_negated": "absent",
    "is_uncertain": "possible",
    "is_historical": "past",
    "is_hypothetical": "hypothetical",
    "is_family": "not the patient",
}

# Its sentence splitter tells of every word; writing that down would cost it most of its speed.
logger.disable("PyRuSH")
nlp = medspacy.load(medspacy_enable=["medspacy_pyrush", "medspacy_context"])
sentences = nlp.get_pipe("medspacy_pyrush")
context = nlp.get_pipe("medspacy_context")


def label(text: str, spans: Spans) -> Sequence[set[str]]:
    """Say what the rules say of the words."""
    doc = sentences(nlp.make_doc(text))
    marked = mark(doc, spans)
    doc = context(doc)
    entities = [entity_of(doc, span) for span in marked]
    return [{name for flag, name in STATES.items() if getattr(one._, flag)} for one in entities]


if sys.argv[1] == "--rules":
    rules = [
        {"category": rule.category, "literal": rule.literal, "direction": rule.direction}
        for rule in context.rules
    ]
    Path(sys.argv[2]).write_text(json.dumps(rules), encoding="utf-8")
else:
    answer(f"medspacy {version('medspacy')}", "default ConText rules, PyRuSH sentences", label)
