"""Background work: recordings given once, records that jobs made once, signs of life of workers, notes on jobs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "background_work"
down_revision = "retention"


def upgrade() -> None:
    """Add what makes work done twice have one effect, and two tables for the work itself."""
    op.drop_index("recording_visit", "recording")
    op.create_index("recording_once", "recording", ["visit_id", "sha256"], unique=True)
    # In words of SQL: a column with a reference of its own is added by both databases, and by Alembic not on SQLite.
    op.execute("ALTER TABLE record ADD COLUMN recording_id VARCHAR(32) REFERENCES recording (id)")
    op.add_column("record", sa.Column("origin", sa.String(80)))
    op.create_index("record_origin", "record", ["origin"], unique=True)
    op.create_table(
        "worker",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("place", sa.Text, nullable=False),
        sa.Column("beat", sa.Integer),
    )
    op.create_table(
        "job_note",
        sa.Column("job_id", sa.String(32), primary_key=True),
        sa.Column("attempt", sa.Integer, nullable=False),
        sa.Column("doing", sa.Text),
        sa.Column("share", sa.Float),
        sa.Column("reason", sa.Text),
        sa.Column("retry_at", sa.String(27)),
    )
    op.create_index("job_note_retry", "job_note", ["retry_at"])
