"""Other hands: whoever can use the database's own tools, past the program."""

from __future__ import annotations

from sqlalchemy import create_engine, text

from pipeline.store import Database
from pipeline.store.tables import APPEND_ONLY


def as_intruder(database: Database, statement: object) -> None:
    """Write past the program, its triggers and references."""
    engine = create_engine(database.engine.url)
    with engine.begin() as connection:
        if database.is_sqlite:
            for table in APPEND_ONLY:
                for change in ("update", "delete"):
                    connection.execute(text(f"DROP TRIGGER IF EXISTS {table}_no_{change}"))
        else:
            connection.execute(text("SET LOCAL session_replication_role = replica"))
        connection.execute(statement)  # type: ignore[call-overload]
    engine.dispose()
