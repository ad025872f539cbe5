"""Hands signed records over for the desk: by the same jobs as the command line, done in this process while the desk is open.

The jobs are opened when they are first needed. Where no way is set up this process does none, and others' are left to others.
"""

from __future__ import annotations

import logging
import threading
from pathlib import Path
from typing import Annotated, cast

from fastapi import Depends, Request

from pipeline.jobs import Deliveries, Handover, Jobs, JobsError
from pipeline.jobs.delivering import Way, lack
from pipeline.jobs.forms import Form
from pipeline.settings import Settings
from pipeline.store import Actor, Database, DatabaseError
from pipeline.store.deliveries import deliveries_of

log = logging.getLogger("rostral.desk")

_ONE_FORM: dict[Way, Form] = {"folder": "pdf", "mail": "sheet", "fhir": "fhir"}
"""A form that each way takes: whether the way is set up does not depend on it."""


class Courier:
    """The deliveries of a desk. `begin` and `end` are the process's; all else may be asked from any thread."""

    def __init__(self, database: Database, settings: Settings, recordings: Path) -> None:
        self._database, self._settings, self._recordings = database, settings, recordings
        self._lock = threading.Lock()
        self._jobs: Jobs | None = None
        self._not_begun = ""

    @property
    def deliveries(self) -> Deliveries:
        """The service that asks for deliveries and looks at them. Raises DatabaseError."""
        return Deliveries(self._database, self._opened(), self._settings)

    @property
    def lacks(self) -> dict[Way, str]:
        """What the settings lack for each way that is not set up."""
        return {way: found for way, form in _ONE_FORM.items() if (found := lack(self._settings, way, form))}

    @property
    def trouble(self) -> str:
        """Why this process hands nothing over just now; empty while it can."""
        return self._not_begun or (self._jobs.trouble if self._jobs is not None else None) or ""

    def begin(self) -> None:
        """Hand over in this process from now on, if any way is set up. The desk opens even when that cannot be."""
        try:
            if len(self.lacks) < len(_ONE_FORM):
                self._opened().begin(["outgoing"])
        except (JobsError, DatabaseError) as error:
            log.error("nothing is handed over by this desk: %s", error)
            self._not_begun = str(error)

    def end(self) -> None:
        """Let the attempts that run come to their end, and leave the rest to the next start or to others."""
        with self._lock:
            if self._jobs is not None:
                self._jobs.close()
                self._jobs = None

    def of_record(self, actor: Actor, record_id: str) -> tuple[Handover, ...]:
        """A record's deliveries, the last one first."""
        if not deliveries_of(self._database, actor, record_id=record_id):
            return ()
        return self.deliveries.listed(actor, record_id=record_id)[::-1]

    def unsolved(self, actor: Actor) -> tuple[Handover, ...]:
        """The practice's deliveries that did not arrive and that nobody gave up, the oldest first."""
        if not deliveries_of(self._database, actor, unsolved=True):
            return ()
        return self.deliveries.listed(actor, unsolved=True)

    def _opened(self) -> Jobs:
        with self._lock:
            if self._jobs is None:
                self._jobs = Jobs(self._database, self._settings, self._recordings)
            return self._jobs


def courier_of(request: Request) -> Courier:
    """The courier of the desk that a request came to."""
    return cast("Courier", request.app.state.courier)


AtCourier = Annotated[Courier, Depends(courier_of)]
