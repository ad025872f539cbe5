"""Understanding: a transcript comes in, statements with their evidence go out. Opens no file and no socket."""

from pipeline.extraction.engine import extract

__all__ = ["extract"]
