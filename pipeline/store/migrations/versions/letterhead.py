"""What a practice puts at the head of its documents."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the lines of the letterhead; a practice that was there before has none yet."""
    for name in ("address", "phone", "email", "registration"):
        op.add_column("practice", sa.Column(name, sa.Text))
