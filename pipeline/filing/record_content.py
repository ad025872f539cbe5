"""What stands in the clinical record, in words and in order: the template lays it out and adds nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Literal

from lexicon import Lexicon
from pipeline.extraction.model import SURE_ENOUGH, Finding, Measurement, PlanItem
from pipeline.filing.charts import Chart
from pipeline.filing.history import charts_of
from pipeline.filing.language import Language
from pipeline.record import ExamRecord, Owner
from pipeline.record.model import SystemReview, SystemState
from pipeline.record.phrases import RANK_OF_ABSENCE, finding_text, is_plain_absence, rank
from pipeline.record.ranges import age_in_months
from pipeline.record.wording import capital, one_line
from pipeline.speech.model import Frozen
from pipeline.store.model import Client, PastValue

_LONGEST_RUNNING = 42


class Field(Frozen):
    """A line of facts: its name and what it is."""

    name: str
    text: str


class Stated(Frozen):
    """A statement with what belongs to it in smaller print."""

    text: str
    notes: tuple[str, ...] = ()
    abnormal: bool = False


class Abnormality(Frozen):
    """A line of the summary: where, what, and the steps of the plan that speak of it."""

    system: str
    text: str
    plan: str = ""
    mark: Literal["abnormal", "low"] = "abnormal"


class Value(Frozen):
    """A row of the table of values."""

    name: str
    text: str
    flag: str
    mark: Literal["abnormal", "low"] | None = None
    withdrawn: bool = False
    limits: str = ""
    notes: tuple[str, ...] = ()


class SystemPart(Frozen):
    """One body system: its state, what was found, the abnormal first, and what is named as not there."""

    name: str
    state: SystemState
    state_name: str
    findings: tuple[Stated, ...] = ()
    absent: str = ""
    reason: str = ""


class Step(Frozen):
    """A step of the plan, as said."""

    kind: str
    text: str
    state: str
    due: str = ""
    notes: tuple[str, ...] = ()


class RecordContent(Frozen):
    """All of one version of a record, in words."""

    title: str
    subject: str
    patient_name: str
    patient: tuple[Field, ...]
    owner: tuple[Field, ...]
    visit: tuple[Field, ...]
    running: str
    empty: bool
    abnormal: tuple[Abnormality, ...]
    states: tuple[str, ...]
    values: tuple[Value, ...]
    sources: tuple[str, ...]
    systems: tuple[SystemPart, ...]
    told: tuple[Stated, ...]
    past: tuple[Stated, ...]
    assessments: tuple[str, ...]
    plan: tuple[Step, ...]
    corrections: tuple[str, ...]
    to_answer: tuple[str, ...]
    charts: tuple[Chart, ...]
    caution: str


def record_content(
    record: ExamRecord,
    client: Client | None,
    past: Mapping[str, Sequence[PastValue]],
    lexicon: Lexicon,
    language: Language,
) -> RecordContent:
    """Put a record into the words of its document. `past` holds earlier values by kind of measurement."""
    return _Content(record, lexicon, language).whole(client, past)


class _Content:
    def __init__(self, record: ExamRecord, lexicon: Lexicon, language: Language) -> None:
        self._record = record
        self._lexicon = lexicon
        self._language = language
        self._words = language["record"]

    def whole(self, client: Client | None, past: Mapping[str, Sequence[PastValue]]) -> RecordContent:
        record = self._record
        told = [
            f for f in record.findings if not f.superseded and f.when == "now" and f.reported_by == "owner"
        ]
        earlier = [f for f in record.findings if not f.superseded and f.when == "past"]
        return RecordContent(
            title=self._words["title"],
            subject=self._subject(),
            patient_name=record.patient.name if record.patient else self._words["patient_unknown"],
            patient=tuple(self._patient()),
            owner=tuple(self._owner(client)),
            visit=tuple(self._visit()),
            running=self._running(client),
            empty=not any(
                (record.findings, record.measurements, record.plan, record.assessments, record.not_examined)
            ),
            abnormal=tuple(self._abnormal()),
            states=tuple(self._states()),
            values=tuple(self._values()),
            sources=tuple(self._sources()),
            systems=tuple(self._system(review) for review in record.systems),
            told=tuple(self._listed(told)),
            past=tuple(self._listed(earlier)),
            assessments=tuple(one_line(one.text) for one in record.assessments),
            plan=tuple(self._step(item) for item in record.plan if not item.superseded),
            corrections=tuple(one_line(one.message) for one in record.corrections),
            to_answer=tuple(notice.message for notice in record.notices if notice.severity != "info"),
            charts=charts_of(record, past, self._lexicon, self._language),
            caution=record.caution,
        )

    # Whose record, and why

    def _subject(self) -> str:
        visit = self._record.visit
        day = self._language.day(visit.on) if visit.on else self._words["day_unknown"]
        return self._words["subject"].format(visit=self._language["visits"][visit.kind], day=day)

    def _patient(self) -> Iterator[Field]:
        patient = self._record.patient
        if patient is None:
            return
        species = patient.species.replace("_", " ")
        yield Field(name="", text=", ".join(part for part in (species, patient.breed) if part))
        sexes = self._language["sex"]
        neutered = {True: sexes["neutered"], False: sexes["entire"], None: None}[patient.neutered]
        sex = sexes[patient.sex] if patient.sex else None
        yield self._named("sex", ", ".join(part for part in (sex, neutered) if part))
        months = age_in_months(patient, self._record.visit.on)
        age = self._language.age(months) if months is not None else None
        born = self._language.day(patient.birth_date) if patient.birth_date else None
        if born:
            yield self._named("born", f"{born} ({age})" if age else born)
        else:
            yield self._named("age", age)
        yield self._named("microchip", patient.microchip)

    def _owner(self, client: Client | None) -> Iterator[Field]:
        known = self._known(client)
        yield Field(name="", text=known.name if known and known.name else self._words["not_recorded"])
        for name in ("address", "phone", "email"):
            if known is not None and (text := getattr(known, name)):
                yield Field(name="", text=text)

    def _known(self, client: Client | None) -> Client | Owner | None:
        """The owner as the practice knows them, else as a record made away from it holds them."""
        if client is not None and not client.erased:
            return client
        return self._record.patient.owner if self._record.patient else None

    def _visit(self) -> Iterator[Field]:
        visit = self._record.visit
        yield Field(name="", text=self._language["visits"][visit.kind])
        yield Field(name="", text=self._language.day(visit.on) if visit.on else self._words["day_unknown"])

    def _named(self, name: str, text: str | None) -> Field:
        """What has to be named to be understood, also where it is not there."""
        return Field(name=self._words[name], text=text or self._words["not_recorded"])

    def _running(self, client: Client | None) -> str:
        """The patient in one line, for the head of every page."""
        patient = self._record.patient
        if patient is None:
            return self._words["patient_unknown"]
        known = self._known(client)
        owner = known.name if known is not None else None
        species = ", ".join(part for part in (patient.species.replace("_", " "), patient.breed) if part)
        return " · ".join(
            _shortened(part) for part in (patient.name, species, owner, patient.microchip) if part
        )

    # Summary

    def _abnormal(self) -> Iterator[Abnormality]:
        """What the vet found abnormal, then values out of range; what was certainly there first."""
        found = [
            (place, finding)
            for place, finding in enumerate(self._record.findings)
            if finding.counts_as_abnormal and finding.reported_by == "vet"
        ]
        plans = {problem.finding: problem.plan for problem in self._record.problems}
        for place, finding in sorted(found, key=lambda pair: rank(pair[1])):
            yield Abnormality(
                system=self._language["systems"][finding.system],
                text=capital(finding_text(finding, self._lexicon)),
                plan=self._steps(plans.get(place, ())),
            )
        for measurement in self._record.measurements:
            if measurement.out_of_range:
                row = self._lexicon.measurements[measurement.kind]
                yield Abnormality(
                    system=self._language["systems"][row.system],
                    text=capital(self._beyond(row.label, measurement)),
                    mark=_mark(measurement) or "abnormal",
                )

    def _beyond(self, label: str, measurement: Measurement) -> str:
        value, flag = f"{label} {self._language.value(measurement)}", self._flag(measurement)
        limits = self._limits(measurement)
        words = self._words["out_of_range" if limits else "without_range"]
        return words.format(value=value, flag=flag, limits=limits)

    def _states(self) -> Iterator[str]:
        for state, words in (
            ("normal", "normal_in"),
            ("not_examined", "not_examined_in"),
            ("not_mentioned", "not_mentioned_in"),
        ):
            names = [
                self._language["systems"][review.system].lower()
                + (f" ({one_line(review.reason)})" if review.reason and state == "not_examined" else "")
                for review in self._record.systems
                if review.state == state
            ]
            if names:
                yield self._words[words].format(systems=", ".join(names))

    def _steps(self, places: tuple[int, ...]) -> str:
        """The numbers that steps have in the document, where withdrawn ones are left out."""
        standing = [place for place, item in enumerate(self._record.plan) if not item.superseded]
        numbers = [str(standing.index(place) + 1) for place in places if place in standing]
        return self._words["plan_of"].format(numbers=", ".join(numbers)) if numbers else ""

    # Values

    def _values(self) -> Iterator[Value]:
        order = list(self._lexicon.measurements)
        rows = sorted(
            self._record.measurements, key=lambda m: (order.index(m.kind), m.superseded, m.when == "past")
        )
        for measurement in rows:
            notes = [measurement.method] if measurement.method else []
            notes += self._doubts(measurement)
            yield Value(
                name=capital(self._lexicon.measurements[measurement.kind].label),
                text=self._language.value(measurement),
                flag=self._flag(measurement),
                mark=_mark(measurement),
                withdrawn=measurement.superseded,
                limits=self._limits(measurement),
                notes=tuple(notes),
            )

    def _limits(self, measurement: Measurement) -> str:
        used = self._record.range_of(measurement)
        if used is None:
            return ""
        unit = self._language.unit(used.unit) if measurement.out_of is None else ""
        return f"{self._language.limits(used.low, used.high)} {unit}".strip()

    def _flag(self, measurement: Measurement) -> str:
        flags = self._language["flags"]
        if measurement.superseded:
            return flags["withdrawn"]
        return flags["past"] if measurement.when == "past" else flags[measurement.status]

    def _sources(self) -> Iterator[str]:
        """Each source once, with the kinds it judges."""
        shown = {m.kind for m in self._record.measurements if self._record.range_of(m) is not None}
        by_source: dict[str, list[str]] = {}
        for used in self._record.ranges:
            if used.kind in shown:
                label = self._lexicon.measurements[used.kind].label
                by_source.setdefault(f"{used.basis}. {used.source}", []).append(label)
        for source, labels in by_source.items():
            yield self._words["source_for"].format(kinds=capital(", ".join(labels)), source=source)

    # Systems and history

    def _system(self, review: SystemReview) -> SystemPart:
        standing = [
            finding
            for finding in self._record.findings
            if finding.system == review.system and rank(finding) <= RANK_OF_ABSENCE
        ]
        absent = [finding for finding in standing if is_plain_absence(finding, self._lexicon)]
        rest = sorted((finding for finding in standing if finding not in absent), key=rank)
        labels = list(dict.fromkeys(finding.label for finding in absent))
        reason = one_line(review.reason or "")
        words = self._words["reason"] if review.state == "not_examined" else self._words["note"]
        return SystemPart(
            name=self._language["systems"][review.system],
            state=review.state,
            state_name=self._language["states"][review.state],
            findings=tuple(self._listed(rest)),
            absent=self._words["no"].format(labels=self._language.listing(labels, "or")) if labels else "",
            reason=words.format(reason=reason) if reason else "",
        )

    def _stated(self, finding: Finding) -> Stated:
        return Stated(
            text=finding_text(finding, self._lexicon),
            notes=tuple(self._doubts(finding)),
            abnormal=finding.counts_as_abnormal and finding.reported_by == "vet",
        )

    def _listed(self, findings: Sequence[Finding]) -> Iterator[Stated]:
        """Findings as the parts of one sentence."""
        for place, finding in enumerate(findings):
            stated = self._stated(finding)
            yield stated if place else stated.model_copy(update={"text": capital(stated.text)})

    def _doubts(self, fact: Finding | Measurement) -> list[str]:
        doubts = [self._words["unsure"]] if fact.confidence <= SURE_ENOUGH and not fact.superseded else []
        if fact.entered_by:
            doubts.append(self._words["entered_by"].format(name=fact.entered_by))
        return doubts

    def _step(self, item: PlanItem) -> Step:
        due = item.due if item.state == "to_do" else None
        return Step(
            kind=self._language["plan_kinds"][item.kind],
            text=capital(one_line(item.text)),
            state=self._language["plan_states"][item.state],
            due=self._words["due"].format(day=self._language.day(date.fromisoformat(due))) if due else "",
            notes=(self._words["entered_by"].format(name=item.entered_by),) if item.entered_by else (),
        )


def _mark(measurement: Measurement) -> Literal["abnormal", "low"] | None:
    if not measurement.out_of_range:
        return None
    return "low" if measurement.status == "low" else "abnormal"


def _shortened(text: str) -> str:
    """Short enough for the head of a page; the first page has it in full."""
    return text if len(text) <= _LONGEST_RUNNING else f"{text[: _LONGEST_RUNNING - 1].rstrip()}…"
