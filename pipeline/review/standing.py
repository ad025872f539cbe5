"""What stands: the record that a review amounts to, and the notices that are still to be answered."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from lexicon import SYSTEMS, Lexicon
from pipeline.extraction.model import Evidence, Finding, Measurement, NotExamined, PlanItem
from pipeline.record import ExamRecord, Notice, assess
from pipeline.record.comparison import abnormal_findings, courses_of, follow_up_notices
from pipeline.review.model import Fact, LastExam, Review, Reviewed

_ASKING = frozenset(("low_confidence", "out_of_range", "contradiction", "correction", "side_missing"))
"""Notices that ask whether a fact is right: confirming the facts they speak of answers them."""


def open_review(record: ExamRecord, last: ExamRecord | None = None) -> Review:
    """Begin the review of a record: every fact open. Facts withdrawn aloud are kept, and are no facts to decide on.

    `last` is the record of the patient's last examination: what was abnormal there and is not named now is asked for.
    """
    return Review(
        last=None if last is None else LastExam(on=last.visit.on, findings=abnormal_findings(last)),
        original=record,
        findings=_numbered("f", record.findings),
        measurements=_numbered("m", record.measurements),
        plan=_numbered("p", record.plan),
    )


def _numbered(letter: str, facts: Iterable[Fact]) -> tuple[Reviewed[Fact], ...]:
    return tuple(
        Reviewed(id=f"{letter}{number}", said=fact, value=fact) for number, fact in enumerate(facts, start=1)
    )


def current(review: Review, lexicon: Lexicon) -> ExamRecord:
    """Give the record as the review has it now: states, ranges and notices worked out anew.

    What a person confirmed is certain; what a person typed or changed names the person. Notices that a person
    answered are left out.
    """
    decided = {decision.system for decision in review.not_examined}
    said = tuple(item for item in review.original.not_examined if item.system not in decided)
    record = review.original.model_copy(
        update={
            "findings": tuple(
                sorted(
                    (_as_it_stands(fact) for fact in review.findings if fact.stands),
                    key=lambda finding: SYSTEMS.index(finding.system),
                )
            ),
            "measurements": tuple(_as_it_stands(fact) for fact in review.measurements if fact.stands),
            "plan": tuple(_as_it_stands(fact) for fact in review.plan if fact.stands),
            "not_examined": (
                *said,
                *(NotExamined(system=d.system, reason=d.reason) for d in review.not_examined),
            ),
        }
    )
    assessed = assess(record, lexicon)
    seen = {acknowledgement.notice for acknowledgement in review.acknowledged}
    notices = (*assessed.notices, *_follow_ups(review, assessed, lexicon))
    waiting = (n for n in notices if notice_key(n) not in seen and not _answered(n, review))
    return assessed.model_copy(update={"notices": tuple(waiting)})


def _follow_ups(review: Review, record: ExamRecord, lexicon: Lexicon) -> tuple[Notice, ...]:
    if review.last is None:
        return ()
    return follow_up_notices(courses_of(review.last.findings, record, lexicon), record)


def _as_it_stands(fact: Reviewed[Fact]) -> Fact:
    """The value with what the review knows of it."""
    update: dict[str, object] = {}
    if fact.standing in ("corrected", "added") and fact.mark is not None:
        update["entered_by"] = fact.mark.by
    if (fact.confirmed or fact.standing in ("corrected", "added")) and not isinstance(fact.value, PlanItem):
        update["confidence"] = 1.0
    return fact.value.model_copy(update=update)


def notice_key(notice: Notice) -> str:
    """A short name of a notice, the same as long as it says the same."""
    said = "\x1f".join((notice.kind, notice.about, notice.message))
    return hashlib.sha256(said.encode()).hexdigest()[:12]


def hindrances(record: ExamRecord) -> tuple[Notice, ...]:
    """Notices of weight that have to be answered before a current record is signed: all but those for information."""
    return tuple(notice for notice in record.notices if notice.severity != "info")


def facts_of(notice: Notice, review: Review) -> tuple[Reviewed[Finding] | Reviewed[Measurement], ...]:
    """Facts that a notice speaks of: of its subject, and on its words."""
    facts: tuple[Reviewed[Finding] | Reviewed[Measurement], ...] = (*review.findings, *review.measurements)
    return tuple(
        fact
        for fact in facts
        if fact.stands and _about(fact.value) == notice.about and _meet(fact.value.evidence, notice.evidence)
    )


def _answered(notice: Notice, review: Review) -> bool:
    """Whether every fact that an asking notice speaks of was confirmed by a person."""
    if notice.kind not in _ASKING:
        return False
    facts = facts_of(notice, review)
    return bool(facts) and all(fact.confirmed for fact in facts)


def _about(value: Finding | Measurement) -> str:
    return value.concept if isinstance(value, Finding) else value.kind


def _meet(one: tuple[Evidence, ...], other: tuple[Evidence, ...]) -> bool:
    if not one or not other:
        return one == other
    return any(a.start_char < b.end_char and b.start_char < a.end_char for a in one for b in other)
