"""Compares what is said of given words with what other programs say of them: whether it is there, was, may be, or is no finding.

The others are told the words of each annotated finding and say only its state; ours is told nothing but the text, and must find the
words first. `passages` makes the questions, `read_answers` reads what another program wrote, `own_answers` asks ours, `compare`
counts. `benchmarks/` runs the others and writes down how their answers are taken.
"""

from __future__ import annotations

import json
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError

from pipeline.evaluation.gold import FindingFact, Gold, GoldError, without_marks
from pipeline.evaluation.phenomena import SET_ASIDE, phenomena
from pipeline.evaluation.score import Tally, annotated, meaning
from pipeline.extraction.model import Finding, Statements
from pipeline.speech.model import Frozen

State = Literal[
    "present",
    "absent",
    "possible",
    "past",
    "not the patient",
    "hypothetical",
    "possible or hypothetical",
    "withdrawn",
    "nothing",
]
"""What can be said of the words of a target; `nothing`: the words were not taken for a finding.

`possible or hypothetical` is for programs that do not part doubt from condition; it is right where either is.
"""

_STATED = ("present", "possible", "past")
ALL = "all"
PLAIN = "all present or absent"
"""The targets that are now there or not, without doubt: what a program that knows denial only can get right."""
LENGTHS = (1_000, 2_000, 4_000, 8_000)
"""Words of the texts for which the growth of time is measured."""


class Target(Frozen):
    """Words that are asked about, and what is right for them."""

    start: int
    end: int
    wanted: State
    withdrawn: bool = False
    fact: FindingFact | None = None
    phenomena: frozenset[str] = frozenset()

    @property
    def is_plain(self) -> bool:
        """Whether the words are stated as present or absent and stand."""
        return self.fact is not None and not self.withdrawn and self.wanted in ("present", "absent")

    def is_right(self, state: State) -> bool:
        """Tell whether an answer is right: talk set aside must not be stated, a withdrawn fact not stand."""
        if self.withdrawn:
            return state != self.wanted
        if self.fact is None:
            return state not in _STATED
        return state == self.wanted or (self.wanted, state) == ("possible", "possible or hypothetical")


class Passage(Frozen):
    """A text and the words asked about; `name` tells the dictation, `marks` whether it has its punctuation."""

    name: str
    marks: bool
    text: str
    targets: tuple[Target, ...] = ()

    @property
    def words(self) -> int:
        """Number of words of the text."""
        return len(self.text.split())


class Answers(Frozen):
    """What one program said: a state for each target of each passage, and how fast."""

    engine: str
    settings: str = ""
    states: dict[str, tuple[State, ...]] = Field(description="By passage, see `key`.")
    words_per_second: float = Field(gt=0)
    seconds_by_length: dict[int, float] = Field(default_factory=dict)


def key(passage: Passage) -> str:
    """Name a passage in files of answers."""
    return f"{passage.name} {'with' if passage.marks else 'without'} punctuation"


def passages(golds: Iterable[Gold]) -> list[Passage]:
    """Each dictation with and without its marks; the phenomena are those of the text with marks."""
    made = []
    for gold in golds:
        one_line = gold.model_copy(update={"text": gold.text.replace("\n", " ")})
        names = _names(one_line)
        for version in (one_line, without_marks(gold)):
            targets = _targets(version, names)
            made.append(
                Passage(name=gold.name, marks=version is one_line, text=version.text, targets=tuple(targets))
            )
    return made


def _names(gold: Gold) -> list[frozenset[str]]:
    of_findings = phenomena(gold.text, annotated(gold))
    return [*of_findings, *(frozenset({SET_ASIDE[aside.why]}) for aside in gold.set_aside)]


def _targets(gold: Gold, names: list[frozenset[str]]) -> Iterable[Target]:
    """Give the targets in the order of the annotation; of overlapping ones only the first that is not withdrawn."""
    facts = [*gold.findings, *gold.set_aside]
    withdrawn = [isinstance(fact, FindingFact) and fact.superseded for fact in facts]
    order = sorted(range(len(facts)), key=withdrawn.__getitem__)
    taken: list[tuple[int, int]] = []
    kept = []
    for number in order:
        fact, span = facts[number], gold.span(facts[number])
        if any(start < span[1] and span[0] < end for start, end in taken):
            continue
        taken.append(span)
        wanted: State = "hypothetical"
        if isinstance(fact, FindingFact):
            wanted = "past" if fact.when == "past" and fact.assertion == "present" else fact.assertion
        finding = fact if isinstance(fact, FindingFact) else None
        kept.append(
            Target(
                start=span[0],
                end=span[1],
                wanted=wanted,
                withdrawn=withdrawn[number],
                fact=finding,
                phenomena=names[number],
            )
        )
    return sorted(kept, key=lambda target: target.start)


def long_passages(short: Sequence[Passage], lengths: Iterable[int] = LENGTHS) -> list[Passage]:
    """Texts of so many words, made by saying the passages with marks again and again."""
    spoken = [passage for passage in short if passage.marks]
    made = []
    for length in lengths:
        text, targets, words, number = "", [], 0, 0
        while words < length:
            passage = spoken[number % len(spoken)]
            at = len(text)
            targets += [
                target.model_copy(update={"start": target.start + at, "end": target.end + at})
                for target in passage.targets
            ]
            text += passage.text.rstrip() + " "
            words += passage.words
            number += 1
        made.append(Passage(name=f"{length} words", marks=True, text=text, targets=tuple(targets)))
    return made


def questions(golds: Iterable[Gold]) -> str:
    """JSON lines for other programs: key, text and spans of the targets; what is right is left out."""
    short = passages(golds)
    lines = [
        json.dumps(
            {
                "key": key(passage),
                "length": passage.words if passage not in short else None,
                "text": passage.text,
                "spans": [[target.start, target.end] for target in passage.targets],
            },
            ensure_ascii=False,
        )
        for passage in (*short, *long_passages(short))
    ]
    return "\n".join(lines) + "\n"


def read_answers(file: Path) -> Answers:
    """Read a file of answers; raises GoldError naming the file if it is none."""
    try:
        return Answers.model_validate_json(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise GoldError(f"{file} cannot be read: {error}") from error
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"]))
        raise GoldError(f"{file} holds no answers: {place}: {first['msg']}") from error


def own_answers(
    short: Sequence[Passage], extract: Callable[[str], Statements], lengths: Iterable[int] = LENGTHS
) -> Answers:
    """Ask our own extraction, which sees only the text; the times are processor time of one core."""
    understood = [extract(passage.text) for passage in short]
    seconds = sum(_fastest(extract, passage.text) for passage in short)
    states = {
        key(passage): tuple(_own_state(target, statements.findings) for target in passage.targets)
        for passage, statements in zip(short, understood, strict=True)
    }
    by_length = {passage.words: _fastest(extract, passage.text) for passage in long_passages(short, lengths)}
    return Answers(
        engine="rostral",
        states=states,
        words_per_second=sum(passage.words for passage in short) / seconds,
        seconds_by_length=by_length,
    )


def _fastest(extract: Callable[[str], Statements], text: str) -> float:
    """Processor seconds of the fastest of three times, as `benchmarks/asking.py` measures the others."""
    times = []
    for _ in range(3):
        start = time.process_time()
        extract(text)
        times.append(time.process_time() - start)
    return min(times)


def _own_state(target: Target, findings: Sequence[Finding]) -> State:
    """Say what stands on the target's words: of several the one that covers most of them."""

    def covered(finding: Finding) -> int:
        return max(min(e.end_char, target.end) - max(e.start_char, target.start) for e in finding.evidence)

    here = [finding for finding in findings if covered(finding) > 0]
    best = max(here, key=lambda finding: (not finding.superseded, covered(finding)), default=None)
    if best is None:
        return "nothing"
    if best.superseded:
        return "withdrawn"
    fact, stated = target.fact, best.assertion
    if fact is not None:
        # "Not pink" and "pale" say the same, "fewer" and "normal amount" do not: good or bad is part of the answer.
        same = meaning(fact.assertion, fact.nature) == meaning(best.assertion, best.nature)
        if same != (fact.assertion == stated):
            stated = fact.assertion if same else ("absent" if fact.assertion == "present" else "present")
    return "past" if best.when == "past" and stated == "present" else stated


def compare(
    short: Sequence[Passage], answers: Answers, *, marks: bool, found_only: bool = False
) -> dict[str, Tally]:
    """Count right and wrong (as missed) by phenomenon, and of all; raises GoldError if answers are missing.

    With `found_only` words about which nothing was said do not count.
    """
    tallies: dict[str, Tally] = defaultdict(Tally)
    for passage in short:
        if passage.marks is not marks:
            continue
        states = answers.states.get(key(passage), ())
        if len(states) != len(passage.targets):
            raise GoldError(
                f"The answers of {answers.engine} do not fit these dictations ({key(passage)}). "
                "Write the questions anew with --questions and ask again."
            )
        for target, state in zip(passage.targets, states, strict=True):
            if found_only and state == "nothing":
                continue
            for name in (ALL, *((PLAIN,) if target.is_plain else ()), *target.phenomena):
                tally = tallies[name]
                if target.is_right(state):
                    tally.right += 1
                else:
                    tally.missed += 1
    return dict(tallies)
