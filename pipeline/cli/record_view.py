"""A record laid out for reading in a terminal or a pipe: lines of text, at most so wide.

Every mark is a word as well as a shape and a colour. What needs a look stands first, what was never said has a
place of its own, and doubt is written beside the fact that it concerns. Values out of range are flagged where they
stand, so the notices that repeat it are left out unless they are critical; all other notices are shown.
"""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from rich.console import Console
from rich.text import Text

from lexicon import Lexicon
from pipeline.cli.screen import printable
from pipeline.extraction.model import Evidence, Finding, Measurement, PlanItem, SpeechAct
from pipeline.record import ExamRecord, Notice, Patient, SystemReview
from pipeline.record.model import ReferenceRangeUsed
from pipeline.record.notices import SURE_ENOUGH
from pipeline.record.ranges import age_in_months
from pipeline.record.wording import capital, limits_text, value_text

_NAME_COLUMN = 2
_STATE_COLUMN = 19
_FINDINGS_COLUMN = 33
_VALUE_COLUMN = 27
_FLAG_COLUMN = 45
_RANGE_COLUMN = 57
_CHECK_COLUMN = 12
_PLAN_COLUMN = 23
_LONGEST_QUOTE = 48

_OBSERVING = (SpeechAct.OBSERVATION, SpeechAct.REPORT)


@dataclass(frozen=True)
class Shapes:
    """The characters beside the words; all one column wide."""

    abnormal: str = "▲"
    normal: str = "●"
    not_examined: str = "◇"
    not_mentioned: str = "○"
    doubt: str = "?"
    bullet: str = "•"
    line: str = "─"
    dot: str = "·"
    opening: str = "“"
    closing: str = "”"


ASCII = Shapes("!", "+", "x", ".", "?", "-", "-", "-", '"', '"')
"""For terminals that cannot write more."""

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
    """Lay a record out in lines of at most `width` columns; `talk` adds the clauses that were set aside."""
    view = _View(record, lexicon, width, shapes or Shapes())
    view.header()
    view.abnormal()
    view.measurements()
    view.systems()
    view.missing()
    view.checks()
    view.plan()
    view.set_aside(in_full=talk)
    view.caution()
    return view.lines


class _View:
    def __init__(self, record: ExamRecord, lexicon: Lexicon, width: int, shapes: Shapes) -> None:
        self.lines: list[Text] = []
        self._record = record
        self._lexicon = lexicon
        self._width = width
        self._shapes = shapes
        self._ruler = Console(file=io.StringIO(), width=width)

    # Blocks, in the order of the page

    def header(self) -> None:
        """Who, why, when, and from what."""
        patient, visit, transcript = self._record.patient, self._record.visit, self._record.transcript
        if patient is None:
            self._flow(0, Text("Patient not given", style="bold yellow"))
        else:
            name = Text(printable(patient.name), style="bold")
            for part in _patient_facts(patient, visit.on):
                name.append(f" {self._shapes.dot} {printable(part)}", style="not bold")
            self._flow(0, name)
        parts = [capital(visit.kind.replace("_", " ")) + (f" on {_day(visit.on)}" if visit.on else "")]
        if transcript.duration_s is not None:
            parts.append(f"{_clock(transcript.duration_s)} of speech, heard by {transcript.model or 'an unknown model'}")
        else:
            parts.append("from a written text")
        self._flow(0, Text(f" {self._shapes.dot} ".join(parts), style="dim"))
        if not transcript.text.strip():
            self._blank()
            self._flow(
                0, Text("No speech was understood: this record holds nothing that was said.", style="bold yellow")
            )

    def abnormal(self) -> None:
        """What makes a system abnormal, and values out of range: the short list to read first."""
        found = [finding for finding in self._record.findings if finding.counts_as_abnormal]
        by_vet = [finding for finding in found if finding.reported_by == "vet"]
        by_owner = [finding for finding in found if finding.reported_by == "owner"]
        values = [m for m in self._record.measurements if _flagged(m)]
        self._heading("Abnormal", len(found) + len(values))
        if not found and not values:
            self._flow(_NAME_COLUMN, Text("Nothing abnormal is in this record.", style="dim"))
        for finding in by_vet:
            self._row(self._shapes.abnormal, "red", _system(finding.system), self._with_quote(finding))
        for measurement in values:
            self._row(self._shapes.abnormal, "red", self._label(measurement), self._value_phrase(measurement), _VALUE_COLUMN)
        for finding in by_owner:
            self._row(self._shapes.doubt, "yellow", _system(finding.system), self._with_quote(finding))

    def measurements(self) -> None:
        """Every value with its flag, the range it was judged by and where that comes from."""
        self._heading("Measured")
        order = list(self._lexicon.measurements)
        rows = sorted(self._record.measurements, key=lambda m: (order.index(m.kind), m.superseded, m.when == "past"))
        if not rows:
            self._flow(_NAME_COLUMN, Text("No value was said.", style="dim"))
        for measurement in rows:
            self._measurement(measurement)

    def systems(self) -> None:
        """All systems nose to tail."""
        self._heading("Nose to tail")
        for review in self._record.systems:
            word, style = _STATES[review.state]
            lead = Text(f"{getattr(self._shapes, review.state)} ", style=style)
            lead.append(_pad(_system(review.system), _STATE_COLUMN - _NAME_COLUMN), style="default not bold")
            lead.append(word)
            self._hang(lead, self._system_body(review), _FINDINGS_COLUMN)

    def missing(self) -> None:
        """What a record of this kind of visit holds and nobody said."""
        notices = [n for n in self._record.notices if n.kind in ("missing_system", "missing_measurement")]
        if not notices:
            return
        self._heading("Missing", len(notices))
        reasons = {review.system: review.reason for review in self._record.systems}
        systems = [
            f"{_system(n.about)} ({reason})" if (reason := reasons.get(n.about)) else _system(n.about)  # type: ignore[call-overload]  # any name may be asked for
            for n in notices
            if n.kind == "missing_system"
        ]
        values = [self._lexicon.measurements[n.about].label for n in notices if n.kind == "missing_measurement"]
        for title, names in (("nothing said of", systems), ("not measured", values)):
            if names:
                body = Text(printable(", ".join(names)), style="yellow")
                self._row(self._shapes.not_mentioned, "yellow", title, body)

    def checks(self) -> None:
        """Notices that no other block shows."""
        notices = [n for n in self._record.notices if _needs_a_line(n)]
        if not notices:
            return
        self._heading("To check", len(notices))
        for notice in notices:
            word, style = _SEVERITIES[notice.severity]
            message = Text(printable(notice.message))
            self._append_place(message, notice.evidence)
            self._hang(Text(f"  {word}", style=style), message, _CHECK_COLUMN)

    def plan(self) -> None:
        """What happens next, with days where they follow from the visit."""
        self._heading("Plan")
        if not self._record.plan:
            self._flow(_NAME_COLUMN, Text("No plan was said.", style="dim"))
        for item in self._record.plan:
            self._plan_item(item)

    def set_aside(self, *, in_full: bool) -> None:
        """Talk that is no observation: counted, or in full."""
        clauses = [clause for clause in self._record.clauses if clause.act not in _OBSERVING]
        dropped = self._record.transcript.dropped
        if not clauses and not dropped:
            return
        self._heading("Set aside", len(clauses) + len(dropped))
        counts = Counter(clause.act.value.replace("_", " ") for clause in clauses)
        parts = [f"{count} {act}" for act, count in counts.most_common()]
        if dropped:
            parts.append(f"{len(dropped)} heard and not believed")
        summary = f"Talk that made no finding: {', '.join(parts)}."
        self._flow(_NAME_COLUMN, Text(summary if in_full else f"{summary} See it with --talk.", style="dim"))
        if not in_full:
            return
        for clause in clauses:
            text = self._record.transcript.text[clause.start_char : clause.end_char]
            self._hang(Text(f"  {clause.act.value.replace('_', ' ')}", style="dim"), Text(_one_line(text)), _STATE_COLUMN)
        for one in dropped:
            body = Text(f"{_one_line(one.text)} ({one.reason})")
            self._hang(Text(f"  {_clock(one.start_s)}", style="dim"), body, _STATE_COLUMN)

    def caution(self) -> None:
        """The line that stands under every record."""
        self._blank()
        self._flow(0, Text(self._record.caution, style="italic dim"))

    # Parts of blocks

    def _measurement(self, measurement: Measurement) -> None:
        word, style = _flag(measurement)
        strike = "dim strike" if measurement.superseded else ""
        shape = self._shapes.abnormal if _flagged(measurement) else " "
        lead = Text(f"{shape} ", style="red")
        lead.append(_pad(self._label(measurement), _VALUE_COLUMN - _NAME_COLUMN), style="default not bold")
        value = printable(value_text(measurement))
        lead.append(value, style=strike or "default bold")
        lead.append(" " * max(1, _FLAG_COLUMN - _VALUE_COLUMN - len(value)))
        lead.append(word, style=style)
        used = None if measurement.superseded or measurement.when == "past" else self._range_of(measurement)
        body = Text(style="dim")
        if used is not None:
            body.append(f"{limits_text(used.low, used.high).removeprefix(' of').strip()} ({_short_source(used.source)})")
        self._hang(lead, body, _RANGE_COLUMN)
        if note := self._measurement_note(measurement):
            self._flow(_VALUE_COLUMN, note)

    def _measurement_note(self, measurement: Measurement) -> Text | None:
        """Say what the number alone does not: how it was converted, taken, or that it is uncertain."""
        notes = [measurement.method] if measurement.method else []
        if measurement.confidence < SURE_ENOUGH:
            notes.append("UNSURE")
        if not notes:
            return None
        note = Text(printable(", ".join(notes)), style="dim")
        self._append_place(note, measurement.evidence)
        return note

    def _value_phrase(self, measurement: Measurement) -> Text:
        word, _ = _flag(measurement)
        phrase = Text(f"{value_text(measurement)} ", style="bold").append(word, style="bold red")
        used = self._range_of(measurement)
        if used is not None and measurement.status != "implausible":
            phrase.append(f", range{limits_text(used.low, used.high).removeprefix(' of')}", style="not bold")
        return phrase

    def _range_of(self, measurement: Measurement) -> ReferenceRangeUsed | None:
        if measurement.status in ("unknown", "implausible"):
            return None
        return next((used for used in self._record.ranges if used.kind == measurement.kind), None)

    def _system_body(self, review: SystemReview) -> Text:
        findings = [finding for finding in self._record.findings if finding.system == review.system]
        phrases = list(self._phrases(findings))
        if review.reason:
            phrases.append(Text(printable(review.reason), style="italic dim"))
        return Text("; ").join(phrases)

    def _phrases(self, findings: Sequence[Finding]) -> Iterator[Text]:
        """Give abnormal findings first, then normal ones, then what was not there, then the past and the withdrawn."""
        plain_absent = [f for f in findings if _is_plain_absence(f, self._details(f))]
        rest = [f for f in findings if f not in plain_absent]
        for finding in (f for f in rest if _rank(f) <= _rank_of_absence):
            yield self._phrase(finding)
        if plain_absent:
            labels = list(dict.fromkeys(f.label for f in plain_absent))
            yield Text(f"no {_listing(labels)}", style="dim")
        for finding in (f for f in rest if _rank(f) > _rank_of_absence):
            yield self._phrase(finding)

    def _phrase(self, finding: Finding) -> Text:
        """Say one finding, with who said it, when, how surely, where and how much."""
        details = self._details(finding)
        text = _with_assertion(finding) + (f" ({', '.join(details)})" if details else "")
        before = [word for word, holds in (
            ("withdrawn", finding.superseded),
            ("owner", finding.reported_by == "owner"),
            ("earlier", finding.when == "past"),
        ) if holds]
        phrase = Text()
        if before:
            phrase.append(f"{', '.join(before)}: ", style="dim")
        phrase.append(printable(text), style=_style(finding))
        if finding.confidence < SURE_ENOUGH and not finding.superseded:
            phrase.append(" UNSURE", style="bold yellow")
        return phrase

    def _details(self, finding: Finding) -> list[str]:
        grade = finding.grade
        out_of = f" of {grade.out_of:g}" if grade is not None and grade.out_of is not None else ""
        size = f"{finding.size_mm:g} mm" if finding.size_mm is not None else finding.size_text
        side = "both sides" if finding.side == "both" else finding.side
        parts = [
            " ".join(part for part in (side, self._structure(finding)) if part),
            finding.severity,
            f"grade {grade.value:g}{out_of}" if grade is not None else None,
            size,
            *finding.modifiers,
        ]
        return [part for part in parts if part]

    def _structure(self, finding: Finding) -> str | None:
        """Name the place unless the label says it, or it is where this finding always is."""
        structure = self._lexicon.structures.get(finding.structure or "")
        concept = self._lexicon.findings.get(finding.concept)
        if structure is None or (concept is not None and concept.structure == structure.id):
            return None
        words = set(re.findall(r"\w+", finding.label.lower()))
        return None if set(structure.label.lower().split()) <= words else structure.label

    def _with_quote(self, finding: Finding) -> Text:
        phrase = self._phrase(finding)
        self._append_place(phrase, finding.evidence)
        return phrase

    def _append_place(self, text: Text, evidence: Sequence[Evidence]) -> None:
        """Add the words it came from and the second they were said."""
        if not evidence:
            return
        first = evidence[0]
        words = _one_line(first.text)
        if len(words) > _LONGEST_QUOTE:
            words = f"{words[: _LONGEST_QUOTE - 2]} …"
        at = f" at {_clock(first.start_s)}" if first.start_s is not None else ""
        text.append(f"  {self._shapes.opening}{words}{self._shapes.closing}{at}", style="dim not bold not strike")

    def _plan_item(self, item: PlanItem) -> None:
        kind = f"{self._shapes.bullet} {item.kind.replace('_', ' ')}"
        body = Text(_one_line(item.text), style="strike dim" if item.superseded else "")
        if item.superseded:
            body.append(" (withdrawn)", style="not strike")
        if item.due is not None and not item.superseded:
            body.append(f"  due {_day(date.fromisoformat(item.due))}", style="bold")
        self._hang(Text(kind), body, _STATE_COLUMN)

    def _label(self, measurement: Measurement) -> str:
        return self._lexicon.measurements[measurement.kind].label

    # Laying out

    def _heading(self, title: str, count: int | None = None) -> None:
        self._blank()
        text = Text(f"{title.upper()}{f' {count}' if count else ''} ", style="bold")
        text.append(self._shapes.line * (self._width - len(text)), style="dim not bold")
        self.lines.append(text)

    def _blank(self) -> None:
        self.lines.append(Text())

    def _row(self, shape: str, style: str, name: str, body: Text, column: int = _STATE_COLUMN) -> None:
        lead = Text(f"{shape} ", style=style).append(name, style="default")
        self._hang(lead, body, column)

    def _flow(self, indent: int, body: Text) -> None:
        self._hang(Text(), body, indent)

    def _hang(self, lead: Text, body: Text, column: int) -> None:
        """Put `lead` on the left and `body` from `column` on, over as many lines as it takes."""
        wrapped = list(body.wrap(self._ruler, self._width - column)) if body.plain else []
        if not wrapped:
            lead.rstrip()
            self.lines.append(lead)
            return
        gap = " " * max(1 if lead.plain else 0, column - lead.cell_len)
        for number, line in enumerate(wrapped):
            line.rstrip()
            first = Text(end="").append_text(lead).append(gap, style="default not bold not strike")
            start = first if number == 0 else Text(" " * column)
            self.lines.append(start.append_text(line))


_rank_of_absence = 3


def _rank(finding: Finding) -> int:
    if finding.superseded:
        return 6
    if finding.when == "past":
        return 5
    if finding.reported_by == "owner":
        return 4
    if finding.counts_as_abnormal:
        return 0 if finding.assertion == "present" else 1
    return 2 if finding.assertion != "absent" else _rank_of_absence


def _is_plain_absence(finding: Finding, details: list[str]) -> bool:
    """Tell whether a finding can stand in one list with others that are not there."""
    plain = finding.nature != "normal" and not details and finding.confidence >= SURE_ENOUGH
    return plain and _rank(finding) == _rank_of_absence and ": " not in finding.label


def _with_assertion(finding: Finding) -> str:
    """Put the assertion before the label: "no lameness", "possible cataract", "elbow: no swelling"."""
    place, colon, label = finding.label.rpartition(": ")
    word = {"present": "", "possible": "possible ", "absent": "no "}[finding.assertion]
    if finding.assertion == "absent" and finding.nature == "normal":
        word = "not found: "
    return f"{place}{colon}{word}{label}"


def _style(finding: Finding) -> str:
    if finding.superseded:
        return "dim strike"
    if finding.counts_as_abnormal:
        return "bold red" if finding.assertion == "present" and finding.reported_by == "vet" else "yellow"
    return "dim" if finding.assertion == "absent" else ""


def _listing(labels: list[str]) -> str:
    return " or ".join([", ".join(labels[:-1]), labels[-1]] if len(labels) > 1 else labels)


def _flagged(measurement: Measurement) -> bool:
    standing = not measurement.superseded and measurement.when == "now"
    return standing and measurement.status in ("low", "high", "implausible")


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
        yield _age(months)
    if patient.owner is not None and patient.owner.name:
        yield f"owner {patient.owner.name}"
    if patient.microchip:
        yield f"chip {patient.microchip}"


def _age(months: int) -> str:
    if months < 24:
        return f"{months} month{'s' if months != 1 else ''}"
    years, rest = divmod(months, 12)
    return f"{years} years" + (f" {rest} month{'s' if rest != 1 else ''}" if rest else "")


def _short_source(source: str) -> str:
    """Cut a source down to its first author or body and the year; the JSON has it in full."""
    first = source.split(";")[0]
    name = re.split(r"[,:(]", first)[0].strip()
    year = re.search(r"\b(?:19|20)\d\d\b", first)
    memory = ", from memory" if "from memory" in first else ""
    return f"{name}{f' {year[0]}' if year else ''}{memory}"


def _system(name: str) -> str:
    return name.replace("_", " ")


def _pad(text: str, width: int) -> str:
    return text.ljust(width - 1) + " "


def _one_line(text: str) -> str:
    return printable(" ".join(text.split()))


def _day(day: date) -> str:
    return f"{day.day} {day:%B} {day.year}"


def _clock(seconds: float) -> str:
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes}:{rest:02d}"
