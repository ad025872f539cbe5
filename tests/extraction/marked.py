"""Read dictations with the answer marked inside: "No [heat|absent], but the right is [thicker|right]", say.

A mark is `[words|expectation]`. The words stay in the dictation, the expectation says what must be found:

    present (or nothing)   absent   possible
    left  right  both      side; without one of these the finding has no side
    past  owner  withdrawn when, by whom, taken back
    trace … severe         severity
    grade=2/6  size=20     grade with its scale, size in millimetres
    @ears                  system
    none                   nothing stands here: talk, not a finding
    a;b                    two findings of the same words, one expectation each

What is found outside of every mark is an error, and so is a malformed mark.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from said import hear, unpunctuated

from pipeline.extraction.model import Evidence, Finding

_MARK = re.compile(r"\[([^\[\]|]+)\|([^\[\]|]+)\]")
_WORDS = {
    "present": "assertion",
    "absent": "assertion",
    "possible": "assertion",
    "left": "side",
    "right": "side",
    "both": "side",
    "past": "when",
    "owner": "reported_by",
    "withdrawn": "superseded",
    **dict.fromkeys(("trace", "mild", "moderate", "marked", "severe"), "severity"),
}
_DEFAULT = {"assertion": "present", "side": "-", "when": "now", "reported_by": "vet", "superseded": "-"}


@dataclass(frozen=True)
class Mark:
    """Words at start to end of the dictation and the findings expected there."""

    words: str
    start: int
    end: int
    expected: tuple[dict[str, str], ...]


def parse(marked: str) -> tuple[str, list[Mark]]:
    """Split a dictation from its marks; raises ValueError for a malformed mark."""
    text, marks, done = "", [], 0
    for match in _MARK.finditer(marked):
        text += marked[done : match.start()]
        words, expectation = match.groups()
        marks.append(Mark(words, len(text), len(text) + len(words), _expectations(expectation)))
        text += words
        done = match.end()
    text += marked[done:]
    if set("[]|") & set(text) or not text.strip():
        raise ValueError(f"malformed mark in {marked!r}")
    return text, marks


def _expectations(expectation: str) -> tuple[dict[str, str], ...]:
    if expectation.strip() == "none":
        return ()
    return tuple(_expectation(part.split()) for part in expectation.split(";"))


def _expectation(tokens: list[str]) -> dict[str, str]:
    expected = dict(_DEFAULT)
    for token in tokens:
        name, equals, value = token.partition("=")
        if token.startswith("@"):
            expected["system"] = token[1:]
        elif equals and name in ("grade", "size"):
            expected[name] = value
        elif token in _WORDS:
            expected[_WORDS[token]] = token
        else:
            raise ValueError(f"unknown expectation {token!r}")
    if not tokens:
        raise ValueError("empty expectation")
    return expected


def _as_found(finding: Finding) -> dict[str, str]:
    """Say a finding in the words of a mark."""
    scale = f"/{finding.grade.out_of:g}" if finding.grade and finding.grade.out_of else ""
    return {
        "assertion": finding.assertion,
        "side": finding.side or "-",
        "when": finding.when,
        "reported_by": finding.reported_by,
        "superseded": "withdrawn" if finding.superseded else "-",
        "severity": finding.severity or "-",
        "grade": f"{finding.grade.value:g}{scale}" if finding.grade else "-",
        "size": f"{finding.size_mm:g}" if finding.size_mm else "-",
        "system": finding.system,
    }


def _in_words(values: dict[str, str], asked: set[str]) -> str:
    return " ".join(values.get(name, "-") for name in sorted(asked))


def _overlaps(piece: Evidence, mark: Mark) -> bool:
    return piece.start_char < mark.end and mark.start < piece.end_char


def disagreements(marked: str, *, punctuation: bool = True) -> list[str]:
    """List what is found otherwise than marked; empty when all is as expected."""
    text, marks = parse(marked)
    findings = list(hear(text if punctuation else unpunctuated(text)).findings)
    lines = []
    for mark in marks:
        here = [f for f in findings if any(_overlaps(piece, mark) for piece in f.evidence)]
        findings = [f for f in findings if f not in here]
        asked = set(_DEFAULT).union(*mark.expected)
        got = sorted(_in_words(_as_found(f), asked) for f in here)
        want = sorted(_in_words(expected, asked) for expected in mark.expected)
        if got != want:
            lines.append(
                f"{mark.words!r}: got {', '.join(got) or 'nothing'}; expected {', '.join(want) or 'nothing'}"
            )
    lines += [f"unmarked: {f.evidence[0].text!r} {f.concept} {f.assertion} {f.side}" for f in findings]
    return lines
