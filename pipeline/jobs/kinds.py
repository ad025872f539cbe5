"""The table of all kinds of jobs. A new kind is a module with its wish and its function, and a row here."""

from __future__ import annotations

from typing import Any

from pipeline.jobs.backing_up import BACK_UP
from pipeline.jobs.delivering import DELIVER
from pipeline.jobs.printing import PRINT
from pipeline.jobs.rereading import REREAD
from pipeline.jobs.transcription import TRANSCRIBE
from pipeline.jobs.work import Kind

KINDS: dict[str, Kind[Any]] = {kind.name: kind for kind in (TRANSCRIBE, REREAD, PRINT, BACK_UP, DELIVER)}
