"""The sound of a record: which recording it is, its outline for the eye, and its words with their times."""

from __future__ import annotations

import functools
from pathlib import Path

import numpy as np

from pipeline.capture import SAMPLE_RATE_HZ, read_audio
from pipeline.desk.desk import Desk
from pipeline.speech import Transcript
from pipeline.store import Actor, KeptRecording, NotFoundError, recordings_of, sound_of

_OUTLINE = 1200
"""Points of an outline: more than a screen shows."""

_MEDIA_TYPES = {".flac": "audio/flac", ".ogg": "audio/ogg", ".opus": "audio/ogg", ".wav": "audio/wav"}


def recording_for(desk: Desk, actor: Actor, visit_id: str, transcript: Transcript) -> KeptRecording | None:
    """The recording that a record's words came from: of the visit's the one of the transcript's length. Null when none is kept."""
    length = transcript.duration_s
    if length is None:
        return None
    kept = recordings_of(desk.database, actor, visit_id)
    return min(kept, key=lambda one: abs(one.duration_s - length), default=None)


def file_for(desk: Desk, kept: KeptRecording) -> tuple[Path, str]:
    """The file of a recording and its media type. Raises pipeline.store.StoreError when it is missing or altered."""
    file = sound_of(kept, desk.options.recordings)
    return file, _MEDIA_TYPES.get(file.suffix, "application/octet-stream")


def outline(desk: Desk, kept: KeptRecording) -> tuple[int, ...]:
    """The loudest sample of each of up to 1,200 equal stretches, 0 to 1000. Raises what reading raises."""
    file, _ = file_for(desk, kept)
    return _outline(file)


def words_with_times(transcript: Transcript) -> list[tuple[str, float, float]]:
    """Words as they were heard, each with its beginning and end in seconds."""
    return [
        (word.text, word.start_s, word.end_s)
        for word in transcript.words
        if word.start_s is not None and word.end_s is not None
    ]


@functools.lru_cache(maxsize=64)
def _outline(file: Path) -> tuple[int, ...]:
    """Kept under the file's name, which is its checksum."""
    samples = np.abs(read_audio(file).pcm.astype(np.int32))
    if not samples.size:
        raise NotFoundError("The recording holds no sound.")
    step = max(1, -(-samples.size // _OUTLINE), SAMPLE_RATE_HZ // 100)
    loudest = [float(samples[at : at + step].max()) for at in range(0, samples.size, step)]
    top = max(loudest) or 1.0
    return tuple(round(1000 * one / top) for one in loudest)
