"""What the tests of several stages share: the speech models, joined once and loaded once."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.speech import Recogniser, SpeechOptions

SAMPLES = Path(__file__).parents[1] / "audio_samples"


@pytest.fixture(scope="session")
def tiny_recogniser() -> Recogniser:
    """Load the small model: quick, and mishears more."""
    return Recogniser(SpeechOptions(model="tiny.en", device="cpu"))


@pytest.fixture(scope="session")
def base_recogniser() -> Recogniser:
    """Load the model that Rostral uses unless told otherwise."""
    return Recogniser(SpeechOptions(model="base", device="cpu"))


@pytest.fixture(scope="session")
def samples() -> Path:
    """Give the folder of spoken sample dictations."""
    return SAMPLES
