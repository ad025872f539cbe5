"""Runs migrations inside the transaction of the caller: all of an upgrade, or nothing."""

from __future__ import annotations

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
