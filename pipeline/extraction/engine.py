"""The extraction pipeline: a spaCy pipeline of our components over a blank English vocabulary, and what comes out of it."""

from __future__ import annotations

import functools
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from datetime import date
from typing import NamedTuple, cast

from spacy.language import Language
from spacy.tokens import Doc
from spacy.util import get_lang_class
from spacy.vocab import Vocab

from lexicon import Lexicon, load_lexicon
from lexicon.lasting import lasting
from lexicon.pauses import load_pauses
from lexicon.schema import System
from pipeline.extraction.assessments import AssessmentReader
from pipeline.extraction.clauses import ClauseReader
from pipeline.extraction.concepts import ConceptMatcher
from pipeline.extraction.drafts import Draft, Read
from pipeline.extraction.explain import Explanation, explanation_of
from pipeline.extraction.measuring import MeasurementReader, Reading
from pipeline.extraction.misheard import MisheardWords
from pipeline.extraction.model import (
    Assertion,
    Assessment,
    Clause,
    Comparator,
    Correction,
    Evidence,
    Finding,
    Grade,
    Measurement,
    MeasurementKind,
    NotExamined,
    PlanItem,
    Side,
    Statements,
)
from pipeline.extraction.numbers import NumberGrammar
from pipeline.extraction.pauses import PauseMarker
from pipeline.extraction.plan import PlanReader
from pipeline.extraction.replanning import PlanCorrector, Planned
from pipeline.extraction.statements import StatementReader
from pipeline.extraction.tokens import Analysis, SpokenTokenizer, analysis_of
from pipeline.speech.model import Transcript, Word

COMPONENTS = (
    "rostral_numbers",
    "rostral_concepts",
    "rostral_misheard",
    "rostral_measurements",
    "rostral_pauses",
    "rostral_clauses",
)
"""The order of understanding."""


@Language.factory("rostral_numbers")
def numbers_component(nlp: Language, name: str) -> functools.partial[Doc]:
    """Numbers as spoken."""
    return functools.partial(_numbers, NumberGrammar(load_lexicon()))


def _numbers(grammar: NumberGrammar, doc: Doc) -> Doc:
    analysis = analysis_of(doc)
    analysis.numbers = grammar.find(analysis.norms)
    return doc


@Language.factory("rostral_concepts")
def concepts_component(nlp: Language, name: str) -> ConceptMatcher:
    """Words of the lexicon and cues."""
    return ConceptMatcher(nlp.vocab, load_lexicon(), cast("SpokenTokenizer", nlp.tokenizer))


@Language.factory("rostral_misheard")
def misheard_component(nlp: Language, name: str) -> MisheardWords:
    """Words that sound like trade words."""
    return MisheardWords(load_lexicon(), cast("SpokenTokenizer", nlp.tokenizer))


@Language.factory("rostral_measurements")
def measurements_component(nlp: Language, name: str) -> MeasurementReader:
    """Measured values."""
    return MeasurementReader(nlp.vocab, load_lexicon(), cast("SpokenTokenizer", nlp.tokenizer))


@Language.factory("rostral_pauses")
def pauses_component(nlp: Language, name: str) -> PauseMarker:
    """Marks where none were written."""
    measurements = cast("MeasurementReader", nlp.get_pipe("rostral_measurements"))
    return PauseMarker(load_lexicon(), load_pauses(), measurements)


@Language.factory("rostral_clauses")
def clauses_component(nlp: Language, name: str) -> ClauseReader:
    """Segments with their speech acts."""
    return ClauseReader(load_lexicon())


def load_pipeline() -> Language:
    """The spaCy pipeline, built once for each lexicon."""
    return _build(load_lexicon())


@functools.lru_cache(maxsize=2)
@lasting()
def _build(lexicon: Lexicon) -> Language:
    english = get_lang_class("en")
    # A bare vocabulary: the components read the words themselves and none of English's computed word features.
    nlp: Language = english(vocab=Vocab(), create_tokenizer=lambda nlp: SpokenTokenizer(nlp.vocab, lexicon))
    nlp.max_length = 10_000_000
    for component in COMPONENTS:
        nlp.add_pipe(component)
    return nlp


class _Readers(NamedTuple):
    """What reads an analysis, made once for a lexicon."""

    statements: StatementReader
    plans: PlanReader
    plan_corrections: PlanCorrector
    assessments: AssessmentReader


@functools.lru_cache(maxsize=2)
def _readers(lexicon: Lexicon) -> _Readers:
    return _Readers(
        StatementReader(lexicon), PlanReader(lexicon), PlanCorrector(lexicon), AssessmentReader(lexicon)
    )


def extract(transcript: Transcript, *, on: date | None = None) -> Statements:
    """What a transcript says: findings, measurements, plan items, corrections, each with its evidence.

    `on` is the day of the visit; due dates count from it. Never raises for any text.
    """
    return _understand(transcript, on)[2]


def explain(transcript: Transcript, *, on: date | None = None) -> Explanation:
    """The same with how it was understood, clause by clause: acts, terms, reach of cues, and what was set aside and why."""
    return explanation_of(*_understand(transcript, on))


def _understand(transcript: Transcript, on: date | None) -> tuple[Analysis, Read, Statements]:
    nlp = load_pipeline()
    doc = nlp.make_doc(transcript.text)
    analysis = analysis_of(doc)
    analysis.from_sound = transcript.model is not None
    nlp(doc)
    lexicon = load_lexicon()
    readers = _readers(lexicon)
    read = readers.statements.read(analysis)
    writer = _Writer(transcript, analysis, lexicon)
    plan = _plan(analysis, readers, read, writer, on)
    statements = Statements(
        findings=tuple(writer.finding(draft) for draft in read.drafts),
        measurements=tuple(writer.measurement(reading) for reading, _ in read.readings),
        not_examined=tuple(
            NotExamined(
                system=cast("System", refusal.system),
                reason=analysis.words(refusal.start, refusal.end),
                evidence=writer.evidence(refusal.start, refusal.end),
            )
            for refusal in read.refusals
        ),
        mentioned=tuple(cast("list[System]", sorted(read.mentioned))),
        plan=tuple(item for item, _ in plan),
        assessments=tuple(
            Assessment(text=analysis.words(start, end), evidence=writer.evidence(start, end))
            for start, end in readers.assessments.ranges(analysis)
        ),
        corrections=(
            *(
                Correction(about=w.about, message=w.message, evidence=writer.evidence(w.start, w.end))
                for w in read.withdrawals
            ),
            *_corrected_values(read, writer),
            *_corrected_plans(plan, writer),
        ),
        clauses=tuple(
            Clause(
                act=segment.act,
                start_char=analysis.starts[segment.start],
                end_char=analysis.ends[segment.end - 1],
                cue=analysis.words(segment.act_cue.start, segment.act_cue.end) if segment.act_cue else None,
            )
            for segment in analysis.segments
        ),
    )
    return analysis, read, statements


def _corrected_values(read: Read, writer: _Writer) -> Iterator[Correction]:
    """One correction for each measured value that another one replaced aloud."""
    taken_back = {withdrawal.about for withdrawal in read.withdrawals}
    for reading, _ in read.readings:
        if reading.superseded and reading.kind not in taken_back:
            said = f"{reading.value:g}" if isinstance(reading.value, float) else str(reading.value)
            yield Correction(
                about=reading.kind,
                message=f"{said} was corrected aloud.",
                evidence=writer.evidence(reading.start, reading.end),
            )


def _plan(
    analysis: Analysis, readers: _Readers, read: Read, writer: _Writer, on: date | None
) -> list[tuple[PlanItem, Planned]]:
    """The planned steps, those taken back among them, each with what it was made of."""
    reader = readers.plans
    drafts = sorted(read.drafts, key=lambda draft: draft.start)
    items = []
    for planned in readers.plan_corrections.corrected(analysis, reader.items(analysis), read.undone):
        start, end = planned.pieces[0][0], planned.pieces[-1][1]
        if planned.restated:
            restated = analysis_of(load_pipeline()(planned.text))
            due, due_text = reader.due(restated, 0, len(restated.norms), on)
        else:
            due, due_text = reader.due(analysis, start, end, on)
        item = PlanItem(
            text=planned.text,
            kind=reader.kind(analysis, start, end),
            state=reader.state(analysis, start, end),
            about=reader.about(analysis, start, end, drafts),
            due=due,
            due_text=due_text,
            superseded=planned.superseded,
            evidence=tuple(piece for span in planned.pieces for piece in writer.evidence(*span)),
        )
        items.append((item, planned))
    return items


def _corrected_plans(plan: list[tuple[PlanItem, Planned]], writer: _Writer) -> Iterator[Correction]:
    """One correction for each planned step whose time was replaced aloud."""
    for item, planned in plan:
        if planned.cue is not None:
            yield Correction(
                about="plan",
                message=f"'{item.text}' was corrected aloud.",
                evidence=writer.evidence(planned.cue.start, planned.cue.end),
            )


class _Writer:
    """Turns drafts and readings into the public values, with evidence in characters and seconds."""

    def __init__(self, transcript: Transcript, analysis: Analysis, lexicon: Lexicon) -> None:
        self._analysis = analysis
        self._lexicon = lexicon
        self._words = transcript.words
        self._word_starts = [word.start_char for word in self._words]
        self._word_ends = [word.end_char for word in self._words]

    def _spoken(self, start_char: int, end_char: int) -> tuple[Word, ...]:
        low = bisect_right(self._word_ends, start_char)
        high = bisect_left(self._word_starts, end_char)
        return self._words[low:high]

    def evidence(self, start: int, end: int) -> tuple[Evidence, ...]:
        """Evidence for tokens start to end."""
        first, last = self._analysis.slice(start, end)
        spoken = self._spoken(first, last)
        return (
            Evidence(
                text=self._analysis.text[first:last],
                start_char=first,
                end_char=last,
                start_s=spoken[0].start_s if spoken else None,
                end_s=spoken[-1].end_s if spoken else None,
                heard=" ".join(word.heard or word.text for word in spoken)
                if any(word.heard for word in spoken)
                else None,
            ),
        )

    def _heard(self, start: int, end: int) -> float:
        """Lowest probability of the words, 1.0 for typed text."""
        spoken = self._spoken(*self._analysis.slice(start, end))
        return min((word.probability for word in spoken), default=1.0)

    def finding(self, draft: Draft) -> Finding:
        """The public value of a draft."""
        concept = self._lexicon.findings[draft.concept]
        label, plain = self._lexicon.naming(draft.concept, draft.structure)
        grade = None
        if draft.grade is not None:
            grade = Grade(
                value=draft.grade.value,
                out_of=draft.grade.out_of,
                text=self._analysis.words(draft.grade.start, draft.grade.end),
            )
        return Finding(
            system=cast("System", draft.system),
            concept=draft.concept,
            label=label,
            plain=plain,
            nature=concept.nature,
            structure=draft.structure,
            assertion=cast("Assertion", draft.assertion),
            side=cast("Side | None", draft.side),
            severity=draft.severity if concept.nature == "abnormal" and draft.assertion != "absent" else None,
            grade=grade,
            size_mm=draft.size.mm if draft.size and draft.assertion != "absent" else None,
            size_text=draft.size.words if draft.size and draft.assertion != "absent" else None,
            modifiers=draft.modifiers,
            reported_by="owner" if draft.reported else "vet",
            when="past" if draft.past else "now",
            superseded=draft.superseded,
            confidence=round(min(draft.confidence, self._certainty(draft.start, draft.end)), 2),
            evidence=self.evidence(draft.start, draft.end),
        )

    def _certainty(self, start: int, end: int) -> float:
        """Words that the recogniser was unsure of lower the confidence; above one half it is taken as heard."""
        heard = self._heard(start, end)
        return 1.0 if heard >= 0.5 else heard

    def measurement(self, reading: Reading) -> Measurement:
        """The public value of a reading."""
        return Measurement(
            kind=cast("MeasurementKind", reading.kind),
            value=reading.value,
            value_high=reading.value_high,
            unit=reading.unit,
            comparator=cast("Comparator | None", reading.comparator),
            out_of=reading.out_of,
            method=reading.method,
            unit_inferred=reading.unit_inferred,
            when="past" if reading.past else "now",
            superseded=reading.superseded,
            confidence=round(min(reading.confidence, self._certainty(reading.start, reading.end)), 2),
            evidence=self.evidence(reading.start, reading.end),
        )
