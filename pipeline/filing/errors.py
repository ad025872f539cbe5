"""What can go wrong while filing, in words for the person who asked."""

from __future__ import annotations


class FilingError(Exception):
    """A document or file could not be made; the message says what happened, to what, and what to do."""
