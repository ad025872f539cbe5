"""Live sound to words: what is said stands there while it is spoken, and settled shortly after each pause.

In goes sound as it is heard, from a `Source` of the capture stage or fed piece by piece; out come `Speaking` (the
words of an utterance that goes on), `Said` (a stretch that is settled) and, in the end, a `Transcript`. This stage
keeps recording whatever else fails, never falls behind by leaving out what was said, and knows nothing of what the
words mean.
"""

from pipeline.listening.listener import Listener
from pipeline.listening.model import Load, Said, Speaking
from pipeline.listening.saved import SavedWords, read_words
from pipeline.listening.session import Session

__all__ = ["Listener", "Load", "Said", "SavedWords", "Session", "Speaking", "read_words"]
