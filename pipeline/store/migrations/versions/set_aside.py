"""Since when a draft is set aside that nobody wants to sign."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "set_aside"
down_revision = "word_vectors"


def upgrade() -> None:
    """Add the time; no draft that was there before is set aside."""
    op.add_column("record", sa.Column("set_aside_at", sa.String(27)))
