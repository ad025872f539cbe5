"""What the recogniser hands on: words with times and probabilities, in utterances, in one transcript."""

from __future__ import annotations

from functools import cached_property
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Probability = Annotated[float, Field(ge=0.0, le=1.0)]
Seconds = Annotated[float, Field(ge=0.0)]


class Frozen(BaseModel):
    """Base of every value that passes between stages: immutable, and strict about unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Word(Frozen):
    """One recognised word, punctuation attached as the recogniser wrote it.

    `start_char`/`end_char` place it in `Transcript.text`; times are seconds from the start of the recording,
    null when the text was typed; `probability` is the recogniser's own (0 to 1), 1.0 for typed text. Where a
    misheard word was repaired, `heard` is what the recogniser had written.
    """

    text: str
    start_char: int = Field(ge=0)
    end_char: int = Field(ge=0)
    start_s: Seconds | None = None
    end_s: Seconds | None = None
    probability: Probability = 1.0
    heard: str | None = None


class Utterance(Frozen):
    """A stretch of speech between pauses; `start_char`/`end_char` place it in `Transcript.text`."""

    start_char: int = Field(ge=0)
    end_char: int = Field(ge=0)
    start_s: Seconds | None = None
    end_s: Seconds | None = None
    words: tuple[Word, ...] = ()


class Dropped(Frozen):
    """A stretch that the recogniser put words to and that was left out of the text, with the reason.

    Whisper models invent sentences in silence and noise; what is dropped stays visible here.
    """

    text: str
    start_s: Seconds
    end_s: Seconds
    reason: str


class Transcript(Frozen):
    """The whole of what was said. `text` is what every evidence offset in a record refers to."""

    text: str
    utterances: tuple[Utterance, ...] = ()
    language: str = "en"
    model: str | None = Field(default=None, description="Speech model, null for typed text.")
    duration_s: Seconds | None = Field(default=None, description="Length of the recording in seconds.")
    dropped: tuple[Dropped, ...] = ()

    @cached_property
    def words(self) -> tuple[Word, ...]:
        """All words of all utterances, in order."""
        return tuple(word for utterance in self.utterances for word in utterance.words)

    @classmethod
    def from_text(cls, text: str) -> Transcript:
        """Wrap typed text as it came: no times, no words, offsets untouched."""
        end = len(text)
        return cls(text=text, utterances=(Utterance(start_char=0, end_char=end),) if text.strip() else ())
