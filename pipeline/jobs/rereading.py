"""Understands transcripts of signed records anew, as after a change of the lexicon, and tells what would be read otherwise.

What was signed stays as it is. Where `drafts` are wanted, what is understood now is kept as a draft of its own beside it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from lexicon import load_lexicon
from pipeline.exam import understand
from pipeline.jobs.model import Asked
from pipeline.jobs.work import Kind, Work
from pipeline.record import ExamRecord
from pipeline.record.phrases import finding_text
from pipeline.record.wording import value_text
from pipeline.store import keep_record, last_signed_review, record_of, signed_records

_AT_ONCE = 20
"""Records a step reads: what a crash makes it read again."""


class Reread(Asked):
    """Understand anew what was signed; keep `drafts` of what is read otherwise, or only tell."""

    drafts: bool = False


def _reread(work: Work, asked: Reread) -> dict[str, Any]:
    read, changed, last = 0, list[dict[str, Any]](), None
    while True:
        found = work.step("looking for signed records", _next, work, last)
        if not found:
            return {"read": read, "changed": changed}
        doing = f"reading records {read + 1} to {read + len(found)}"
        changed += work.step(doing, _differences, work, asked, found, doing)
        read, last = read + len(found), found[-1]


def _next(work: Work, after: str | None) -> list[str]:
    return list(signed_records(work.database, work.actor, after, _AT_ONCE))


def _differences(work: Work, asked: Reread, record_ids: list[str], doing: str) -> list[dict[str, Any]]:
    changed = []
    for number, record_id in enumerate(record_ids):
        work.tell(doing, number / len(record_ids))
        before = last_signed_review(work.database, work.actor, record_id).original
        now = understand(before.transcript, before.patient, before.visit)
        gone, come = _apart(before, now)
        if not gone and not come:
            continue
        line: dict[str, Any] = {"record": record_id, "gone": gone, "new": come}
        if asked.drafts:
            visit_id = record_of(work.database, work.actor, record_id).visit_id
            draft = keep_record(
                work.database, work.actor, visit_id, now, work.at(), origin=work.origin(record_id)
            )
            line["draft"] = draft.id
        changed.append(line)
    return changed


def _apart(before: ExamRecord, now: ExamRecord) -> tuple[list[str], list[str]]:
    """Facts, in words, that were understood then and not now, and now and not then."""
    was, will = Counter(_facts(before)), Counter(_facts(now))
    return sorted((was - will).elements()), sorted((will - was).elements())


def _facts(record: ExamRecord) -> Iterator[str]:
    """Each fact in words: what differs in none of them is no difference to a reader."""
    lexicon = load_lexicon()
    for finding in record.findings:
        told = f", told by the {finding.reported_by}" if finding.reported_by != "vet" else ""
        past = ", in the past" if finding.when == "past" else ""
        withdrawn = ", withdrawn" if finding.superseded else ""
        yield f"{finding.system.replace('_', ' ')}: {finding_text(finding, lexicon)}{told}{past}{withdrawn}"
    for measured in record.measurements:
        past = ", in the past" if measured.when == "past" else ""
        withdrawn = ", withdrawn" if measured.superseded else ""
        yield f"{measured.kind.replace('_', ' ')}: {value_text(measured)}{past}{withdrawn}"
    for item in record.plan:
        due = f", due {item.due}" if item.due else ""
        withdrawn = ", withdrawn" if item.superseded else ""
        yield f"{item.kind.replace('_', ' ')} ({item.state.replace('_', ' ')}): {item.text}{due}{withdrawn}"


REREAD = Kind("reread", Reread, _reread)
