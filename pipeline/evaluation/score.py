"""Compares what was extracted with what was annotated.

A finding is right when it stands on the annotated words, in the annotated system, with the annotated meaning: bad (an abnormality
present), good (denied, or a normal state), possible; and is withdrawn exactly when the annotation is. Extracted findings on words
that nobody annotated are errors of precision, denials too. A wrong fact is silent when it stands and no notice doubts it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from pipeline.evaluation.gold import FindingFact, Gold, MeasurementFact
from pipeline.extraction.model import SURE_ENOUGH, Evidence, Finding, Measurement, Statements


def _meaning(assertion: str, nature: str) -> str:
    if assertion == "possible":
        return "possible"
    if nature == "normal":
        return "good" if assertion == "present" else "bad"
    if nature == "neutral":
        return "good"
    return "bad" if assertion == "present" else "good"


@dataclass
class Tally:
    """Right, missed and superfluous."""

    right: int = 0
    missed: int = 0
    extra: int = 0

    @property
    def precision(self) -> float:
        """Right of all extracted; 1.0 when nothing was extracted."""
        return self.right / (self.right + self.extra) if self.right + self.extra else 1.0

    @property
    def recall(self) -> float:
        """Right of all annotated; 1.0 when nothing was annotated."""
        return self.right / (self.right + self.missed) if self.right + self.missed else 1.0

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall."""
        total = self.precision + self.recall
        return 2 * self.precision * self.recall / total if total else 0.0


@dataclass
class Score:
    """Figures over a set of dictations; `errors` names each mistake with its place."""

    dictations: int = 0
    facts: int = 0
    findings: Tally = field(default_factory=Tally)
    by_system: dict[str, Tally] = field(default_factory=lambda: defaultdict(Tally))
    by_phenomenon: dict[str, Tally] = field(default_factory=lambda: defaultdict(Tally))
    attributes: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    measurements: Tally = field(default_factory=Tally)
    plan: Tally = field(default_factory=Tally)
    flips: int = 0
    leaks: int = 0
    set_aside: int = 0
    silent: int = 0
    systems_right: int = 0
    systems_asked: int = 0
    errors: list[str] = field(default_factory=list)

    def share(self, attribute: str) -> float:
        """Share of right values of an attribute among matched findings that have or should have one."""
        counts = self.attributes[attribute]
        total = counts["right"] + counts["wrong"]
        return counts["right"] / total if total else 1.0


def _overlaps(evidence: Iterable[Evidence], span: tuple[int, int]) -> bool:
    return any(e.start_char < span[1] and span[0] < e.end_char for e in evidence)


def phenomena(gold: Gold, fact: FindingFact) -> list[str]:
    """The phenomena of spoken exams that an annotated finding shows."""
    found = [f"style {gold.style}", f"{fact.assertion} {fact.nature}"]
    if fact.reported_by == "owner":
        found.append("owner's report")
    if fact.when == "past":
        found.append("past")
    if fact.superseded:
        found.append("withdrawn")
    if fact.side is not None:
        found.append("side")
    if fact.grade is not None:
        found.append("graded")
    return found


def score_all(golds: Iterable[Gold], extract: Callable[[Gold], Statements]) -> Score:
    """Score every dictation with an extraction function."""
    score = Score()
    for gold in golds:
        statements = extract(gold)
        score.dictations += 1
        score.facts += gold.facts
        _score_findings(score, gold, statements)
        _score_measurements(score, gold, statements)
        _score_plan(score, gold, statements)
        _score_systems(score, gold, statements)
    return score


def _likeness(fact: FindingFact, finding: Finding) -> int:
    return (
        4 * (fact.superseded == finding.superseded)
        + 4 * (_meaning(fact.assertion, fact.nature) == _meaning(finding.assertion, finding.nature))
        + 2 * (fact.side == finding.side)
        + (fact.grade is not None and finding.grade is not None and fact.grade.value == finding.grade.value)
    )


def _score_findings(score: Score, gold: Gold, statements: Statements) -> None:
    spans = {id(fact): gold.span(fact) for fact in gold.findings}
    used: set[int] = set()
    explained: set[int] = set()
    for fact in gold.findings:
        span = spans[id(fact)]
        here = [f for f in statements.findings if _overlaps(f.evidence, span)]
        same = [f for f in here if f.system == fact.system]
        explained.update(id(f) for f in same)
        free = [f for f in same if id(f) not in used]
        best = max(free, key=lambda f: _likeness(fact, f), default=None)
        if best is not None and _right(fact, best):
            used.add(id(best))
            _add(score, gold, fact, "right")
            _score_attributes(score, gold, fact, best)
            continue
        _add(score, gold, fact, "missed")
        if best is not None:
            used.add(id(best))
            score.findings.extra += 1
            score.by_system[fact.system].extra += 1
            score.silent += _nobody_is_asked(best)
            if {_meaning(fact.assertion, fact.nature), _meaning(best.assertion, best.nature)} == {
                "good",
                "bad",
            } and (fact.superseded == best.superseded):
                score.flips += 1
                _tell(
                    score,
                    gold,
                    "FLIP",
                    fact.words,
                    span,
                    f"{fact.assertion}/{fact.nature} as {best.assertion}/{best.concept}",
                )
            else:
                _tell(score, gold, "WRONG", fact.words, span, f"{_facts(fact)} as {_found(best)}")
        else:
            others = ", ".join(f"{f.system}/{f.concept}" for f in here)
            _tell(
                score,
                gold,
                "MISS",
                fact.words,
                span,
                f"{_facts(fact)}" + (f" found as {others}" if others else ""),
            )
    for finding in statements.findings:
        if id(finding) in explained or finding.superseded:
            continue
        score.findings.extra += 1
        score.by_system[finding.system].extra += 1
        score.silent += _nobody_is_asked(finding)
        evidence = finding.evidence[0]
        _tell(score, gold, "EXTRA", evidence.text, (evidence.start_char, evidence.end_char), _found(finding))
    _score_leaks(score, gold, statements)


def _score_leaks(score: Score, gold: Gold, statements: Statements) -> None:
    for aside in gold.set_aside:
        span = gold.span(aside)
        score.set_aside += 1
        leaked = [
            f
            for f in statements.findings
            if _overlaps(f.evidence, span)
            and not f.superseded
            and _meaning(f.assertion, f.nature) != "good"
            and not any(_overlaps(f.evidence, gold.span(fact)) for fact in gold.findings)
        ]
        if leaked:
            score.leaks += 1
            _tell(score, gold, "LEAK", aside.words, span, f"{aside.why}: {leaked[0].assertion}")


def _nobody_is_asked(fact: Finding | Measurement) -> bool:
    """Tell whether a fact stands in the record without the notice that asks to compare it with the words.

    The rule of that notice: it comes at `SURE_ENOUGH` or less, and for no value of the past.
    """
    asked = fact.confidence <= SURE_ENOUGH and not (isinstance(fact, Measurement) and fact.when == "past")
    return not (fact.superseded or asked)


def _right(fact: FindingFact, finding: Finding) -> bool:
    return fact.superseded == finding.superseded and _meaning(fact.assertion, fact.nature) == _meaning(
        finding.assertion, finding.nature
    )


def _add(score: Score, gold: Gold, fact: FindingFact, outcome: str) -> None:
    for tally in (
        score.findings,
        score.by_system[fact.system],
        *(score.by_phenomenon[name] for name in phenomena(gold, fact)),
    ):
        setattr(tally, outcome, getattr(tally, outcome) + 1)


def _score_attributes(score: Score, gold: Gold, fact: FindingFact, finding: Finding) -> None:
    pairs: dict[str, tuple[object, object]] = {
        "side": (fact.side, finding.side),
        "severity": (fact.severity, finding.severity),
        "grade": (
            (fact.grade.value, fact.grade.out_of) if fact.grade else None,
            (finding.grade.value, finding.grade.out_of) if finding.grade else None,
        ),
        "size": (fact.size_mm, finding.size_mm),
        "reported_by": (fact.reported_by, finding.reported_by),
        "when": (fact.when, finding.when),
    }
    for name, (wanted, got) in pairs.items():
        if wanted is None and got is None:
            continue
        outcome = "right" if wanted == got else "wrong"
        score.attributes[name][outcome] += 1
        if outcome == "wrong":
            if name == "side":
                score.silent += _nobody_is_asked(finding)
            _tell(score, gold, f"ATTR {name}", fact.words, gold.span(fact), f"{wanted} as {got}")


def _score_measurements(score: Score, gold: Gold, statements: Statements) -> None:
    used: set[int] = set()
    for fact in gold.measurements:
        span = gold.span(fact)
        here = [
            m
            for m in statements.measurements
            if m.kind == fact.kind and _overlaps(m.evidence, span) and id(m) not in used
        ]
        best = max(here, key=lambda m: _same_value(fact, m), default=None)
        if best is not None:
            used.add(id(best))
        if best is not None and _same_value(fact, best):
            score.measurements.right += 1
            continue
        score.measurements.missed += 1
        if best is not None:
            score.measurements.extra += 1
            score.silent += _nobody_is_asked(best)
        got = (
            f"{best.value} {best.value_high} {best.unit} {best.out_of} {best.when} {best.superseded}"
            if best
            else "nothing"
        )
        _tell(
            score,
            gold,
            "VITAL",
            fact.words,
            span,
            f"{fact.kind} {fact.value} {fact.value_high} {fact.out_of} {fact.when} {fact.superseded} as {got}",
        )
    for measurement in statements.measurements:
        if id(measurement) not in used:
            score.measurements.extra += 1
            score.silent += _nobody_is_asked(measurement)
            evidence = measurement.evidence[0]
            _tell(
                score,
                gold,
                "VITAL EXTRA",
                evidence.text,
                (evidence.start_char, evidence.end_char),
                f"{measurement.kind} {measurement.value}",
            )


def _same_value(fact: MeasurementFact, measurement: Measurement) -> bool:
    return (
        _equal(fact.value, measurement.value)
        and _equal(fact.value_high, measurement.value_high)
        and fact.out_of == measurement.out_of
        and fact.when == measurement.when
        and fact.superseded == measurement.superseded
    )


def _equal(wanted: float | str | None, got: float | str | None) -> bool:
    if isinstance(wanted, float | int) and isinstance(got, float | int):
        return abs(wanted - got) < 0.006
    return wanted == got


def _score_plan(score: Score, gold: Gold, statements: Statements) -> None:
    hit: set[int] = set()
    for fact in gold.plan:
        span = gold.span(fact)
        items = [i for i, item in enumerate(statements.plan) if _overlaps(item.evidence, span)]
        hit.update(items)
        if items:
            score.plan.right += 1
        else:
            score.plan.missed += 1
            _tell(score, gold, "PLAN MISS", fact.words, span, "")
    for index, item in enumerate(statements.plan):
        if index not in hit:
            score.plan.extra += 1
            evidence = item.evidence[0]
            _tell(score, gold, "PLAN EXTRA", item.text, (evidence.start_char, evidence.end_char), "")


def _score_systems(score: Score, gold: Gold, statements: Statements) -> None:
    """Whether exactly the systems without any result are seen as such."""
    spoken = {f.system for f in statements.findings if not f.superseded} | {
        n.system for n in statements.not_examined
    }
    for system in {*gold.missing_systems} | {f.system for f in gold.findings}:
        score.systems_asked += 1
        score.systems_right += (system not in gold.missing_systems) == (system in spoken)


def _tell(score: Score, gold: Gold, kind: str, words: str, span: tuple[int, int], detail: str) -> None:
    around = " ".join(gold.text[max(0, span[0] - 70) : span[1] + 40].split())
    score.errors.append(f"{kind:12} {gold.name}: {words!r} {detail} <{around}>")


def _facts(fact: FindingFact) -> str:
    return f"{fact.system}/{fact.assertion}/{fact.nature}" + ("/superseded" if fact.superseded else "")


def _found(finding: Finding) -> str:
    return f"{finding.system}/{finding.assertion}/{finding.concept}" + (
        "/superseded" if finding.superseded else ""
    )
