"""What the trade calls things: TOML tables and the one loader that checks them. No clinical word lives in code."""

from lexicon.loader import Entry, Lexicon, LexiconError, load_lexicon, normal_form
from lexicon.schema import SYSTEMS

__all__ = ["SYSTEMS", "Entry", "Lexicon", "LexiconError", "load_lexicon", "normal_form"]
