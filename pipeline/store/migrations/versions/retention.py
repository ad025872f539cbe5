"""For how many years a practice keeps its records."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "retention"
down_revision = "0003"


def upgrade() -> None:
    """Add the number of years; a practice that was there before has said nothing of it."""
    op.add_column("practice", sa.Column("retention_years", sa.Integer))
