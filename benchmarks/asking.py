"""What the other programs have in common: they read questions, mark the given words, and write their answers.

Runs in the environment of the other program and imports nothing of Rostral. A program is a function that takes a text and the spans
of the words asked about and gives for each the set of what it says of it.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

Spans = Sequence[tuple[int, int]]
Label = Callable[[str, Spans], Sequence[set[str]]]

# A program may say several things of the same words; the first that holds is its answer.
ORDER = ("not the patient", "absent", "hypothetical", "possible", "possible or hypothetical", "past")


def state(said: Iterable[str]) -> str:
    """Reduce what was said of the words to one state; nothing said means present."""
    said = set(said)
    return next((name for name in ORDER if name in said), "present")


def mark(doc: Any, spans: Spans) -> list[Any]:
    """Give the document's spans of the words, widened to whole tokens, and make them its entities."""
    found = [doc.char_span(start, end, label="FINDING", alignment_mode="expand") for start, end in spans]
    entities: list[Any] = []
    for span in sorted(found, key=lambda one: (one.start, -one.end)):
        if not entities or span.start >= entities[-1].end:
            entities.append(span)
    doc.ents = entities
    return found


def entity_of(doc: Any, span: Any) -> Any:
    """Give the entity that covers a span: two targets in one token share it."""
    return next(entity for entity in doc.ents if entity.start <= span.start < entity.end)


def fastest(label: Label, text: str, spans: Spans) -> float:
    """Processor seconds of the fastest of three times, so that a busy machine changes little."""
    times = []
    for _ in range(3):
        start = time.process_time()
        label(text, spans)
        times.append(time.process_time() - start)
    return min(times)


def answer(engine: str, settings: str, label: Label) -> None:
    """Answer the questions of the file named first on the command line into the file named second."""
    questions = [json.loads(line) for line in Path(sys.argv[1]).read_text(encoding="utf-8").splitlines()]
    label("No murmur. Warm the caches, please.", [(3, 9)])
    states: dict[str, list[str]] = {}
    seconds_by_length: dict[str, float] = {}
    words, seconds = 0, 0.0
    for question in questions:
        spans = [(start, end) for start, end in question["spans"]]
        said = label(question["text"], spans)
        took = fastest(label, question["text"], spans)
        if question["length"]:
            seconds_by_length[str(question["length"])] = took
            continue
        states[question["key"]] = [state(one) for one in said]
        words += len(question["text"].split())
        seconds += took
    answers = {
        "engine": engine,
        "settings": settings,
        "states": states,
        "words_per_second": words / seconds,
        "seconds_by_length": seconds_by_length,
    }
    Path(sys.argv[2]).write_text(json.dumps(answers), encoding="utf-8")
