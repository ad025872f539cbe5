"""Speech to words: a recording becomes a transcript, every word with its time and the recogniser's doubt.

In goes a `Recording`; out comes a `Transcript`. This stage runs offline, gives the same words for the same
sound, leaves out what the model invents over silence and noise (and shows it in `Transcript.dropped`), and
knows nothing of what the words mean.
"""

from pipeline.speech.decoder import Decoder
from pipeline.speech.heard import Heard, HeardWord
from pipeline.speech.mending import Doubts, Mending
from pipeline.speech.model import Dropped, Transcript, Utterance, Word
from pipeline.speech.options import SpeechError, SpeechOptions
from pipeline.speech.plain import plain_text
from pipeline.speech.recogniser import Recogniser, SpeechProgress, TermChoice

__all__ = [
    "Decoder",
    "Doubts",
    "Dropped",
    "Heard",
    "HeardWord",
    "Mending",
    "Recogniser",
    "SpeechError",
    "SpeechOptions",
    "SpeechProgress",
    "TermChoice",
    "Transcript",
    "Utterance",
    "Word",
    "plain_text",
]
