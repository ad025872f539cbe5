"""What is done about words that were probably misheard, by whoever knows what words mean."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from pipeline.speech.model import Transcript


class Doubts(Protocol):
    """A stretch of speech, which is small (one window of a file, one utterance of a dictation), and how else it may be read."""

    @property
    def texts(self) -> Sequence[str]:
        """The text as it was heard, and behind it the other ways to read it; none where nothing is doubtful."""

    @property
    def terms(self) -> Sequence[str]:
        """Words to have in mind while the texts are weighed."""

    def mended(self, weights: Sequence[float]) -> Transcript:
        """Give the words to keep, by the weights of the texts (`Decoder.weigh`); none where there was no time for that."""


Mending = Callable[[Transcript, str], Doubts]
"""Takes what was heard and the text before it."""
