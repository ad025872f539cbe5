"""Understanding: a transcript comes in, statements with their evidence go out. Opens no file and no socket."""

from pipeline.extraction.engine import explain, extract
from pipeline.extraction.reading import SpokenToken, spoken_tokens
from pipeline.extraction.repair import repair, systems_in_view, trade_words
from pipeline.extraction.ways import Step, ways
from pipeline.extraction.weighing import Doubts

__all__ = [
    "Doubts",
    "SpokenToken",
    "Step",
    "explain",
    "extract",
    "repair",
    "spoken_tokens",
    "systems_in_view",
    "trade_words",
    "ways",
]
