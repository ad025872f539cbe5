"""NegEx as negspacy has it: its clinical English terms, sentences by marks. It knows denial only.

`--rules FILE` writes the terms down, for programs that bring no English ones.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

import spacy
from asking import Spans, answer, entity_of, mark
from negspacy.negation import Negex
from negspacy.termsets import termset

TERMS = termset("en_clinical").get_patterns()

nlp = spacy.blank("en")
sentences = nlp.create_pipe("sentencizer")
negex = Negex(nlp, "negex", neg_termset=TERMS)


def label(text: str, spans: Spans) -> Sequence[set[str]]:
    """Say which of the words are denied."""
    doc = sentences(nlp.make_doc(text))
    marked = mark(doc, spans)
    doc = negex(doc)
    return [{"absent"} if entity_of(doc, span)._.negex else set() for span in marked]


if sys.argv[1] == "--rules":
    Path(sys.argv[2]).write_text(json.dumps(TERMS), encoding="utf-8")
else:
    answer(f"negspacy {version('negspacy')}", "termset en_clinical, sentencizer", label)
