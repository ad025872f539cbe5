"""What every request works with: the database, the options, the clock, the texts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Annotated

from fastapi import Depends
from starlette.requests import HTTPConnection

from lexicon import Lexicon, load_lexicon
from pipeline.settings import Settings
from pipeline.store import Database
from pipeline.store.stamps import now


@dataclass(frozen=True, slots=True)
class DeskOptions:
    """How the desk is run.

    `data` is the folder for what is on its way, `recordings` the one of kept sound.
    A sign-in ends after `idle` without a page and after `lasting` at all.
    `set_up_code` lets whoever knows it make the first account; null where nobody may.
    """

    data: Path
    recordings: Path
    settings: Settings
    idle: timedelta = timedelta(hours=2)
    lasting: timedelta = timedelta(hours=12)
    set_up_code: str | None = None


@dataclass(frozen=True, slots=True)
class Desk:
    """A running desk."""

    database: Database
    options: DeskOptions
    clock: Callable[[], datetime] = field(default=now)

    def at(self) -> datetime:
        """The time that goes into what is written now."""
        return self.clock()

    @property
    def lexicon(self) -> Lexicon:
        """The lexicon with the practice's own words as they are now."""
        return load_lexicon()


def desk_of(connection: HTTPConnection) -> Desk:
    """The desk that a request came to."""
    desk = connection.app.state.desk
    assert isinstance(desk, Desk)  # noqa: S101 - set by create_app alone
    return desk


AtDesk = Annotated[Desk, Depends(desk_of)]
