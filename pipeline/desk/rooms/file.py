"""How far an examination is, as it lies on the disk: whose it is, its streams, its state."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from pipeline.store import Actor, KeptVisit

State = Literal["open", "ending", "ended"]
"""It goes on; its last words are being settled; its draft is kept."""

NAME = "examination.json"


class RoomError(Exception):
    """What was asked of a room cannot be done; the message is for the person."""


class StreamFile(BaseModel):
    """A stream of a room: the folder in it, samples a second, and what was listened to."""

    folder: str
    rate_hz: int
    source: str


class RoomFile(BaseModel):
    """An examination in its folder."""

    model_config = ConfigDict(extra="forbid")

    visit: KeptVisit
    state: State = "open"
    ended_by: Actor | None = None
    record_id: str | None = None
    streams: dict[str, StreamFile] = Field(default_factory=dict)


def read_room(folder: Path) -> RoomFile | None:
    """What a folder says of its room; null where none was begun. Raises OSError, ValueError."""
    path = folder / NAME
    return RoomFile.model_validate_json(path.read_text("utf-8")) if path.is_file() else None


def room_of(folder: Path, visit: KeptVisit) -> RoomFile:
    """The room of a visit, begun if it was not. Raises RoomError when the folder is another visit's, OSError, ValueError."""
    found = read_room(folder)
    if found is None:
        found = RoomFile(visit=visit)
        folder.mkdir(parents=True, exist_ok=True)
        write_room(folder, found)
    if found.visit.id != visit.id:
        raise RoomError(f"{folder / NAME} is of another visit. Look at what was done to that folder.")
    return found


def write_room(folder: Path, file: RoomFile) -> None:
    """Put it on the disk, whole or not at all. Raises OSError."""
    part = folder / f"{NAME}.part"
    part.write_text(file.model_dump_json(), "utf-8")
    part.replace(folder / NAME)
