"""Whom and what a live examination is about, kept beside its sound for whoever goes on from there."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from pipeline.capture import CaptureError, hold, pack
from pipeline.cli.border import WorkError
from pipeline.cli.screen import remark
from pipeline.record import Patient, Visit

_PATIENT_NAME = "patient.json"
_VISIT_NAME = "visit.json"


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked for beside the recording or text, as it came from the options.

    `kind` is None where the user named none; `keep_for` is the kept patient whose record it becomes.
    """

    patient: Path | None
    kind: str | None
    day: str | None
    as_json: bool
    talk: bool
    keep_for: str | None = None


def keep_who(folder: Path, patient: Patient | None, visit: Visit) -> None:
    """Write patient and visit beside a recording. Raises WorkError."""
    texts = {_VISIT_NAME: visit.model_dump_json(indent=2)}
    if patient is not None:
        texts[_PATIENT_NAME] = patient.model_dump_json(indent=2)
    try:
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise WorkError(
            f"{folder} cannot be written: {error.strerror or error}. Name another folder."
        ) from None


def who_was_examined(folder: Path, request: Request) -> Request:
    """Fill what the user did not say with what was kept beside the recording. Raises WorkError."""
    patient, visit = folder / _PATIENT_NAME, folder / _VISIT_NAME
    if request.patient is None and patient.exists():
        request = dataclasses.replace(request, patient=patient)
    if not visit.exists():
        return request
    try:
        kept = Visit.model_validate_json(visit.read_text(encoding="utf-8"))
    except (OSError, ValueError, ValidationError):
        raise WorkError(
            f"{visit} cannot be read. Give --visit and --date, and take that file away."
        ) from None
    day = kept.on.isoformat() if kept.on is not None else None
    return dataclasses.replace(request, kind=request.kind or kept.kind, day=request.day or day)


def pack_sound(folder: Path) -> None:
    """Compress a recording without loss and say where it is; where that fails it stays as it is, and that is said."""
    try:
        lock = hold(folder)
        try:
            digest = pack(folder)
        finally:
            lock.release()
    except (CaptureError, OSError) as error:
        remark(str(error))
        return
    remark(f"Recorded in {folder} (FLAC, SHA-256 {digest}).")
