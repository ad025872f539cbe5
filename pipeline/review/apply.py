"""Applies one operation to a review; every refusal is a sentence for the person who asked."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from functools import singledispatch
from typing import Any, NamedTuple, cast

from pydantic import BaseModel, ValidationError

from lexicon import Lexicon
from pipeline.extraction.model import SURE_ENOUGH, Finding, Measurement, PlanItem
from pipeline.record.wording import evidence_of
from pipeline.review.model import Acknowledgement, Fact, Mark, Review, Reviewed, SystemDecision
from pipeline.review.operations import (
    Accept,
    AcceptCertain,
    Acknowledge,
    AddFinding,
    AddMeasurement,
    AddPlanItem,
    CorrectFinding,
    CorrectMeasurement,
    CorrectPlanItem,
    FindingChanges,
    MarkNormal,
    MarkNotExamined,
    MeasurementChanges,
    Merge,
    Operation,
    PlanChanges,
    Reject,
    Restore,
    Split,
)
from pipeline.review.standing import current, facts_of, notice_key

UNLISTED = "unlisted"
"""Concept of a finding that the lexicon has no name for."""

_VERDICT = "normal"
"""The lexicon's concept of a whole system without fault."""

_FIELDS = {"f": "findings", "m": "measurements", "p": "plan"}


class ReviewError(ValueError):
    """The operation cannot be done; the message says why and what can be done instead. The review is unchanged."""


class _Bench(NamedTuple):
    """What an operation works with."""

    review: Review
    mark: Mark
    lexicon: Lexicon


def apply(review: Review, operation: Operation, mark: Mark, lexicon: Lexicon) -> Review:
    """Give the review after an operation that `mark` names the author and time of. Raises ReviewError."""
    return _do(operation, _Bench(review, mark, lexicon))


@singledispatch
def _do(operation: object, bench: _Bench) -> Review:
    raise TypeError(f"no operation of a review: {operation!r}")


@_do.register
def _accept(operation: Accept, bench: _Bench) -> Review:
    fact = _find(bench.review, operation.fact)
    _must_stand(fact)
    standing = "accepted" if fact.standing == "open" else fact.standing
    return _set(bench, operation.fact, standing=standing, confirmed=True)


@_do.register
def _accept_certain(operation: AcceptCertain, bench: _Bench) -> Review:
    asked = {
        fact.id
        for notice in current(bench.review, bench.lexicon).notices
        for fact in facts_of(notice, bench.review)
    }
    review = bench.review
    for fact in bench.review.facts:
        sure = isinstance(fact.value, PlanItem) or fact.value.confidence > SURE_ENOUGH
        if fact.standing == "open" and sure and not fact.value.superseded and fact.id not in asked:
            review = _set(bench._replace(review=review), fact.id, standing="accepted", confirmed=True)
    return review


@_do.register
def _correct_finding(operation: CorrectFinding, bench: _Bench) -> Review:
    fact = _known(bench.review.findings, operation.fact)
    _must_stand(fact)
    value = _changed_finding(fact.value, operation.changes, bench.lexicon)
    return _corrected(bench, fact, value)


@_do.register
def _correct_measurement(operation: CorrectMeasurement, bench: _Bench) -> Review:
    fact = _known(bench.review.measurements, operation.fact)
    _must_stand(fact)
    value = _changed_measurement(fact.value, operation.changes, bench.lexicon)
    return _corrected(bench, fact, value)


@_do.register
def _correct_plan_item(operation: CorrectPlanItem, bench: _Bench) -> Review:
    fact = _known(bench.review.plan, operation.fact)
    _must_stand(fact)
    return _corrected(bench, fact, _changed_plan_item(fact.value, operation.changes))


@_do.register
def _reject(operation: Reject, bench: _Bench) -> Review:
    _must_stand(_find(bench.review, operation.fact))
    return _set(bench, operation.fact, standing="rejected", confirmed=False, reason=operation.reason)


@_do.register
def _restore(operation: Restore, bench: _Bench) -> Review:
    fact = _find(bench.review, operation.fact)
    if fact.standing == "replaced":
        made = [other.id for other in bench.review.facts if fact.id in other.made_from and other.stands]
        if made:
            raise ReviewError(f"{fact.id} was split or merged into {', '.join(made)}: reject these first.")
    if fact.said is None:
        return _set(bench, fact.id, standing="added", confirmed=False, reason=None)
    return _set(bench, fact.id, value=fact.said, standing="open", confirmed=False, reason=None)


@_do.register
def _split(operation: Split, bench: _Bench) -> Review:
    fact = _known(bench.review.findings, operation.fact)
    _must_stand(fact)
    pieces = [_changed_finding(fact.value, changes, bench.lexicon) for changes in operation.into]
    if len(set(pieces)) < len(pieces):
        raise ReviewError(f"Two of the findings that {fact.id} is to be split into are the same.")
    review = _set(bench, fact.id, standing="replaced", confirmed=False)
    for piece in pieces:
        review = _add(bench._replace(review=review), piece, made_from=(fact.id,))
    return review


@_do.register
def _merge(operation: Merge, bench: _Bench) -> Review:
    if len(set(operation.facts)) < len(operation.facts):
        raise ReviewError("A finding cannot be merged with itself: name each once.")
    facts = [_known(bench.review.findings, identifier) for identifier in operation.facts]
    for fact in facts:
        _must_stand(fact)
    first = _changed_finding(facts[0].value, operation.changes, bench.lexicon)
    merged = first.model_copy(update={"evidence": evidence_of(fact.value for fact in facts)})
    review = bench.review
    for fact in facts:
        review = _set(bench._replace(review=review), fact.id, standing="replaced", confirmed=False)
    return _add(bench._replace(review=review), merged, made_from=operation.facts)


@_do.register
def _add_finding(operation: AddFinding, bench: _Bench) -> Review:
    given = operation.finding
    if given.system is None or given.concept is None:
        raise ReviewError("A finding needs a system and a concept: name both.")
    blank = Finding(system=given.system, concept=UNLISTED, label=given.label or given.concept)
    return _add(bench, _changed_finding(blank, given, bench.lexicon))


@_do.register
def _add_measurement(operation: AddMeasurement, bench: _Bench) -> Review:
    given = operation.measurement
    if given.kind is None or given.value is None:
        raise ReviewError("A measurement needs a kind and a value: name both.")
    return _add(
        bench, _changed_measurement(Measurement(kind=given.kind, value=given.value), given, bench.lexicon)
    )


@_do.register
def _add_plan_item(operation: AddPlanItem, bench: _Bench) -> Review:
    if operation.item.text is None:
        raise ReviewError("A plan item needs a text.")
    return _add(bench, _changed_plan_item(PlanItem(text=operation.item.text, kind="advice"), operation.item))


@_do.register
def _mark_normal(operation: MarkNormal, bench: _Bench) -> Review:
    record = _without_decision(bench.review, operation.system)
    faults = [
        fact.id
        for fact in record.findings
        if fact.stands and fact.value.system == operation.system and fact.value.counts_as_abnormal
    ]
    if faults:
        system = operation.system.replace("_", " ")
        raise ReviewError(
            f"The {system} findings {', '.join(faults)} are abnormal: reject or correct them before the"
            " system is called normal."
        )
    label, plain = bench.lexicon.naming(_VERDICT, None)
    verdict = Finding(system=operation.system, concept=_VERDICT, label=label, plain=plain, nature="normal")
    return _add(bench._replace(review=record), verdict)


@_do.register
def _mark_not_examined(operation: MarkNotExamined, bench: _Bench) -> Review:
    review = _without_decision(bench.review, operation.system)
    decision = SystemDecision(system=operation.system, reason=operation.reason, mark=bench.mark)
    return review.model_copy(update={"not_examined": (*review.not_examined, decision)})


@_do.register
def _acknowledge(operation: Acknowledge, bench: _Bench) -> Review:
    notices = {notice_key(notice): notice for notice in current(bench.review, bench.lexicon).notices}
    notice = notices.get(operation.notice)
    if notice is None:
        raise ReviewError("This notice does not stand any more: look at the record again.")
    seen = Acknowledgement(
        notice=operation.notice, message=notice.message, reason=operation.reason, mark=bench.mark
    )
    return bench.review.model_copy(update={"acknowledged": (*bench.review.acknowledged, seen)})


# --- facts -----------------------------------------------------------------------------------------


def _find(review: Review, identifier: str) -> Reviewed[Any]:
    return _known(cast("tuple[Reviewed[Any], ...]", review.facts), identifier)


def _known(facts: Iterable[Reviewed[Fact]], identifier: str) -> Reviewed[Fact]:
    fact = next((fact for fact in facts if fact.id == identifier), None)
    if fact is None:
        raise ReviewError(f"There is no such fact of this kind in the record: {identifier}.")
    return fact


def _must_stand(fact: Reviewed[Any]) -> None:
    if not fact.stands:
        raise ReviewError(f"{fact.id} was {fact.standing} and does not stand: restore it first.")


def _set(bench: _Bench, identifier: str, **changes: object) -> Review:
    """Replace a fact by itself with changes and the author's mark."""
    field = _FIELDS[identifier[0]]
    facts = tuple(
        fact.model_copy(update={**changes, "mark": bench.mark}) if fact.id == identifier else fact
        for fact in getattr(bench.review, field)
    )
    return bench.review.model_copy(update={field: facts})


def _add(bench: _Bench, value: Finding | Measurement | PlanItem, made_from: tuple[str, ...] = ()) -> Review:
    letter = {Finding: "f", Measurement: "m", PlanItem: "p"}[type(value)]
    facts = getattr(bench.review, _FIELDS[letter])
    fact = Reviewed[Any](
        id=f"{letter}{len(facts) + 1}",
        said=None,
        value=value,
        standing="added",
        mark=bench.mark,
        made_from=made_from,
    )
    return bench.review.model_copy(update={_FIELDS[letter]: (*facts, fact)})


def _corrected(bench: _Bench, fact: Reviewed[Fact], value: Fact) -> Review:
    if value == fact.value:
        raise ReviewError(f"Nothing of {fact.id} would change: accept it, or give another value.")
    standing = "added" if fact.said is None else "corrected"
    return _set(bench, fact.id, value=value, standing=standing, confirmed=False)


def _without_decision(review: Review, system: str) -> Review:
    kept = tuple(decision for decision in review.not_examined if decision.system != system)
    return review.model_copy(update={"not_examined": kept})


# --- values ----------------------------------------------------------------------------------------


def _given(changes: BaseModel) -> dict[str, object]:
    return {name: getattr(changes, name) for name in changes.model_fields_set}


def _checked(value: Fact, update: dict[str, object]) -> Fact:
    """The value with an update that its own model accepts."""
    try:
        return type(value).model_validate({**value.model_dump(), **update})
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise ReviewError(f"{place} cannot be {first['input']!r}: {first['msg']}.") from None


def _changed_finding(value: Finding, changes: FindingChanges, lexicon: Lexicon) -> Finding:
    update = _given(changes)
    _needs(update, ("system", "concept", "label", "nature", "assertion", "reported_by", "when"))
    structure = cast("str | None", update.get("structure", value.structure))
    if structure is not None and structure not in lexicon.structures:
        raise ReviewError(f"The lexicon knows no structure {structure!r}. Pick one that it lists.")
    concept = cast("str", update.get("concept", value.concept))
    if concept == UNLISTED:
        if "label" not in update and value.concept != UNLISTED:
            raise ReviewError("A finding that is not in the lexicon needs a label: say what it is.")
        if "label" in update:
            update["plain"] = update["label"]
    elif concept not in lexicon.findings:
        raise ReviewError(
            f"The lexicon knows no finding {concept!r}. Pick one that it lists, or {UNLISTED!r} with a label."
        )
    else:
        if "label" in update or "nature" in update:
            raise ReviewError(f"Label and nature of {concept!r} are the lexicon's: leave them out.")
        if "concept" in update or "structure" in update:
            update["label"], update["plain"] = lexicon.naming(concept, structure)
            update["nature"] = lexicon.findings[concept].nature
    if update.get("modifiers", ()) is None:
        update["modifiers"] = ()
    return _checked(value, update)


def _changed_measurement(value: Measurement, changes: MeasurementChanges, lexicon: Lexicon) -> Measurement:
    update = _given(changes)
    _needs(update, ("kind", "when"))
    kind = cast("str", update.get("kind", value.kind))
    row = lexicon.measurements[kind]
    new = update.get("value", value.value)
    in_words = row.unit is None and not row.out_of
    if new is not None and isinstance(new, str) != in_words:
        wanted = "words" if in_words else "a number"
        raise ReviewError(f"{row.label} is given as {wanted}, not as {new!r}.")
    out_of = update.get("out_of", value.out_of)
    if isinstance(new, float) and isinstance(out_of, float) and new > out_of:
        raise ReviewError(f"{row.label} cannot be {new:g} of {out_of:g}.")
    # A person gave it: in the stored unit, to be judged anew.
    update |= {"unit": None if row.out_of else row.unit, "unit_inferred": False, "status": "unknown"}
    if "value" in update:
        update = {"value_high": None, "comparator": None, **update}
    return _checked(value, update)


def _changed_plan_item(value: PlanItem, changes: PlanChanges) -> PlanItem:
    update = _given(changes)
    _needs(update, ("text", "kind", "state"))
    due = update.get("due")
    if isinstance(due, str):
        try:
            date.fromisoformat(due)
        except ValueError:
            raise ReviewError(f"There is no day {due}. Give the date as year-month-day.") from None
    return _checked(value, update)


def _needs(update: dict[str, object], fields: Iterable[str]) -> None:
    for name in fields:
        if name in update and update[name] is None:
            raise ReviewError(f"The {name.replace('_', ' ')} cannot be left empty.")


__all__ = ["UNLISTED", "ReviewError", "apply"]
