"""A record's sound, and a fact that is said again."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any, Literal

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import FileResponse, JSONResponse

from pipeline.capture import CaptureError, Recording, read_audio
from pipeline.desk.changes import form_of
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.ears import Ears
from pipeline.desk.errors import DeskError
from pipeline.desk.forms import OwnScript
from pipeline.desk.routes.beside import standing
from pipeline.desk.sound import file_for, outline, recording_for, words_with_times
from pipeline.desk.texts import say
from pipeline.desk.who import Anyone, Clinical
from pipeline.exam import hear, understand
from pipeline.extraction.model import Finding, Measurement
from pipeline.record import ExamRecord
from pipeline.store import Actor, KeptRecording, NotFoundError, record_line

router = APIRouter(prefix="/records/{record_id}", include_in_schema=False)

_LONGEST_S = 30.0


class NotUnderstoodError(DeskError):
    """Nothing fitting was understood of what was said again."""

    status = 422


@router.get("/sound")
def whole_sound(desk: AtDesk, actor: Anyone, record_id: str) -> Response:
    """The recording as it was kept; browsers ask for parts of it (RFC 9110, range requests)."""
    file, media_type = file_for(desk, _recording(desk, actor, record_id)[0])
    return FileResponse(file, media_type=media_type, headers={"Cache-Control": "private, max-age=3600"})


@router.get("/sound.json")
def sound_outline(desk: AtDesk, actor: Anyone, record_id: str) -> Response:
    """The outline of the recording and its words with their times."""
    kept, record = _recording(desk, actor, record_id)
    return JSONResponse(
        {
            "duration_s": kept.duration_s,
            "peaks": outline(desk, kept),
            "words": words_with_times(record.transcript),
        }
    )


async def _body(request: Request) -> bytes:
    return await request.body()


@router.post("/again", dependencies=[OwnScript])
def again(
    request: Request,
    desk: AtDesk,
    actor: Clinical,
    record_id: str,
    kind: Literal["finding", "measurement"],
    said: bytes = Depends(_body),
) -> Response:
    """What is understood of a few seconds of sound, as the fields of a fact's form. Nothing of it is kept."""
    record = standing(desk, actor, record_id)
    sound = _recorded(said)
    ears: Ears = request.app.state.ears
    with ears.lent() as recogniser:
        heard = hear(sound, recogniser, record.patient, record.visit)
    understood = understand(heard, record.patient, record.visit)
    facts: tuple[Finding | Measurement, ...] = (
        understood.findings if kind == "finding" else understood.measurements
    )
    fact = next((one for one in reversed(facts) if not one.superseded), None)
    if fact is None:
        raise NotUnderstoodError(say("edit.nothing_heard", words=heard.text or "…"))
    return JSONResponse({"heard": heard.text, "fields": form_of(fact), "shown": _labels(desk, fact)})


def _recorded(said: bytes) -> Recording:
    """The sound that a browser recorded, in whatever container it makes. Raises NotUnderstoodError."""
    with tempfile.TemporaryDirectory(prefix="rostral-again-") as folder:
        file = Path(folder) / "said"
        file.write_bytes(said)
        try:
            recorded = read_audio(file)
        except CaptureError as error:
            raise NotUnderstoodError(str(error)) from None
    if recorded.duration_s > _LONGEST_S:
        raise NotUnderstoodError(say("edit.too_long", n=int(_LONGEST_S)))
    return recorded


def _labels(desk: Desk, fact: Finding | Measurement) -> dict[str, Any]:
    if isinstance(fact, Measurement):
        return {}
    part = desk.lexicon.structures.get(fact.structure or "")
    return {"concept": fact.label, "structure": part.label if part is not None else ""}


def _recording(desk: Desk, actor: Actor, record_id: str) -> tuple[KeptRecording, ExamRecord]:
    line = record_line(desk.database, actor, record_id)
    record = standing(desk, actor, record_id)
    kept = recording_for(desk, actor, line.visit_id, record.transcript)
    if kept is None:
        raise NotFoundError(say("board.sound_none"))
    return kept, record
