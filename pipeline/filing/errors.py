"""What can go wrong while filing, in words for the person who asked."""

from __future__ import annotations


class FilingError(Exception):
    """A document or file could not be made; the message says what happened, to what, and what to do."""


class AwayError(FilingError):
    """It could not be handed over for a reason that may pass. `after_s` is when the other side asked to be tried again."""

    def __init__(self, reason: str, after_s: float | None = None) -> None:
        super().__init__(reason)
        self.after_s = after_s
