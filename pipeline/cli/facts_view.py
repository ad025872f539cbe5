"""A draft laid out for review: every fact with its name and how it stands, and what is still to be answered."""

from __future__ import annotations

from rich.text import Text

from lexicon import Lexicon
from pipeline.cli.finding_words import FindingWords
from pipeline.cli.page import BODY_COLUMN, Page, Shapes
from pipeline.cli.screen import printable
from pipeline.extraction.model import Finding, Measurement, PlanItem
from pipeline.record.wording import value_text
from pipeline.review import Review, Reviewed, current, notice_key

_STYLES = {"open": "yellow", "rejected": "dim strike", "replaced": "dim strike"}
_KEY_SHOWN = 6


def facts_lines(review: Review, lexicon: Lexicon, width: int, shapes: Shapes) -> list[Text]:
    """Findings, values and plan items by name, then the notices that nobody answered, by key."""
    page = Page(width, shapes)
    words = FindingWords(lexicon)
    for title, facts in (
        ("Findings", review.findings),
        ("Measured", review.measurements),
        ("Plan", review.plan),
    ):
        page.heading(title, len(facts))
        for fact in facts:
            page.hang(_lead(fact), _body(fact, words, lexicon, page), BODY_COLUMN)
    for decision in review.not_examined:
        text = f"{decision.system.replace('_', ' ')} not examined: {decision.reason} ({decision.mark.by})"
        page.flow(2, Text(printable(text)))
    notices = current(review, lexicon).notices
    if notices:
        page.heading("To answer", len(notices))
    for notice in notices:
        # For information alone: it stops no signature.
        style = "dim" if notice.severity == "info" else "bold yellow"
        lead = Text(f"  {notice_key(notice)[:_KEY_SHOWN]}  {notice.severity}", style=style)
        message = Text(printable(notice.message))
        page.quote(message, notice.evidence)
        page.hang(lead, message, BODY_COLUMN)
    return page.lines


def _lead(fact: Reviewed[Finding] | Reviewed[Measurement] | Reviewed[PlanItem]) -> Text:
    state = "confirmed" if fact.confirmed else fact.standing
    return Text(f"  {fact.id:<4} ").append(state, style=_STYLES.get(state, "green"))


def _body(
    fact: Reviewed[Finding] | Reviewed[Measurement] | Reviewed[PlanItem],
    words: FindingWords,
    lexicon: Lexicon,
    page: Page,
) -> Text:
    value = fact.value
    body = _said(value, words, lexicon)
    if not isinstance(value, PlanItem):
        page.quote(body, value.evidence)
    if fact.said is not None and fact.said != value:
        body.append("  understood as: ", style="dim").append_text(_said(fact.said, words, lexicon))
    if fact.reason:
        body.append(f"  ({printable(fact.reason)})", style="dim")
    if fact.mark is not None:
        body.append(f"  {printable(fact.mark.by)}", style="dim")
    return body


def _said(value: Finding | Measurement | PlanItem, words: FindingWords, lexicon: Lexicon) -> Text:
    if isinstance(value, Finding):
        return Text(f"{value.system.replace('_', ' ')}: ").append_text(words.phrase(value))
    if isinstance(value, Measurement):
        return Text(printable(f"{lexicon.measurements[value.kind].label} {value_text(value)}"))
    due = f"  due {value.due}" if value.due else ""
    return Text(printable(f"{value.kind.replace('_', ' ')}: {value.text}{due}"))
