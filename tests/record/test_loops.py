"""A recogniser that falls into a loop says one thing thousands of times: the record must come all the same."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest
from examples import DOG, LEXICON, TODAY, finding, heard, measured

from pipeline.extraction.model import Finding, Grade, Measurement, Statements
from pipeline.record import Visit, assemble
from pipeline.speech.model import Transcript

Facts = tuple[Finding | Measurement, ...]


def one_value(times: int) -> Facts:
    return tuple(measured("heart_rate", 120, evidence=heard(15 * i)) for i in range(times))


def two_values(times: int) -> Facts:
    return tuple(measured("heart_rate", 110 + i % 2, evidence=heard(15 * i)) for i in range(times))


def withdrawn_values(times: int) -> Facts:
    return tuple(measured("heart_rate", i, superseded=True, evidence=heard(15 * i)) for i in range(times))


def one_finding(times: int) -> Facts:
    words = [finding("ear_wax", side="left", evidence=heard(15 * i)) for i in range(times)]
    return tuple(word.model_copy(update={"modifiers": (f"m{i}",)}) for i, word in enumerate(words))


def said_and_denied(times: int) -> Facts:
    ways = ("present", "absent")
    return tuple(finding("cough", assertion=ways[i % 2], evidence=heard(15 * i)) for i in range(times))


def two_grades(times: int) -> Facts:
    grades = [Grade(value=n, out_of=6, text=f"{n} of 6") for n in (2, 3)]
    return tuple(finding("heart_murmur", grade=grades[i % 2], evidence=heard(15 * i)) for i in range(times))


def withdrawn_findings(times: int) -> Facts:
    return tuple(finding("cough", superseded=True, evidence=heard(15 * i)) for i in range(times))


@pytest.mark.parametrize(
    "loop",
    [
        one_value,
        two_values,
        withdrawn_values,
        one_finding,
        said_and_denied,
        two_grades,
        withdrawn_findings,
    ],
)
def test_time_grows_with_the_number_of_repeats(loop: Callable[[int], Facts]) -> None:
    """Eight times the repeats: about 8 times as long for linear work (13 measured), 64 times for quadratic."""

    def fastest(times: int) -> float:
        facts = loop(times)
        said = Statements(
            findings=tuple(fact for fact in facts if isinstance(fact, Finding)),
            measurements=tuple(fact for fact in facts if isinstance(fact, Measurement)),
        )
        transcript, visit = Transcript.from_text("x" * (15 * times + 1)), Visit(on=TODAY)
        taken = []
        for _ in range(3):
            start = time.process_time()
            record = assemble(said, transcript, DOG, visit, LEXICON)
            taken.append(time.process_time() - start)
        facts = (*record.findings, *record.measurements)
        assert len({piece for fact in facts for piece in fact.evidence}) == times
        return min(taken)

    once, eight_times = fastest(1000), fastest(8000)
    print(f"{loop.__name__}: 8,000 in {eight_times:.3f} s, ratio {eight_times / once:.1f}")  # noqa: T201
    assert eight_times < 30 * once
