"""Understanding: a transcript comes in, statements with their evidence go out. Opens no file and no socket."""

from pipeline.extraction.engine import explain, extract
from pipeline.extraction.repair import repair, systems_in_view, trade_words
from pipeline.extraction.ways import Step, ways

__all__ = ["Step", "explain", "extract", "repair", "systems_in_view", "trade_words", "ways"]
