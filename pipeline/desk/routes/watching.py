"""Whether the desk works, for programs that watch it: health, and figures in Prometheus's text format."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest

from pipeline.desk.desk import AtDesk
from pipeline.desk.metrics import Metrics
from pipeline.desk.routes.api import Fault, ReadsMetrics
from pipeline.store import any_account, counts

router = APIRouter()


@router.get("/healthz", responses={503: {"model": Fault, "description": "The database cannot be used."}})
def health(desk: AtDesk) -> dict[str, str]:
    """Answers when the database does."""
    any_account(desk.database)
    return {"status": "ok"}


@router.get(
    "/metrics",
    response_class=Response,
    responses={
        200: {"content": {"text/plain": {}}, "description": "Prometheus text format."},
        401: {"model": Fault, "description": "No token, or one that is not in force."},
        403: {"model": Fault, "description": "The token has not the scope metrics:read."},
    },
)
def metrics(request: Request, desk: AtDesk, actor: ReadsMetrics) -> Response:
    """Requests by route and status, how long they took, records that wait in the practice of the token."""
    kept: Metrics = request.app.state.metrics
    for state, count in counts(desk.database, actor).items():
        kept.records.labels(state).set(count)
    return Response(generate_latest(kept.registry), media_type=CONTENT_TYPE_LATEST)
