"""Compares what was extracted with what was annotated.

A finding is right when it stands on the annotated words, in the annotated system, with the annotated meaning: bad (an abnormality
present), good (denied, or a normal state), possible; and is withdrawn exactly when the annotation is. Extracted findings on words
that nobody annotated are errors of precision, denials too. A wrong fact is silent when it stands and no notice doubts it.

By phenomenon a finding is right only if what makes the phenomenon is right as well: the side, the past, the owner. Talk set aside
is right when no finding came of it; superfluous there are observations missed because their clause was taken for such talk.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from pipeline.evaluation.gold import FindingFact, Gold, MeasurementFact
from pipeline.evaluation.phenomena import MANNER, SET_ASIDE, Stated, phenomena
from pipeline.extraction.model import SURE_ENOUGH, Evidence, Finding, Measurement, Statements


def meaning(assertion: str, nature: str) -> str:
    """Say what a finding means for the patient: good, bad or possible."""
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
    needless: int = 0
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
        + 4 * (meaning(fact.assertion, fact.nature) == meaning(finding.assertion, finding.nature))
        + 2 * (fact.side == finding.side)
        + (fact.grade is not None and finding.grade is not None and fact.grade.value == finding.grade.value)
    )


@dataclass
class _Match:
    """What became of one annotated finding."""

    fact: FindingFact
    span: tuple[int, int]
    best: Finding | None
    right: bool


def _score_findings(score: Score, gold: Gold, statements: Statements) -> None:
    used: set[int] = set()
    explained: set[int] = set()
    matches = []
    for fact in gold.findings:
        span = gold.span(fact)
        here = [f for f in statements.findings if _overlaps(f.evidence, span)]
        same = [f for f in here if f.system == fact.system]
        explained.update(id(f) for f in same)
        best = max((f for f in same if id(f) not in used), key=lambda f: _likeness(fact, f), default=None)
        if best is not None:
            used.add(id(best))
        match = _Match(fact, span, best, best is not None and _right(fact, best))
        matches.append(match)
        _count(score, gold, match, here)
    extra = [f for f in statements.findings if id(f) not in explained and not f.superseded]
    for finding in extra:
        score.findings.extra += 1
        score.by_system[finding.system].extra += 1
        score.silent += _nobody_is_asked(finding)
        evidence = finding.evidence[0]
        _tell(score, gold, "EXTRA", evidence.text, (evidence.start_char, evidence.end_char), _found(finding))
    _score_phenomena(score, gold, statements, matches, extra)
    _score_leaks(score, gold, statements)


def _count(score: Score, gold: Gold, match: _Match, here: list[Finding]) -> None:
    """Count an annotated finding as right, wrong or missed; `here` is all that was found on its words."""
    fact, span, best = match.fact, match.span, match.best
    tallies = (score.findings, score.by_system[fact.system])
    if match.right and best is not None:
        for tally in tallies:
            tally.right += 1
        score.needless += best.confidence <= SURE_ENOUGH
        _score_attributes(score, gold, fact, best)
        return
    for tally in tallies:
        tally.missed += 1
        tally.extra += best is not None
    if best is None:
        others = ", ".join(f"{f.system}/{f.concept}" for f in here)
        detail = f"{_facts(fact)}" + (f" found as {others}" if others else "")
        _tell(score, gold, "MISS", fact.words, span, detail)
        return
    score.silent += _nobody_is_asked(best)
    meanings = {meaning(fact.assertion, fact.nature), meaning(best.assertion, best.nature)}
    if meanings == {"good", "bad"} and fact.superseded == best.superseded:
        score.flips += 1
        detail = f"{fact.assertion}/{fact.nature} as {best.assertion}/{best.concept}"
        _tell(score, gold, "FLIP", fact.words, span, detail)
    else:
        _tell(score, gold, "WRONG", fact.words, span, f"{_facts(fact)} as {_found(best)}")


def annotated(gold: Gold) -> list[Stated]:
    """Give the annotated findings as facts with a place."""
    return [
        Stated(
            *gold.span(fact),
            assertion=fact.assertion,
            side=fact.side,
            detailed=fact.grade is not None or fact.size_mm is not None,
            told_by_owner=fact.reported_by == "owner",
            past=fact.when == "past",
            withdrawn=fact.superseded,
        )
        for fact in gold.findings
    ]


def _extracted(finding: Finding) -> Stated:
    return Stated(
        finding.evidence[0].start_char,
        finding.evidence[0].end_char,
        assertion=finding.assertion,
        side=finding.side,
        detailed=finding.grade is not None or finding.size_mm is not None,
        told_by_owner=finding.reported_by == "owner",
        past=finding.when == "past",
        withdrawn=finding.superseded,
    )


def _score_phenomena(
    score: Score, gold: Gold, statements: Statements, matches: list[_Match], extra: list[Finding]
) -> None:
    shown = phenomena(gold.text, annotated(gold))
    seen = phenomena(gold.text, [_extracted(finding) for finding in statements.findings])
    seen_in = {id(finding): names for finding, names in zip(statements.findings, seen, strict=True)}
    for match, names in zip(matches, shown, strict=True):
        wrong = _wrong_manner(match)
        for name in names:
            outcome = "right" if match.right and name not in wrong else "missed"
            _increase(score.by_phenomenon[name], outcome)
        if match.best is not None:
            superfluous = seen_in[id(match.best)]
            for name in superfluous & MANNER if match.right else superfluous:
                if name in wrong or name not in names or not match.right:
                    score.by_phenomenon[name].extra += 1
    for finding in extra:
        for name in seen_in[id(finding)]:
            score.by_phenomenon[name].extra += 1
    for match in matches:
        if match.best is None and not match.fact.superseded:
            clause = next((c for c in statements.clauses if c.start_char <= match.span[0] < c.end_char), None)
            if clause is not None and clause.act.value in SET_ASIDE:
                score.by_phenomenon[SET_ASIDE[clause.act.value]].extra += 1


def _wrong_manner(match: _Match) -> set[str]:
    """Name the phenomena that a finding, right otherwise, got wrong."""
    fact, best = match.fact, match.best
    if best is None:
        return set()
    grade = best.grade and best.grade.value
    checks = {
        "told by the owner": fact.reported_by == best.reported_by,
        "past": fact.when == best.when,
        "side said": fact.side == best.side,
        "side carried over": fact.side == best.side,
        "grade or size": (fact.grade and fact.grade.value) == grade and fact.size_mm == best.size_mm,
    }
    return {name for name, right in checks.items() if not right}


def _increase(tally: Tally, outcome: str) -> None:
    setattr(tally, outcome, getattr(tally, outcome) + 1)


def _score_leaks(score: Score, gold: Gold, statements: Statements) -> None:
    for aside in gold.set_aside:
        span = gold.span(aside)
        score.set_aside += 1
        leaked = [
            f
            for f in statements.findings
            if _overlaps(f.evidence, span)
            and not f.superseded
            and meaning(f.assertion, f.nature) != "good"
            and not any(_overlaps(f.evidence, gold.span(fact)) for fact in gold.findings)
        ]
        _increase(score.by_phenomenon[SET_ASIDE[aside.why]], "missed" if leaked else "right")
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
    return fact.superseded == finding.superseded and meaning(fact.assertion, fact.nature) == meaning(
        finding.assertion, finding.nature
    )


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
