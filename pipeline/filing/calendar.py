"""What is due, as a calendar (RFC 5545): one whole day for each step of the plan whose words name one."""

from __future__ import annotations

from datetime import UTC, date

from icalendar import Calendar, Event

from pipeline.extraction.model import PlanItem
from pipeline.filing.outgoing import Outgoing
from pipeline.record.wording import capital


def calendar(documents: list[Outgoing]) -> bytes:
    """Write the days that are due in these records.

    An event keeps its UID over all versions of its record and counts up SEQUENCE, so that a calendar moves it when it is read
    again (RFC 5545, 3.8.7.4); what an amendment took out, and what is done or declined since, is cancelled. A draft is tentative.
    """
    made = Calendar()
    made.add("prodid", "-//Rostral//Exam records//EN")
    made.add("version", "2.0")
    for document in documents:
        for place, item in enumerate(document.record.plan):
            if item.due is not None and (_stands(item) or document.version > 1):
                made.add_component(_event(document, place, item, date.fromisoformat(item.due)))
    return bytes(made.to_ical())


def _event(document: Outgoing, place: int, item: PlanItem, due: date) -> Event:
    patient = document.record.patient
    event = Event()
    event.add("uid", f"{document.record_id}-{place}@rostral")
    event.add("dtstamp", document.at.astimezone(UTC))
    event.add("dtstart", due)
    event.add("sequence", max(document.version - 1, 0))
    event.add("summary", f"{patient.name}: {item.text}" if patient else capital(item.text))
    event.add("categories", [item.kind.value.replace("_", " ")])
    event.add("status", _status(document, item))
    event.add("transp", "TRANSPARENT")
    if item.due_text:
        event.add("description", f"{item.due_text}, as said on the visit of {document.record.visit.on}")
    return event


def _status(document: Outgoing, item: PlanItem) -> str:
    if not _stands(item):
        return "CANCELLED"
    return "TENTATIVE" if document.is_draft else "CONFIRMED"


def _stands(item: PlanItem) -> bool:
    return item.state == "to_do" and not item.superseded
