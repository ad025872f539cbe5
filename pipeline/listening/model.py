"""What live listening tells: words while they are spoken, what was said, and how far behind it is."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.speech import Transcript


@dataclass(frozen=True)
class Speaking:
    """The words so far of an utterance that goes on; the next of these, or `Said`, takes its place.

    `start_s` is where the utterance starts, in seconds of the recording.
    """

    text: str
    start_s: float


@dataclass(frozen=True)
class Said:
    """A stretch that is settled: its words, and what was heard in it and not believed.

    `start_s` and `until_s` bound it in the recording, and all before `until_s` is settled; the times in
    `transcript` are those of the recording. `waited_s` is how long after the last sound of the stretch the
    words were there; null when they were read back from a recording.
    """

    start_s: float
    until_s: float
    transcript: Transcript
    waited_s: float | None = None


@dataclass(frozen=True)
class Load:
    """How far behind the recogniser is: utterances that wait, and the seconds of sound in them."""

    utterances: int
    sound_s: float
