"""The first tables. Written out, not taken from `tables.py`: a step stays as it was when the tables go on."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_APPEND_ONLY = ("record_version", "event")


def upgrade() -> None:
    """Make all tables, and the triggers that keep signed versions and the trail as they are."""
    op.create_table(
        "practice",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("trail_seq", sa.Integer, nullable=False),
        sa.Column("trail_sha256", sa.String(64), nullable=False),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("practice_id", sa.String(32), sa.ForeignKey("practice.id"), nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("active", sa.Boolean, nullable=False),
        sa.CheckConstraint("role IN ('vet', 'nurse', 'manager')", name="person_role"),
    )
    op.create_table(
        "client",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("practice_id", sa.String(32), sa.ForeignKey("practice.id"), nullable=False),
        sa.Column("name", sa.Text),
        sa.Column("phone", sa.Text),
        sa.Column("email", sa.Text),
        sa.Column("address", sa.Text),
        sa.Column("erased_at", sa.String(27)),
    )
    op.create_table(
        "patient",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("practice_id", sa.String(32), sa.ForeignKey("practice.id"), nullable=False),
        sa.Column("client_id", sa.String(32), sa.ForeignKey("client.id")),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("species", sa.Text, nullable=False),
        sa.Column("breed", sa.Text),
        sa.Column("sex", sa.String(6)),
        sa.Column("neutered", sa.Boolean),
        sa.Column("birth_date", sa.Date),
        sa.Column("weight_kg", sa.Float),
        sa.Column("microchip", sa.Text),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.UniqueConstraint("practice_id", "microchip", name="patient_microchip"),
    )
    op.create_index("patient_client", "patient", ["client_id"])
    op.create_table(
        "visit",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("practice_id", sa.String(32), sa.ForeignKey("practice.id"), nullable=False),
        sa.Column("patient_id", sa.String(32), sa.ForeignKey("patient.id"), nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("on_day", sa.Date, nullable=False),
    )
    op.create_index("visit_patient", "visit", ["patient_id", "on_day"])
    op.create_table(
        "recording",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("visit_id", sa.String(32), sa.ForeignKey("visit.id"), nullable=False),
        sa.Column("path", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("duration_s", sa.Float, nullable=False),
    )
    op.create_index("recording_visit", "recording", ["visit_id"])
    op.create_table(
        "record",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("practice_id", sa.String(32), sa.ForeignKey("practice.id"), nullable=False),
        sa.Column("visit_id", sa.String(32), sa.ForeignKey("visit.id"), nullable=False),
        sa.Column("state", sa.String(8), nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("review", sa.LargeBinary),
        sa.CheckConstraint("state IN ('draft', 'signed', 'filed')", name="record_state"),
        sa.CheckConstraint("(state = 'draft') = (review IS NOT NULL)", name="record_draft"),
    )
    op.create_index("record_visit", "record", ["visit_id"])
    op.create_index("record_state_of_practice", "record", ["practice_id", "state"])
    op.create_table(
        "record_version",
        sa.Column("record_id", sa.String(32), sa.ForeignKey("record.id"), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
        sa.Column("review", sa.LargeBinary, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("signed_by", sa.String(32), sa.ForeignKey("person.id"), nullable=False),
        sa.Column("signed_name", sa.Text, nullable=False),
        sa.Column("signed_at", sa.String(27), nullable=False),
        sa.Column("reason", sa.Text),
        sa.PrimaryKeyConstraint("record_id", "version"),
    )
    op.create_table(
        "document",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("record_id", sa.String(32), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("path", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.ForeignKeyConstraint(
            ["record_id", "version"], ["record_version.record_id", "record_version.version"]
        ),
    )
    op.create_index("document_record", "document", ["record_id", "version"])
    op.create_table(
        "measured",
        sa.Column("record_id", sa.String(32), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("patient_id", sa.String(32), sa.ForeignKey("patient.id"), nullable=False),
        sa.Column("on_day", sa.Date, nullable=False),
        sa.Column("kind", sa.String(32), nullable=False),
        sa.Column("value", sa.Float, nullable=False),
        sa.Column("unit", sa.String(8)),
        sa.Column("out_of", sa.Float),
        sa.PrimaryKeyConstraint("record_id", "version", "number"),
        sa.ForeignKeyConstraint(
            ["record_id", "version"], ["record_version.record_id", "record_version.version"]
        ),
    )
    op.create_index("measured_patient", "measured", ["patient_id", "kind", "on_day"])
    op.create_table(
        "findable",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("practice_id", sa.String(32), sa.ForeignKey("practice.id"), nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("subject", sa.String(32), nullable=False, unique=True),
        sa.Column("words", sa.Text, nullable=False),
        sa.CheckConstraint("kind IN ('client', 'patient', 'record')", name="findable_kind"),
    )
    op.create_table(
        "event",
        sa.Column("practice_id", sa.String(32), sa.ForeignKey("practice.id"), nullable=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("at", sa.String(27), nullable=False),
        sa.Column("person_id", sa.String(32), nullable=False),
        sa.Column("action", sa.String(32), nullable=False),
        sa.Column("subject", sa.String(32), nullable=False),
        sa.Column("detail", sa.Text, nullable=False),
        sa.Column("previous", sa.String(64), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("practice_id", "seq"),
    )
    op.create_index("event_subject", "event", ["subject"])
    if op.get_bind().dialect.name == "sqlite":
        _index_words_on_sqlite()
        _refuse_changes_on_sqlite()
    else:
        _index_words_on_postgresql()
        _refuse_changes_on_postgresql()


def _index_words_on_sqlite() -> None:
    """A full-text index that holds no copy of the words, kept in step by triggers."""
    op.execute(
        "CREATE VIRTUAL TABLE findable_words USING fts5(words, content='findable', content_rowid='number',"
        " tokenize='unicode61', prefix='2 3 4')"
    )
    remove = (
        "INSERT INTO findable_words(findable_words, rowid, words) VALUES ('delete', old.number, old.words);"
    )
    add = "INSERT INTO findable_words(rowid, words) VALUES (new.number, new.words);"
    for change, steps in (("INSERT", add), ("DELETE", remove), ("UPDATE", remove + add)):
        op.execute(f"CREATE TRIGGER findable_{change.lower()} AFTER {change} ON findable BEGIN {steps} END")


def _index_words_on_postgresql() -> None:
    op.execute("CREATE INDEX findable_words ON findable USING gin (to_tsvector('simple'::regconfig, words))")


def _refuse_changes_on_sqlite() -> None:
    for table in _APPEND_ONLY:
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON {table}"
                f" BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )


def _refuse_changes_on_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS"
        " $$ BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
    )
    for table in _APPEND_ONLY:
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table}"
            " FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
