"""Every released shape of the tables, with data in it, is brought up to the newest, on both databases."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from kept import OWNER_WORDS, START, new_practice, owned_record
from sqlalchemy import Engine, MetaData, create_engine, event, select

from pipeline.store import (
    Actor,
    Database,
    audit,
    client_of,
    patient_of,
    practice_of,
    record_line,
    search,
    signed_version,
    visits_of,
)
from pipeline.store.database import url_of
from pipeline.store.tables import findable, measured

CONFIG = Config()
CONFIG.set_main_option("script_location", str(resources.files("pipeline.store") / "migrations"))
STEPS = [revision.revision for revision in ScriptDirectory.from_config(CONFIG).walk_revisions()][::-1]


def _engine(address: str | Path) -> Engine:
    if isinstance(address, Path):
        address.parent.mkdir(parents=True, exist_ok=True)
    engine = create_engine(url_of(address))
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", lambda connection, _: setattr(connection, "isolation_level", None))
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN"))
    return engine


def _made_by_an_older_program(address: str | Path, step: str, source: Database) -> None:
    """Tables as they were after a step, filled with what a database of today has in their columns."""
    engine = _engine(address)
    with engine.begin() as connection:
        config = Config()
        config.set_main_option("script_location", CONFIG.get_main_option("script_location") or "")
        config.attributes["connection"] = connection
        command.upgrade(config, step)
    then, now = MetaData(), MetaData()
    then.reflect(engine)
    now.reflect(source.engine)
    with engine.begin() as connection, source.reading() as reading:
        for table in then.sorted_tables:
            if table.name == "alembic_version" or table.name.startswith("findable_words"):
                continue
            # What the database makes itself is left to it.
            made = (("findable", "number"), ("findable", "findable_words_vector"))
            given = [column.name for column in table.columns if (table.name, column.name) not in made]
            columns = [now.tables[table.name].c[name] for name in given]
            rows = [dict(row) for row in reading.execute(select(*columns)).mappings()]
            if rows:
                connection.execute(table.insert(), rows)
    engine.dispose()


@pytest.mark.parametrize("step", STEPS)
def test_what_an_older_program_kept_is_there_after_the_newer_opens_it(
    address: str | Path, tmp_path: Path, step: str
) -> None:
    source = Database(tmp_path / "source.sqlite")
    practice = new_practice(source)
    client_id, patient_id, record_id = owned_record(practice)
    signed = signed_version(source, practice.vet, record_id, 1, START)
    _made_by_an_older_program(address, step, source)

    opened = Database(address)
    vet: Actor = practice.vet
    assert audit(opened) == ()
    assert practice_of(opened, vet).name == "Alder Lane Surgery"
    assert client_of(opened, vet, client_id) == client_of(source, vet, client_id)
    assert patient_of(opened, vet, patient_id) == patient_of(source, vet, patient_id)
    assert visits_of(opened, vet, patient_id) == visits_of(source, vet, patient_id)
    assert record_line(opened, vet, record_id) == record_line(source, vet, record_id)
    assert signed_version(opened, vet, record_id, 1, START) == signed
    assert {hit.id for hit in search(opened, vet, OWNER_WORDS)} == {client_id}
    assert {hit.id for hit in search(opened, vet, "ear red")} == {record_id}
    with opened.reading() as new, source.reading() as old:
        for table in (findable, measured):
            assert len(new.execute(select(table)).all()) == len(old.execute(select(table)).all())
    # And it goes on from there.
    again = new_practice(opened, "Quarry Street Vets")
    again.signed()
    assert audit(opened) == ()
    opened.close()
    source.close()


def test_there_is_one_way_up() -> None:
    """One head, and every step follows on one other: two that were made side by side would leave databases apart."""
    script = ScriptDirectory.from_config(CONFIG)
    assert len(script.get_heads()) == 1
    assert [revision.down_revision for revision in script.walk_revisions()][-1] is None
    assert all(isinstance(one.down_revision, str | None) for one in script.walk_revisions())
