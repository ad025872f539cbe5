"""A transcript for people to read."""

from __future__ import annotations

from pipeline.speech.model import Transcript


def plain_text(transcript: Transcript) -> str:
    """Give one line for each utterance, with the time it starts, such as `[0:03.2] Temperature is 38.6.`.

    Typed text has no times and comes as it is. Ends with a line break unless there is no text.
    """
    lines = []
    for utterance in transcript.utterances:
        said = transcript.text[utterance.start_char : utterance.end_char]
        lines.append(said if utterance.start_s is None else f"[{_clock(utterance.start_s)}] {said}")
    return "".join(f"{line}\n" for line in lines)


def _clock(seconds: float) -> str:
    tenths = round(seconds * 10)
    minutes, tenths = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    rest = f"{tenths // 10:02d}.{tenths % 10}"
    return f"{hours}:{minutes:02d}:{rest}" if hours else f"{minutes}:{rest}"
