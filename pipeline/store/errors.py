"""What can go wrong with the kept data, in words for the person who asked."""

from __future__ import annotations


class StoreError(Exception):
    """The work could not be done; the message says what happened, to what, and what to do."""


class DatabaseError(StoreError):
    """The database cannot be used: not there, of a newer program, damaged, full, or not a database."""


class NotFoundError(StoreError):
    """There is no such thing in this practice."""


class NotAllowedError(StoreError):
    """This person may not do this, or the state of the thing does not allow it."""


class EntryError(StoreError):
    """A field was given a value it cannot have."""


class ConflictError(StoreError):
    """Somebody else changed the thing meanwhile: read it again. What was to be written is in the caller's hands, unharmed."""
