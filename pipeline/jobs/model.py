"""Values that go in and out of background work. All are frozen; what a kind of job is asked for is a model of its own."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from pydantic import Field

from pipeline.speech.model import Frozen
from pipeline.store.model import Identifier

JobState = Literal["queued", "running", "waiting", "done", "failed", "cancelled"]
"""`waiting`: an attempt failed in a way that may pass, and the next one has its time."""

Ended = ("done", "failed", "cancelled")
"""States in which nothing happens any more unless somebody asks."""


class JobsError(Exception):
    """What was asked of a job cannot be done; the message says why and what to do."""


class Asked(Frozen):
    """What a job is asked to do. Kept until it is done, so it holds identifiers and no personal data."""


class Job(Frozen):
    """A job as it is now. Times have a zone; `share` is how much of the step `doing` is done, 0 to 1, null where unknown."""

    id: Identifier
    kind: str
    state: JobState
    asked: dict[str, Any] = Field(description="What was asked for, as the kind's own model writes it.")
    by: str = Field(description="Name of the person who asked.")
    asked_at: datetime
    ended_at: datetime | None
    attempt: int
    doing: str | None
    share: float | None
    reason: str | None = Field(description="Why it failed, or why the last attempt did.")
    retry_at: datetime | None = Field(description="When a waiting job goes on.")
    result: dict[str, Any] | None = Field(description="What came of it; null until it is done.")
