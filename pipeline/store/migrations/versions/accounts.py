"""Who signs in at the desk, since when, with which tokens programs ask, and who guesses at passwords."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the tables of accounts, sign-ins, tokens and failed attempts; people who were there before have no account yet."""
    op.create_table(
        "account",
        sa.Column("person_id", sa.String(32), sa.ForeignKey("person.id"), primary_key=True),
        sa.Column("practice_id", sa.String(32), sa.ForeignKey("practice.id"), nullable=False),
        sa.Column("login", sa.Text, nullable=False, unique=True),
        sa.Column("password", sa.Text, nullable=False),
        sa.Column("changed_at", sa.String(27), nullable=False),
    )
    op.create_table(
        "sign_in",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("person_id", sa.String(32), sa.ForeignKey("person.id"), nullable=False),
        sa.Column("begun_at", sa.String(27), nullable=False),
        sa.Column("seen_at", sa.String(27), nullable=False),
        sa.Column("ends_at", sa.String(27), nullable=False),
        sa.Column("device", sa.Text, nullable=False),
    )
    op.create_index("sign_in_person", "sign_in", ["person_id"])
    op.create_table(
        "access_token",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("sha256", sa.String(64), nullable=False, unique=True),
        sa.Column("person_id", sa.String(32), sa.ForeignKey("person.id"), nullable=False),
        sa.Column("practice_id", sa.String(32), sa.ForeignKey("practice.id"), nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("scopes", sa.Text, nullable=False),
        sa.Column("made_at", sa.String(27), nullable=False),
        sa.Column("ends_at", sa.String(27), nullable=False),
        sa.Column("revoked_at", sa.String(27)),
    )
    op.create_table(
        "failed_attempt",
        sa.Column("key", sa.String(64), primary_key=True),
        sa.Column("count", sa.Integer, nullable=False),
        sa.Column("last_at", sa.String(27), nullable=False),
    )
