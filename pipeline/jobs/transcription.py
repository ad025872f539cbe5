"""Writes down a visit's recording and keeps what is understood of it as a draft."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from pipeline.capture import read_audio
from pipeline.exam import hear, make_recogniser, understand
from pipeline.jobs.model import Asked
from pipeline.jobs.work import Kind, Work
from pipeline.record import Visit
from pipeline.settings import Settings
from pipeline.speech import Recogniser, Transcript
from pipeline.store import keep_record, patient_of, recording_of, sound_of, visit_of
from pipeline.store.model import Identifier

_HEARING = "writing down what is said"


class Transcribe(Asked):
    """Write down this recording."""

    recording_id: Identifier


@lru_cache(maxsize=1)
def _recogniser(settings: Settings) -> Recogniser:
    """The speech model, loaded once for all jobs of a process."""
    return make_recogniser(settings)


def _transcribe(work: Work, asked: Transcribe) -> dict[str, Any]:
    recording = recording_of(work.database, work.actor, asked.recording_id)
    heard = work.step(_HEARING, _heard, work, asked)
    record_id = work.step("writing the record", _kept, work, asked, heard)
    return {
        "record": record_id,
        "visit": recording.visit_id,
        "seconds": round(recording.duration_s, 1),
        "words": sum(len(utterance["words"]) for utterance in heard["utterances"]),
    }


def _heard(work: Work, asked: Transcribe) -> dict[str, Any]:
    recording = recording_of(work.database, work.actor, asked.recording_id)
    visit = visit_of(work.database, work.actor, recording.visit_id)
    animal = patient_of(work.database, work.actor, visit.patient_id).patient
    sound = read_audio(sound_of(recording, work.recordings))
    transcript = hear(
        sound,
        _recogniser(work.settings),
        animal,
        Visit(kind=visit.kind, on=visit.on),
        lambda done_s, whole_s: work.tell(_HEARING, done_s / whole_s if whole_s else 1.0),
    )
    return transcript.model_dump(mode="json")


def _kept(work: Work, asked: Transcribe, heard: dict[str, Any]) -> str:
    recording = recording_of(work.database, work.actor, asked.recording_id)
    visit = visit_of(work.database, work.actor, recording.visit_id)
    animal = patient_of(work.database, work.actor, visit.patient_id).patient
    understood = understand(Transcript.model_validate(heard), animal, Visit(kind=visit.kind, on=visit.on))
    kept = keep_record(
        work.database,
        work.actor,
        visit.id,
        understood,
        work.at(),
        recording_id=recording.id,
        origin=work.origin(),
    )
    return kept.id


TRANSCRIBE = Kind("transcribe", Transcribe, _transcribe, queue="slow")
