"""Understanding: a transcript comes in, statements with their evidence go out. Opens no file and no socket."""

from pipeline.extraction.engine import explain, extract
from pipeline.extraction.ways import Step, ways

__all__ = ["Step", "explain", "extract", "ways"]
