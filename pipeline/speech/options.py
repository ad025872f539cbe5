"""What can be set about recognition, and its error."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.speech.model import Frozen


class SpeechError(Exception):
    """Recognition cannot run; the message says why, and what to do."""


class SpeechOptions(Frozen):
    """How speech is recognised. Decoding is always at temperature 0: the same sound gives the same words.

    - `model`: whatever `models.locate_model` takes.
    - `device`: "auto" takes a GPU when CTranslate2 sees one.
    - `compute_type`: "auto" is int8 on the processor, float16 on a GPU; others by CTranslate2's names.
    - `beam_size`: how many readings are followed at once; 1 is fastest, and more than 2 gained nothing that could be measured.
    - `language`: a Whisper language code.
    - `cpu_threads`: 0 takes the cores of the machine, four at most.
    """

    model: str = "base"
    device: Literal["auto", "cpu", "cuda"] = "auto"
    compute_type: str = "auto"
    beam_size: int = Field(default=2, ge=1, le=20)
    language: str = Field(default="en", pattern=r"^[a-z]{2,3}$")
    cpu_threads: int = Field(default=0, ge=0)
