"""The commands `rostral send` and `rostral deliveries`: hand records over, keep receipts, show what failed until it is solved."""

from __future__ import annotations

import time
from datetime import timedelta

from pipeline.cli.border import CallError, WorkError
from pipeline.cli.choosing import choose_record
from pipeline.cli.columns import show_rows
from pipeline.cli.exporting import read_form, read_release
from pipeline.cli.job_views import open_jobs, time_text
from pipeline.cli.keeping import Books
from pipeline.cli.screen import messages, output, remark, write_json
from pipeline.jobs import Deliver, Deliveries, Handover, Jobs
from pipeline.jobs.delivering import WAYS
from pipeline.settings import Settings
from pipeline.store.stamps import now

_BEAT_S = 1.0
"""Often enough for an attempt that comes again in seconds."""
_SILENCE_S = 20.0
"""A call that was killed shows no sign of life: after that long its delivery is taken over."""
_LOOK_S = 0.2
_WORTH_WAITING = timedelta(seconds=10)


def send(settings: Settings, which: str, way: str, form: str, release: str) -> None:
    """Hand a signed record over in this process, unless another one comes before it; wait for the end and tell it."""
    if way not in WAYS:
        raise CallError(f"There is no way {way!r}: give --by one of {', '.join(WAYS)}.")
    with open_jobs(settings, _BEAT_S, _SILENCE_S) as (books, jobs):
        deliveries = Deliveries(books.database, jobs, settings)
        wish = Deliver(
            record_id=choose_record(books, which),
            way=way,
            form=read_form(form),
            release=read_release(release),
        )
        _see_through(books, jobs, deliveries, deliveries.submit(books.actor, wish))


def again(settings: Settings, which: str) -> None:
    """Try an unsolved delivery again, with the record's last signed version."""
    with open_jobs(settings, _BEAT_S, _SILENCE_S) as (books, jobs):
        deliveries = Deliveries(books.database, jobs, settings)
        chosen = deliveries.full_id(books.actor, which)
        _see_through(books, jobs, deliveries, deliveries.retry(books.actor, chosen))


def give_up(settings: Settings, which: str, reason: str) -> None:
    """Let an unsolved delivery be, with the reason."""
    with open_jobs(settings) as (books, jobs):
        deliveries = Deliveries(books.database, jobs, settings)
        ended = deliveries.give_up(books.actor, deliveries.full_id(books.actor, which), reason)
        output().print(f"Given up. {ended.id}", soft_wrap=True)


def listed(settings: Settings, *, unsolved: bool, as_json: bool) -> None:
    """List receipts, and what is not there yet with the reason."""
    with open_jobs(settings) as (books, jobs):
        found = Deliveries(books.database, jobs, settings).listed(books.actor, unsolved=unsolved)
    if as_json:
        write_json(
            [
                {
                    **one.receipt.model_dump(mode="json"),
                    **one.model_dump(mode="json", include={"state", "reason", "retry_at"}),
                }
                for one in found
            ]
        )
        return
    rows = [
        (
            time_text(one.receipt.at),
            one.state.replace("_", " "),
            one.receipt.form,
            one.receipt.place or _why(one),
            one.receipt.by,
            one.id,
        )
        for one in found
    ]
    show_rows(("when", "state", "form", "where or why not", "by", "delivery"), rows)


def _see_through(books: Books, jobs: Jobs, deliveries: Deliveries, begun: Handover) -> None:
    """Do what is to be handed over in this process, too, until this one has its end. Raises WorkError for any but a good one."""
    jobs.begin(["outgoing"])
    with messages().status("Handing it over …"):
        standing = begun
        while _goes_on(standing):
            time.sleep(_LOOK_S)
            standing = deliveries.one(books.actor, begun.id)
    for warning in standing.warnings:
        remark(warning)
    if standing.state != "delivered":
        raise WorkError(
            f"{_why(standing)} It is kept as unsolved: rostral deliveries --again {begun.id[:14]}"
        )
    output().print(f"Delivered to {standing.receipt.place}. Receipt {begun.id}", soft_wrap=True)


def _goes_on(standing: Handover) -> bool:
    if standing.state == "waiting" and standing.retry_at is not None:
        return standing.retry_at - now() < _WORTH_WAITING
    return standing.state in ("queued", "running")


def _why(standing: Handover) -> str:
    if standing.state == "waiting" and standing.retry_at is not None:
        return f"{standing.reason} Tried again at {time_text(standing.retry_at)}, if rostral worker or serve runs then."
    return standing.reason
