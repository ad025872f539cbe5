"""A record laid out for reading in a terminal or a pipe: lines of text, at most so wide.

Every mark is a word as well as a shape and a colour. What needs a look stands first, what was never said has
a place of its own, and doubt is written beside the fact that it concerns. Values out of range are flagged
where they stand, so the notices that repeat it are left out unless they are critical; all others are shown.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator
from datetime import date
from itertools import accumulate

from rich.text import Text

from lexicon import Lexicon
from pipeline.cli.finding_words import FindingWords
from pipeline.cli.page import BODY_COLUMN, Page, Shapes, clock, one_line
from pipeline.cli.screen import printable
from pipeline.extraction.model import SURE_ENOUGH, Clause, Finding, Measurement, PlanItem, SpeechAct
from pipeline.record import ExamRecord, Notice, Patient, SystemReview
from pipeline.record.model import ReferenceRangeUsed
from pipeline.record.ranges import age_in_months
from pipeline.record.wording import age_text, day_text, limits_text, short_source, value_text

_NAME_COLUMN = 2
_FINDINGS_COLUMN = 34
_VALUE_COLUMN = 27
_FLAG_COLUMN = 46
_RANGE_COLUMN = 59
_NOTE_COLUMN = 4
_CHECK_COLUMN = 12
_NARROWEST = 72
_WIDE = 100
"""From this width on, a source stands beside its range; in narrower views all stand below the values."""

_OBSERVING = (SpeechAct.OBSERVATION, SpeechAct.REPORT)


_VISITS = {
    "health_check": "Health check",
    "vaccination": "Vaccination visit",
    "sick": "Sick visit",
    "recheck": "Recheck",
    "pre_anaesthetic": "Pre-anaesthetic check",
    "senior": "Senior check",
}
_STATES = {
    "normal": ("normal", "green"),
    "abnormal": ("ABNORMAL", "bold red"),
    "not_examined": ("not examined", "yellow"),
    "not_mentioned": ("not mentioned", "yellow"),
}
_FLAGS = {
    "normal": ("in range", "green"),
    "low": ("LOW", "bold red"),
    "high": ("HIGH", "bold red"),
    "implausible": ("IMPLAUSIBLE", "bold red"),
    "unknown": ("no range", "dim"),
}
_SEVERITIES = {"critical": ("CRITICAL", "bold red"), "warning": ("check", "yellow"), "info": ("note", "dim")}


def record_lines(
    record: ExamRecord, lexicon: Lexicon, width: int, shapes: Shapes | None = None, *, talk: bool = False
) -> list[Text]:
    """Lay a record out in lines of at most `width` columns (72 at least).

    `talk` adds the clauses that were set aside.
    """
    view = _View(record, lexicon, max(width, _NARROWEST), shapes or Shapes())
    view.header()
    view.abnormal()
    view.measurements()
    view.systems()
    view.missing()
    view.checks()
    view.plan()
    view.set_aside(in_full=talk)
    view.caution()
    return view.lines()


class _View:
    def __init__(self, record: ExamRecord, lexicon: Lexicon, width: int, shapes: Shapes) -> None:
        self._record = record
        self._lexicon = lexicon
        self._words = FindingWords(lexicon)
        self._page = Page(width, shapes)
        spans = sorted((e.start_char, e.end_char) for item in record.plan for e in item.evidence)
        self._plan_starts = [start for start, _ in spans]
        # Where the furthest of the plan's words so far ends: one search tells whether any meets a clause.
        self._plan_ends = list(accumulate((end for _, end in spans), max))

    def lines(self) -> list[Text]:
        """Give what was laid out so far."""
        return self._page.lines

    # Blocks, in the order of the page

    def header(self) -> None:
        """Say who, why, when, and from what."""
        patient, visit, transcript = self._record.patient, self._record.visit, self._record.transcript
        if patient is None:
            self._page.flow(0, Text("Patient not given", style="bold yellow"))
        else:
            name = Text(printable(patient.name), style="bold")
            facts = (Text(printable(fact)) for fact in _patient_facts(patient, visit.on))
            self._page.parts(name, *facts)
        parts = [_VISITS[visit.kind] + (f" on {day_text(visit.on)}" if visit.on else "")]
        if transcript.duration_s is not None:
            heard = f", heard by the model {transcript.model}" if transcript.model else ""
            parts.append(f"{clock(transcript.duration_s)} of sound{heard}")
        else:
            parts.append("from a written text")
        self._page.parts(*(Text(printable(part), style="dim") for part in parts))
        if not transcript.text.strip():
            self._page.blank()
            self._page.flow(
                0,
                Text(
                    "No speech was understood: this record holds nothing that was said.", style="bold yellow"
                ),
            )

    def abnormal(self) -> None:
        """List what makes a system abnormal, and values out of range: to be read first."""
        found = [finding for finding in self._record.findings if finding.counts_as_abnormal]
        by_vet = [finding for finding in found if finding.reported_by == "vet"]
        by_owner = [finding for finding in found if finding.reported_by == "owner"]
        values = [m for m in self._record.measurements if m.out_of_range]
        if not self._record.transcript.text.strip():
            return
        self._page.heading("Abnormal", len(found) + len(values))
        if not found and not values:
            self._page.flow(_NAME_COLUMN, Text("Nothing abnormal is in this record.", style="dim"))
        for finding in by_vet:
            self._page.row(
                self._page.shapes.abnormal, "red", _system(finding.system), self._with_quote(finding)
            )
        for measurement in values:
            system = self._lexicon.measurements[measurement.kind].system
            self._page.row(
                self._page.shapes.abnormal, "red", _system(system), self._value_phrase(measurement)
            )
        for finding in by_owner:
            self._page.row(
                self._page.shapes.doubt, "yellow", _system(finding.system), self._with_quote(finding)
            )

    def measurements(self) -> None:
        """List every value with its flag, the range it was judged by and where that comes from."""
        self._page.heading("Measured")
        order = list(self._lexicon.measurements)
        rows = sorted(
            self._record.measurements, key=lambda m: (order.index(m.kind), m.superseded, m.when == "past")
        )
        if not rows:
            self._page.flow(_NAME_COLUMN, Text("No value was said.", style="dim"))
        for measurement in rows:
            self._measurement(measurement)
        shown = {used.kind: used for m in rows if (used := self._record.range_of(m)) is not None}
        if shown and self._page.width < _WIDE:
            sources: dict[str, list[str]] = {}
            for used in shown.values():
                label = self._lexicon.measurements[used.kind].label
                sources.setdefault(short_source(used.source), []).append(label)
            listed = "; ".join(f"{source} ({', '.join(labels)})" for source, labels in sources.items())
            self._page.flow(_NOTE_COLUMN, Text(printable(f"ranges: {listed}"), style="dim"))

    def systems(self) -> None:
        """List all systems nose to tail."""
        self._page.heading("Nose to tail")
        for review in self._record.systems:
            word, style = _STATES[review.state]
            lead = Text(f"{getattr(self._page.shapes, review.state)} ", style=style)
            lead.append(_pad(_system(review.system), BODY_COLUMN - _NAME_COLUMN), style="default not bold")
            lead.append(word)
            self._page.hang(lead, self._system_body(review), _FINDINGS_COLUMN)

    def missing(self) -> None:
        """List what a record of this kind of visit holds and nobody said."""
        notices = [n for n in self._record.notices if n.kind in ("missing_system", "missing_measurement")]
        if not notices:
            return
        self._page.heading("Missing", len(notices))
        # By any name: `about` of a notice is free text.
        reasons: dict[str, str | None] = {r.system: r.reason for r in self._record.systems}
        systems = [
            f"{_system(n.about)} ({reason})" if (reason := reasons.get(n.about)) else _system(n.about)
            for n in notices
            if n.kind == "missing_system"
        ]
        values = [
            self._lexicon.measurements[n.about].label for n in notices if n.kind == "missing_measurement"
        ]
        for title, names in (("nothing said of", systems), ("not measured", values)):
            if names:
                body = Text(printable(", ".join(names)), style="yellow")
                self._page.row(self._page.shapes.not_mentioned, "yellow", title, body)

    def checks(self) -> None:
        """List the notices that no other block shows."""
        notices = [n for n in self._record.notices if _needs_a_line(n)]
        if not notices:
            return
        self._page.heading("To check", len(notices))
        for notice in notices:
            word, style = _SEVERITIES[notice.severity]
            message = Text(printable(notice.message))
            self._page.quote(message, notice.evidence)
            self._page.hang(Text(f"  {word}", style=style), message, _CHECK_COLUMN)

    def plan(self) -> None:
        """List what happens next, with days where they follow from the visit."""
        self._page.heading("Plan")
        if not self._record.plan:
            self._page.flow(_NAME_COLUMN, Text("No plan was said.", style="dim"))
        for item in self._record.plan:
            self._plan_item(item)
        for assessment in self._record.assessments:
            bullet = f"{self._page.shapes.bullet} assessment"
            self._page.hang(Text(bullet), Text(one_line(assessment.text)), BODY_COLUMN)

    def set_aside(self, *, in_full: bool) -> None:
        """Tell of talk that is no observation: counted, or in full."""
        clauses = [clause for clause in self._record.clauses if self._is_aside(clause)]
        dropped = self._record.transcript.dropped
        if not clauses and not dropped:
            return
        self._page.heading("Set aside", len(clauses) + len(dropped))
        counts = Counter(clause.act.value.replace("_", " ") for clause in clauses)
        parts = [f"{count} {act}" for act, count in counts.most_common()]
        if dropped:
            parts.append(f"{len(dropped)} heard and not believed")
        summary = f"Talk that made no finding: {', '.join(parts)}."
        self._page.flow(
            _NAME_COLUMN, Text(summary if in_full else f"{summary} See it with --talk.", style="dim")
        )
        if not in_full:
            return
        for clause in clauses:
            text = self._record.transcript.text[clause.start_char : clause.end_char]
            self._page.hang(
                Text(f"  {clause.act.value.replace('_', ' ')}", style="dim"),
                Text(one_line(text)),
                BODY_COLUMN,
            )
        for one in dropped:
            body = Text(f"{one_line(one.text)} ({one.reason})")
            self._page.hang(Text(f"  {clock(one.start_s)}", style="dim"), body, BODY_COLUMN)

    def caution(self) -> None:
        """Put the line that stands under every record."""
        self._page.blank()
        self._page.flow(0, Text(printable(self._record.caution), style="italic dim"))

    # Parts of blocks

    def _measurement(self, measurement: Measurement) -> None:
        word, style = _flag(measurement)
        strike = "dim strike" if measurement.superseded else ""
        shape = self._page.shapes.abnormal if measurement.out_of_range else " "
        lead = Text(f"{shape} ", style="red")
        lead.append(_pad(self._label(measurement), _VALUE_COLUMN - _NAME_COLUMN), style="default not bold")
        value = _value(measurement)
        lead.append(value, style=strike or "default bold")
        lead.append(" " * max(1, _FLAG_COLUMN - _VALUE_COLUMN - len(value)))
        lead.append(word, style=style)
        used = self._record.range_of(measurement)
        body = Text(style="dim")
        if used is not None:
            body.append(_limits(used))
            if self._page.width >= _WIDE:
                body.append(f" ({short_source(used.source)})")
        self._page.hang(lead, body, _RANGE_COLUMN)
        if not measurement.superseded and (note := self._measurement_note(measurement)):
            self._page.flow(_NOTE_COLUMN, note)

    def _measurement_note(self, measurement: Measurement) -> Text | None:
        """Say what the number alone does not: how it was converted, taken, or that it is uncertain."""
        notes = [measurement.method] if measurement.method else []
        if measurement.confidence <= SURE_ENOUGH:
            notes.append("UNSURE")
        if not notes:
            return None
        note = Text(printable(", ".join(notes)), style="dim")
        self._page.quote(note, measurement.evidence)
        return note

    def _value_phrase(self, measurement: Measurement) -> Text:
        word, _ = _flag(measurement)
        phrase = Text(f"{self._label(measurement)} {_value(measurement)} ").append(word, style="bold red")
        if measurement.confidence <= SURE_ENOUGH:
            phrase.append(" UNSURE", style="bold yellow")
        if (used := self._record.range_of(measurement)) is not None:
            phrase.append(f" (range {_limits(used)})", style="dim")
        self._page.quote(phrase, measurement.evidence)
        return phrase

    def _system_body(self, review: SystemReview) -> Text:
        findings = [finding for finding in self._record.findings if finding.system == review.system]
        phrases = list(self._words.phrases(findings))
        if review.reason:
            phrases.append(Text(printable(review.reason), style="italic dim"))
        return Text("; ").join(phrases)

    def _with_quote(self, finding: Finding) -> Text:
        phrase = self._words.phrase(finding)
        self._page.quote(phrase, finding.evidence)
        return phrase

    def _plan_item(self, item: PlanItem) -> None:
        kind = f"{self._page.shapes.bullet} {item.kind.replace('_', ' ')}"
        body = Text(one_line(item.text), style="strike dim" if item.superseded else "")
        if item.superseded:
            body.append(" (withdrawn)", style="not strike")
        if item.state != "to_do" and not item.superseded:
            body.append(f"  {item.state}", style="bold")
        if item.due is not None and item.state == "to_do" and not item.superseded:
            body.append(f"  due {day_text(date.fromisoformat(item.due))}", style="bold")
        self._page.hang(Text(kind), body, BODY_COLUMN)

    def _is_aside(self, clause: Clause) -> bool:
        """Tell whether nothing came of a clause: what is planned stands in the plan."""
        if clause.act in _OBSERVING:
            return False
        begun = bisect_left(self._plan_starts, clause.end_char)
        return begun == 0 or self._plan_ends[begun - 1] <= clause.start_char

    def _label(self, measurement: Measurement) -> str:
        return self._lexicon.measurements[measurement.kind].label


def _value(measurement: Measurement) -> str:
    return printable(value_text(measurement).replace(" per minute", "/min"))


def _limits(used: ReferenceRangeUsed) -> str:
    return limits_text(used.low, used.high).strip().removeprefix("of ")


def _flag(measurement: Measurement) -> tuple[str, str]:
    if measurement.superseded:
        return "withdrawn", "dim"
    if measurement.when == "past":
        return "earlier", "dim"
    return _FLAGS[measurement.status]


def _needs_a_line(notice: Notice) -> bool:
    if notice.kind in ("missing_system", "missing_measurement"):
        return False
    return notice.kind != "out_of_range" or notice.severity == "critical"


def _patient_facts(patient: Patient, on: date | None) -> Iterator[str]:
    yield patient.species.replace("_", " ")
    if patient.breed:
        yield patient.breed
    neutered = {True: "neutered", False: "entire", None: None}[patient.neutered]
    sex = ", ".join(word for word in (patient.sex, neutered) if word)
    if sex:
        yield sex
    if (months := age_in_months(patient, on)) is not None:
        yield age_text(months)
    if patient.owner is not None and patient.owner.name:
        yield f"owner {patient.owner.name}"
    if patient.microchip:
        yield f"chip {patient.microchip}"


def _system(name: str) -> str:
    return name.replace("_", " ")


def _pad(text: str, width: int) -> str:
    return text.ljust(width - 1) + " "
