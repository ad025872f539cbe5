"""The sheet that an owner takes home: what a vet signed, in plain words, and fixed words of the practice around it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, tzinfo

from lexicon import Lexicon
from lexicon.schema import System
from pipeline.extraction.model import Finding, Measurement, PlanItem
from pipeline.filing.charts import Chart, chart_svg, described
from pipeline.filing.document import letterhead_content, logo_picture
from pipeline.filing.history import charts_of, values_until
from pipeline.filing.language import Language, listed, load_language, number
from pipeline.filing.letterhead import Letterhead
from pipeline.filing.typesetting import PaperName, Printed, typeset
from pipeline.record.model import SystemReview, SystemState
from pipeline.record.phrases import rank
from pipeline.record.systems import is_result
from pipeline.record.wording import capital, one_line
from pipeline.speech.model import Frozen
from pipeline.store.model import PastValue, SignedVersion

_ALWAYS_SHOWN = ("weight", "temperature", "heart_rate", "respiratory_rate", "body_condition_score")
_NOTHING: Mapping[str, Sequence[PastValue]] = {}
_CHART_SIZE = (232, 132)


class Checked(Frozen):
    """A part of the animal and how it was found, in an owner's words."""

    name: str
    state: SystemState
    result: str


class Measured(Frozen):
    """A value in an owner's words, with what is usual."""

    name: str
    text: str
    usual: str = ""


class NextStep(Frozen):
    """A step of the plan in the vet's words, and by when."""

    text: str
    due: str = ""


class SheetContent(Frozen):
    """All that stands on the sheet, in order."""

    title: str
    subject: str
    checked: tuple[Checked, ...]
    found: tuple[str, ...]
    told: str
    measured: tuple[Measured, ...]
    weight_change: str
    done: tuple[NextStep, ...]
    to_do: tuple[NextStep, ...]
    call_said: tuple[str, ...]
    call_number: str
    signed: str
    chart: Chart | None


def take_home_sheet_pdf(
    version: SignedVersion,
    letterhead: Letterhead,
    lexicon: Lexicon,
    *,
    past: Mapping[str, Sequence[PastValue]] = _NOTHING,
    paper: PaperName = "a4",
    language: Language | None = None,
    zone: tzinfo | None = UTC,
) -> Printed:
    """Print the sheet of a signed version as PDF/A-2a and PDF/UA-1; the same input gives the same bytes.

    Holds what the version says and the fixed words of `language`, nothing else. What the owner declined, systems nobody named and
    values beyond the reach of physiology are left out; the record has them. `past` holds values of earlier visits by kind.
    Raises FilingError.
    """
    language = language or load_language()
    content = sheet_content(version, letterhead, lexicon, past, language, zone)
    page = {
        "document_title": f"{content.title}, {content.subject}",
        "author": version.signed_by,
        "paper": paper,
        "language": language["language"],
        "words": language["sheet"],
        "letterhead": letterhead_content(letterhead),
        "sheet": content.model_dump(exclude={"chart"}),
        "chart": described(content.chart, language) if content.chart else None,
    }
    pictures = logo_picture(letterhead)
    if content.chart:
        pictures["chart"] = chart_svg(content.chart, language, *_CHART_SIZE)
    return typeset("sheet.typ", page, pictures, version.signed_at)


def sheet_content(
    version: SignedVersion,
    letterhead: Letterhead,
    lexicon: Lexicon,
    past: Mapping[str, Sequence[PastValue]],
    language: Language,
    zone: tzinfo | None = UTC,
) -> SheetContent:
    """Put a signed version into an owner's words; days are those of `zone`, of this machine's own where it is null."""
    return _Sheet(version, lexicon, language, zone).whole(letterhead, past)


def reading_text(content: SheetContent, language: Language) -> str:
    """The sentences of a sheet: what its reading age is measured on. Its tables, all of short words, are left out."""
    words = language["sheet"]
    lines = [
        words["intro"],
        *([words["found_intro"], *content.found] if content.found else [words["nothing_found"]]),
        content.told,
        *(step.text for step in (*content.done, *content.to_do)),
        words["call"],
        *content.call_said,
    ]
    return " ".join(f"{line.rstrip('.')}." for line in lines if line)


class _Sheet:
    def __init__(self, version: SignedVersion, lexicon: Lexicon, language: Language, zone: tzinfo | None) -> None:
        self._zone = zone
        self._version = version
        self._record = version.record
        self._lexicon = lexicon
        self._language = language
        self._words = language["sheet"]

    def whole(self, letterhead: Letterhead, past: Mapping[str, Sequence[PastValue]]) -> SheetContent:
        patient, visit = self._record.patient, self._record.visit
        kind = self._language["visits"][visit.kind]
        standing = [item for item in self._record.plan if not item.superseded]
        to_do = [item for item in standing if item.state == "to_do"]
        weight = charts_of(self._record, past, self._lexicon, self._language, kinds=("weight",))
        return SheetContent(
            title=self._words["title"].format(name=patient.name) if patient else self._words["title_unknown"],
            subject=self._words["subject"].format(visit=kind, day=self._language.day(visit.on))
            if visit.on
            else kind,
            checked=tuple(self._checked()),
            found=tuple(self._found()),
            told=self._told(),
            measured=tuple(self._measured()),
            weight_change=self._weight_change(past),
            done=tuple(self._step(item) for item in standing if item.state == "done"),
            to_do=tuple(self._step(item) for item in to_do if not self._is_call(item)),
            call_said=tuple(_sentence(item.text) for item in to_do if self._is_call(item)),
            call_number=self._words["call_number"].format(phone=letterhead.phone) if letterhead.phone else "",
            signed=self._signed(),
            chart=weight[0].model_copy(update={"title": self._words["weight_chart"]}) if weight else None,
        )

    def _signed(self) -> str:
        again = self._version.version > 1
        day = self._language.day(self._version.signed_at.astimezone(self._zone))
        return self._words["signed_again" if again else "signed"].format(by=self._version.signed_by, day=day)

    def _checked(self) -> Iterator[Checked]:
        for review in self._record.systems:
            result = self._result(review)
            if result:
                name = self._language["plain_systems"][review.system]
                yield Checked(name=name, state=review.state, result=result)

    def _result(self, review: SystemReview) -> str:
        match review.state:
            case "normal":
                return self._words[self._how_well(review.system)]
            case "abnormal":
                return self._words["see_below"]
            case "not_examined":
                return (
                    self._words["not_checked"].format(reason=one_line(review.reason)) if review.reason else ""
                )
            case _:
                return ""

    def _how_well(self, system: System) -> str:
        """Tell apart what was looked at in full, in part, and not at all but for a value in range."""
        if any(finding.system == system and is_result(finding) for finding in self._record.findings):
            partly = any(one.system == system for one in self._record.not_examined)
            return "partly_well" if partly else "all_well"
        return "only_measured"

    def _found(self) -> Iterator[str]:
        """What the vet found, what was surely there first, then values beyond what is usual."""
        found = [f for f in self._record.findings if f.counts_as_abnormal and f.reported_by == "vet"]
        said = [_sentence(self._plainly(finding)) for finding in sorted(found, key=rank)]
        said += [_sentence(self._beyond(value)) for value in self._values() if value.out_of_range]
        yield from dict.fromkeys(said)

    def _plainly(self, finding: Finding) -> str:
        """A finding in an owner's words, with where and how much where these are plain too."""
        named, _, what = (finding.plain or finding.label).rpartition(": ")
        details = [detail for detail in (self._place(finding, named), self._amount(finding)) if detail]
        if details:
            what = self._words["at"].format(what=what, details=", ".join(details))
        if finding.assertion == "possible":
            return self._words["perhaps"].format(what=what)
        return self._words["not_there"].format(what=what) if finding.assertion == "absent" else what

    def _place(self, finding: Finding, named: str) -> str:
        """The side, and the part unless the words for the finding hold it or it goes without saying.

        `named` is the part that the words begin with: "elbow" of "elbow: wart".
        """
        part = named or self._part(finding)
        side = self._words[f"side_{finding.side}"] if finding.side else ""
        if finding.side == "both":
            return ", ".join(word for word in (part, side) if word)
        return " ".join(word for word in (side, part) if word)

    def _part(self, finding: Finding) -> str:
        structure = self._lexicon.structures.get(finding.structure or "")
        concept = self._lexicon.findings.get(finding.concept)
        if structure is None or (concept is not None and concept.structure == structure.id):
            return ""
        said = finding.plain.lower().split()
        holds = any(word.startswith(tuple(structure.plain.lower().split())) for word in said)
        return "" if holds else structure.plain

    def _amount(self, finding: Finding) -> str:
        severity = self._language["plain_severity"].get(finding.severity or "", "")
        size = (
            self._words["size"].format(size=number(round(finding.size_mm)))
            if finding.size_mm
            else finding.size_text
        )
        return ", ".join(word for word in (severity, size) if word)

    def _values(self) -> list[Measurement]:
        """Values of today that a patient can have."""
        return [
            value
            for value in self._record.measurements
            if value.when == "now" and not value.superseded and value.status != "implausible"
        ]

    def _beyond(self, measurement: Measurement) -> str:
        """A value beyond what is usual, without a word of judgement."""
        used = self._record.range_of(measurement)
        said = f"{self._language['plain_values'][measurement.kind]}: {self._language.value(measurement)}"
        if used is None:
            return said
        side = self._words["above" if measurement.status == "high" else "below"]
        return f"{said}, {side.format(limits=self._language.limits(used.low, used.high))}"

    def _told(self) -> str:
        """What the owner told of today that is there; what they denied stands in the record."""
        told = [finding.plain or finding.label for finding in self._record.findings if _is_told(finding)]
        things = list(dict.fromkeys(told))
        return self._words["told_what"].format(things=self._language.listing(things, "and")) if things else ""

    def _measured(self) -> Iterator[Measured]:
        for kind in _ALWAYS_SHOWN:
            for value in (value for value in self._values() if value.kind == kind):
                used = self._record.range_of(value)
                limits = self._language.limits(used.low, used.high) if used is not None else ""
                yield Measured(
                    name=self._language["plain_values"][kind],
                    text=self._language.value(value),
                    usual=self._words["usual"].format(limits=limits) if limits else "",
                )

    def _weight_change(self, past: Mapping[str, Sequence[PastValue]]) -> str:
        """How much more or less than at the last visit, in kilograms; weights are kept in these."""
        values = values_until(self._record, "weight", past.get("weight", ()))
        if len(values) < 2 or values[-1].on != self._record.visit.on:
            return ""
        before, now = values[-2], values[-1]
        change = round(now.value - before.value, 2)
        words = self._words["grown" if change > 0 else "lost" if change < 0 else "same"]
        return words.format(change=number(abs(change)), day=self._language.day(before.on))

    def _step(self, item: PlanItem) -> NextStep:
        due = date.fromisoformat(item.due) if item.due and item.state == "to_do" else None
        if due is None:
            return NextStep(text=_sentence(item.text))
        if due == self._record.visit.on:
            return NextStep(text=_sentence(item.text), due=self._words["today"])
        return NextStep(
            text=_sentence(item.text), due=self._words["by_day"].format(day=self._language.day(due))
        )

    def _is_call(self, item: PlanItem) -> bool:
        """Whether a step tells when to call, by the words of the language file."""
        said = f" {item.text.lower()} "
        return any(
            f" {word.lower()} " in said.replace(",", " ") for word in listed(self._words["call_words"])
        )


def _sentence(text: str) -> str:
    """Begin with a capital and end with a full stop, as it stands on paper."""
    text = capital(one_line(text))
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _is_told(finding: Finding) -> bool:
    standing = finding.when == "now" and not finding.superseded
    return standing and finding.reported_by == "owner" and finding.assertion != "absent"
