"""Keeps, on PostgreSQL, the words of what is searched in the form that the search compares.

A word that most records have is found by going back from the newest one; making that form anew of each row on the way took longer
than all the rest. Owners and patients get an index of their own, so that their few words are not looked for among those of all
records. SQLite's index of words needs nothing of the kind.
"""

from __future__ import annotations

from alembic import op

revision = "word_vectors"
down_revision = "background_work"


def upgrade() -> None:
    """Add a column that the server fills itself, and move the index onto it."""
    if op.get_bind().dialect.name == "sqlite":
        return
    op.execute(
        "ALTER TABLE findable ADD COLUMN findable_words_vector tsvector"
        " GENERATED ALWAYS AS (to_tsvector('simple'::regconfig, words)) STORED"
    )
    op.execute("DROP INDEX findable_words")
    op.execute("CREATE INDEX findable_words ON findable USING gin (findable_words_vector)")
    op.execute(
        "CREATE INDEX findable_words_people ON findable USING gin (findable_words_vector) WHERE kind <> 'record'"
    )
