"""What is done about words that were probably misheard, by whoever knows what words mean."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pipeline.speech.model import Transcript


def _no_doubts(_heard: Transcript, _before: str) -> Sequence[str]:
    return ()


def _as_heard(heard: Transcript, _again: str, _before: str) -> Transcript:
    return heard


@dataclass(frozen=True)
class Mending:
    """How a stretch of speech is mended, which is small: one window of a file, one utterance of a dictation.

    `doubts` takes what was heard and the text before it, and gives the words to listen for in a second hearing of the
    same sound; none when there is no doubt. `mended` takes what was heard, the text of that second hearing (empty
    without one) and the text before, and gives the words to keep.
    """

    doubts: Callable[[Transcript, str], Sequence[str]] = _no_doubts
    mended: Callable[[Transcript, str, str], Transcript] = _as_heard
