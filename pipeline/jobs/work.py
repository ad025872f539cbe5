"""What a kind of job is, and what its steps work with.

A job is a function of steps. Each step's answer, plain JSON, is kept when it is done: after a crash the function runs again from
its beginning, and steps that were done give the kept answer at once. So nothing but what steps answered may decide what comes
next, and a step that was interrupted is done again: its effect must be the same then, which the store's `origin` sees to.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Generic, Literal, Protocol, TypeVar

from pipeline.jobs.model import Asked
from pipeline.settings import Settings
from pipeline.store import Actor, Database
from pipeline.store.stamps import now

Wish = TypeVar("Wish", bound=Asked)
Answer = TypeVar("Answer")

Queue = Literal["slow", "quick", "outgoing"]
"""Where jobs wait. `slow` ones use all of a machine's cores; `outgoing` ones hand things over to others, who may be slow."""

_TOLD_EVERY_S = 1.0

WAITS_S = (10.0, 60.0, 300.0, 900.0)
"""How long a job waits after each failure that may pass; after the last it has failed."""


class LaterError(Exception):
    """The step failed in a way that may pass: try again, after `after_s` seconds or when it is the kind's time."""

    def __init__(self, reason: str, after_s: float | None = None) -> None:
        super().__init__(reason)
        self.after_s = after_s


class Running(Protocol):
    """What the engine does for a job that runs."""

    def step(self, doing: str, function: Callable[[], Any]) -> Any:
        """Do a step, or give what it answered when it was done before."""

    def tell(self, doing: str, share: float) -> None:
        """Keep how far it is; ends the step when the job was cancelled."""


class Work:
    """What a job works with: whose it is, the database, the settings, the folder of recordings."""

    def __init__(
        self,
        running: Running,
        job_id: str,
        actor: Actor,
        database: Database,
        settings: Settings,
        recordings: Path,
    ) -> None:
        self.job_id = job_id
        self.actor = actor
        self.database = database
        self.settings = settings
        self.recordings = recordings
        self._running = running
        self._told_at = float("-inf")

    def at(self) -> datetime:
        """The time that goes into what is written now."""
        return now()

    def origin(self, of: str = "") -> str:
        """What marks a record as made by this job, of the thing `of`: the store keeps one record of an origin."""
        return f"{self.job_id}:{of}" if of else self.job_id

    def step(self, doing: str, function: Callable[..., Answer], *arguments: Any) -> Answer:
        """Do a step, which `doing` names for people. It must answer plain JSON, and may be done twice."""
        answer: Answer = self._running.step(doing, lambda: function(*arguments))
        return answer

    def tell(self, doing: str, share: float) -> None:
        """Say within a step how far it is, 0 to 1, as often as you like. A cancelled job ends here."""
        if time.monotonic() - self._told_at >= _TOLD_EVERY_S:
            self._told_at = time.monotonic()
            self._running.tell(doing, share)


@dataclass(frozen=True)
class Kind(Generic[Wish]):
    """A kind of job: its name, what it is asked for, the function that does it and gives its result as plain JSON."""

    name: str
    asked: type[Wish]
    run: Callable[[Work, Wish], dict[str, Any]]
    queue: Queue = "quick"
    waits_s: tuple[float, ...] = WAITS_S
