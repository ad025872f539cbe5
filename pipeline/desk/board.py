"""What a review page shows of a record: facts with their words and states, systems, notices, and what stops a signature.

Pure: a kept review and the lexicon in, frozen values for the template out. It decides nothing; states, notices and hindrances are
those of `record` and `review`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from lexicon import SYSTEMS, Lexicon
from lexicon.schema import System
from pipeline.desk.texts import day, say, say_or
from pipeline.extraction.model import SURE_ENOUGH, Evidence, Finding, Measurement, PlanItem
from pipeline.record import ExamRecord, Notice
from pipeline.record.model import ReferenceRangeUsed
from pipeline.record.phrases import finding_text, rank
from pipeline.record.wording import capital, limits_text, unit_text, value_text
from pipeline.review import Review, Reviewed, current, hindrances, notice_key
from pipeline.review.standing import facts_of

AnyFact = Reviewed[Finding] | Reviewed[Measurement] | Reviewed[PlanItem]
Kind = Literal["finding", "measurement", "plan"]
Order = Literal["body", "doubt"]

_LONG_SOURCE = 40
_ASKS_IF_RIGHT = ("low_confidence", "out_of_range", "contradiction", "correction", "side_missing")


@dataclass(frozen=True, slots=True)
class Words:
    """The words that a fact rests on; seconds in the recording where there is one."""

    text: str
    heard: str | None
    start_s: float | None
    end_s: float | None


@dataclass(frozen=True, slots=True)
class FactView:
    """A fact as the page shows it. `digest` changes when what a reviewer would decide on changes."""

    id: str
    kind: Kind
    text: str
    shape: str
    standing: str
    confirmed: bool
    stands: bool
    doubtful: bool
    withdrawn: bool
    confidence: float
    words: tuple[Words, ...]
    notes: tuple[str, ...]
    understood: str | None
    by: str | None
    reason: str | None
    digest: str


@dataclass(frozen=True, slots=True)
class SystemView:
    """A body system with its facts and what is asked about it."""

    system: System
    state: str
    reason: str | None
    facts: tuple[FactView, ...]
    asked: int


@dataclass(frozen=True, slots=True)
class NoticeView:
    """A notice that waits. `facts` are those it speaks of; `answers` the ways in which the page lets it be answered."""

    key: str
    kind: str
    about: str
    severity: str
    message: str
    source: str | None
    facts: tuple[str, ...]
    words: tuple[Words, ...]
    answers: tuple[str, ...]

    @property
    def stops(self) -> bool:
        """Whether it stops a signature."""
        return self.severity != "info"


@dataclass(frozen=True, slots=True)
class Board:
    """The review of one record."""

    record: ExamRecord
    systems: tuple[SystemView, ...]
    values: tuple[FactView, ...]
    plan: tuple[FactView, ...]
    doubts: tuple[FactView, ...]
    notices: tuple[NoticeView, ...]
    stops: int
    open: int
    certain: int
    normal: tuple[System, ...]


def board_of(review: Review, lexicon: Lexicon, signed: ExamRecord | None = None) -> Board:
    """Lay a review out; of a `signed` record what was signed, and not what the lexicon of today would make of it."""
    record = signed if signed is not None else current(review, lexicon)
    notices = tuple(_notice(notice, review) for notice in record.notices)
    asked = {fact for notice in notices for fact in notice.facts}
    ranges = {used.kind: used for used in record.ranges}
    show = _Shown(lexicon, ranges)
    findings = [show.fact(fact) for fact in sorted(review.findings, key=_finding_rank)]
    of_system = {fact.id: fact.value.system for fact in review.findings}
    values = tuple(show.fact(fact) for fact in review.measurements)
    plan = tuple(show.fact(fact) for fact in review.plan)
    everything = (*findings, *values, *plan)
    waiting = [fact for fact in everything if fact.standing == "open" and fact.stands and not fact.withdrawn]
    systems = tuple(
        SystemView(
            system=one.system,
            state=one.state,
            reason=one.reason,
            facts=tuple(fact for fact in findings if of_system[fact.id] == one.system),
            asked=sum(_concerns(notice, one.system, review) for notice in record.notices),
        )
        for one in sorted(record.systems, key=lambda one: SYSTEMS.index(one.system))
    )
    return Board(
        record=record,
        systems=systems,
        values=values,
        plan=plan,
        doubts=tuple(sorted(waiting, key=lambda fact: (fact.id not in asked, fact.confidence))),
        notices=notices,
        stops=len(hindrances(record)),
        open=len(waiting),
        certain=sum(fact.confidence > SURE_ENOUGH and fact.id not in asked for fact in waiting),
        normal=tuple(one.system for one in record.systems if one.state in ("not_mentioned", "not_examined")),
    )


def words_of(evidence: Iterable[Evidence]) -> tuple[Words, ...]:
    """The words of evidence, in the order of the recording."""
    return tuple(
        Words(one.text, one.heard, one.start_s, one.end_s)
        for one in sorted(evidence, key=lambda one: one.start_char)
    )


class _Shown:
    """Says facts with the labels of the lexicon and the ranges that the record used."""

    def __init__(self, lexicon: Lexicon, ranges: dict[str, ReferenceRangeUsed]) -> None:
        self._lexicon, self._ranges = lexicon, ranges

    def fact(self, fact: AnyFact) -> FactView:
        value = fact.value
        confidence = 1.0 if isinstance(value, PlanItem) else value.confidence
        changed = fact.said is not None and fact.said != value
        return FactView(
            id=fact.id,
            kind=_kind(value),
            text=self._text(value),
            shape=_shape(value),
            standing=fact.standing,
            confirmed=fact.confirmed,
            stands=fact.stands,
            doubtful=fact.stands
            and not fact.confirmed
            and fact.standing == "open"
            and confidence <= SURE_ENOUGH
            and not value.superseded,
            withdrawn=value.superseded,
            confidence=confidence,
            words=words_of(value.evidence),
            notes=tuple(self._notes(value)),
            understood=self._text(fact.said) if changed and fact.said is not None else None,
            by=fact.mark.by if fact.mark is not None else None,
            reason=fact.reason,
            digest=_digest(fact),
        )

    def _text(self, value: Finding | Measurement | PlanItem) -> str:
        if isinstance(value, Finding):
            return capital(finding_text(value, self._lexicon))
        if isinstance(value, Measurement):
            return capital(f"{self._lexicon.measurements[value.kind].label} {value_text(value)}")
        return capital(value.text)

    def _notes(self, value: Finding | Measurement | PlanItem) -> Iterable[str]:
        """What is to be known beside the text, each a few words."""
        if isinstance(value, PlanItem):
            yield say_or(f"plan_kind.{value.kind}", value.kind.replace("_", " "))
            if value.state != "to_do":
                yield say(f"plan_state.{value.state}")
            elif value.due is not None:
                yield say("fact.due", day=day(date.fromisoformat(value.due)))
            return
        if value.when == "past":
            yield say("fact.past")
        if isinstance(value, Finding):
            if value.reported_by == "owner":
                yield say("fact.owner")
            return
        if value.unit_inferred:
            yield say("fact.unit_inferred", unit=unit_text(value.unit))
        if value.method:
            yield value.method
        if value.status not in ("unknown", "normal"):
            yield say(f"status.{value.status}")
        if (used := self._ranges.get(value.kind)) is not None and value.when == "now":
            yield say("fact.range", limits=limits_text(used.low, used.high).strip())


def _kind(value: Finding | Measurement | PlanItem) -> Kind:
    if isinstance(value, Finding):
        return "finding"
    return "measurement" if isinstance(value, Measurement) else "plan"


def _shape(value: Finding | Measurement | PlanItem) -> str:
    if value.superseded:
        return "withdrawn"
    if isinstance(value, Finding):
        return "abnormal" if value.counts_as_abnormal else "normal"
    if isinstance(value, Measurement):
        return {"normal": "normal", "unknown": "plain"}.get(value.status, "abnormal")
    return "step"


def _finding_rank(fact: Reviewed[Finding]) -> tuple[bool, int]:
    return not fact.stands, rank(fact.value)


def _digest(fact: AnyFact) -> str:
    said = f"{fact.standing}{fact.confirmed}{fact.value.model_dump_json()}"
    return hashlib.sha256(said.encode()).hexdigest()[:12]


def _notice(notice: Notice, review: Review) -> NoticeView:
    facts = tuple(fact.id for fact in facts_of(notice, review))
    message, source = _without_source(notice.message)
    return NoticeView(
        key=notice_key(notice),
        kind=notice.kind,
        about=notice.about,
        severity=notice.severity,
        message=message,
        source=source,
        facts=facts,
        words=words_of(notice.evidence),
        answers=tuple(_answers(notice, facts)),
    )


def _without_source(message: str) -> tuple[str, str | None]:
    """A message and the source in brackets within it, which is shown apart: it is long, and the question comes first."""
    start, end = message.find(" ("), message.rfind(")")
    if start < 0 or end - start < _LONG_SOURCE:
        return message, None
    return message[:start] + message[end + 1 :], message[start + 2 : end]


def _answers(notice: Notice, facts: Sequence[str]) -> Iterable[str]:
    if facts and notice.kind in _ASKS_IF_RIGHT:
        yield "confirm"
    if notice.kind == "missing_system":
        yield from ("normal", "not_examined", "finding")
    if notice.kind == "missing_measurement":
        yield "measurement"
    if notice.kind == "no_plan":
        yield "plan"
    if notice.kind == "earlier_finding":
        yield "finding"
    yield "acknowledge"


def _concerns(notice: Notice, system: System, review: Review) -> bool:
    if notice.severity == "info":
        return False
    spoken = {fact.value.system for fact in facts_of(notice, review) if isinstance(fact.value, Finding)}
    return notice.about == system or system in spoken
