"""Single facts of a draft: their forms, and the lexicon to pick from."""

from __future__ import annotations

from typing import Any, Literal, get_args

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse

from lexicon import SYSTEMS
from lexicon.picking import findings_like, structures_like
from lexicon.schema import System
from pipeline.desk.changes import addition, correction, empty_form, form_of, kind_of
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.forms import Form
from pipeline.desk.pages import part
from pipeline.desk.routes.records import board_answer
from pipeline.desk.who import Anyone, Clinical
from pipeline.extraction.model import Finding, Measurement, MeasurementKind, PlanItem, PlanKind
from pipeline.review import Reviewed, ReviewError
from pipeline.review.operations import Severity
from pipeline.store import Actor, KeptRecord, NotFoundError, record_of, review_record

router = APIRouter(include_in_schema=False)

Kind = Literal["finding", "measurement", "plan"]


@router.get("/records/{record_id}/facts/{fact_id}")
def form(request: Request, desk: AtDesk, actor: Clinical, record_id: str, fact_id: str) -> Response:
    """The form of a fact, with what stands."""
    fact = _fact(_draft(desk, actor, record_id), fact_id)
    kind = kind_of(fact.value)
    return _form(request, desk, kind, form_of(fact.value), f"/records/{record_id}/facts/{fact_id}")


@router.post("/records/{record_id}/facts/{fact_id}")
def change(
    request: Request, desk: AtDesk, actor: Clinical, record_id: str, fact_id: str, form: Form
) -> Response:
    """Keep what a filled form changes of a fact."""
    kept = _draft(desk, actor, record_id)
    operation = correction(_fact(kept, fact_id), form, desk.lexicon)
    return _applied(request, desk, actor, kept, operation, form)


@router.get("/records/{record_id}/new/{kind}")
def new_form(
    request: Request,
    desk: AtDesk,
    actor: Clinical,
    record_id: str,
    kind: Kind,
    system: System | None = None,
    of: str = "",
) -> Response:
    """The form of a new fact, of a system or a kind of value where the page knows it."""
    _draft(desk, actor, record_id)
    given = empty_form(kind, system=system or "", **({"kind": of} if of else {}))
    return _form(request, desk, kind, given, f"/records/{record_id}/new/{kind}")


@router.post("/records/{record_id}/new/{kind}")
def add(request: Request, desk: AtDesk, actor: Clinical, record_id: str, kind: Kind, form: Form) -> Response:
    """Add a fact by hand."""
    kept = _draft(desk, actor, record_id)
    return _applied(request, desk, actor, kept, addition(kind, form, desk.lexicon), form)


@router.get("/lexicon/{what}")
def pick(
    desk: AtDesk,
    actor: Anyone,
    what: Literal["findings", "structures"],
    words: str = "",
    system: System | None = None,
) -> Response:
    """What the lexicon knows by words that begin so."""
    like = findings_like if what == "findings" else structures_like
    found = like(words[:100], desk.lexicon, system)
    return JSONResponse(
        [
            {"id": one.id, "label": one.label, "plain": one.plain, "system": one.system, "term": one.term}
            for one in found
        ]
    )


def _form(request: Request, desk: Desk, kind: str, given: dict[str, str], action: str) -> Response:
    lexicon = desk.lexicon
    structure = lexicon.structures.get(given.get("structure", ""))
    values: dict[str, Any] = {
        "kind": kind,
        "given": given,
        "action": action,
        "structure_label": structure.label if structure is not None else "",
        "systems": SYSTEMS,
        "severities": get_args(Severity),
        "plan_kinds": [one.value for one in PlanKind],
        "measurements": {name: lexicon.measurements[name] for name in get_args(MeasurementKind)},
    }
    return HTMLResponse(part(request, "edit.html", **values))


def _draft(desk: Desk, actor: Actor, record_id: str) -> KeptRecord:
    kept = record_of(desk.database, actor, record_id)
    if kept.review is None:
        raise ReviewError(f"This record is {kept.state} and cannot be changed: amend it.")
    return kept


def _fact(kept: KeptRecord, fact_id: str) -> Reviewed[Finding] | Reviewed[Measurement] | Reviewed[PlanItem]:
    assert kept.review is not None  # noqa: S101 - see _draft
    found = next((fact for fact in kept.review.facts if fact.id == fact_id), None)
    if found is None:
        raise NotFoundError(f"There is no fact {fact_id} in this record.")
    return found


def _applied(
    request: Request, desk: Desk, actor: Actor, kept: KeptRecord, operation: Any, form: dict[str, str]
) -> Response:
    revision = form.get("revision", "")
    seen = kept.model_copy(update={"revision": int(revision) if revision.isdigit() else -1})
    done = review_record(desk.database, actor, seen, (operation,), desk.lexicon, desk.at())
    return board_answer(request, desk, actor, done, "doubt" if form.get("order") == "doubt" else "body")
