"""The tables, as the newest migration leaves them: SQLAlchemy builds statements from these, and only migrations build tables.

Times are text, UTC, in one form of fixed width (`stamps.now`), so that they sort, compare and hash the same on every database.
"""

from __future__ import annotations

import zlib

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

metadata = MetaData()

DAMAGED = ""
"""What a packed text reads as when its bytes are damaged: no JSON, and no checksum's."""


class Packed(TypeDecorator[str]):
    """A long text kept compressed (zlib, RFC 1950): a record with all words and times takes a tenth of its length."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: object) -> bytes | None:
        """Compress."""
        return None if value is None else pack(value)

    def process_result_value(self, value: bytes | None, dialect: object) -> str | None:
        """Decompress."""
        return None if value is None else unpack(value)


def pack(text: str) -> bytes:
    """The bytes that a text is kept as."""
    return zlib.compress(text.encode())


def unpack(data: object) -> str:
    """The text of packed bytes; DAMAGED unless they are one whole packed text and nothing else."""
    reader = zlib.decompressobj()
    try:
        text = reader.decompress(data) if isinstance(data, bytes) else b""
        return text.decode() if reader.eof and not reader.unused_data else DAMAGED
    except (zlib.error, UnicodeDecodeError):
        return DAMAGED


practice = Table(
    "practice",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("name", Text, nullable=False),
    # The trail's last event: it tells when events are cut off at the end, and its row is the lock of every writer.
    Column("trail_seq", Integer, nullable=False),
    Column("trail_sha256", String(64), nullable=False),
    # The lines of the letterhead.
    Column("address", Text),
    Column("phone", Text),
    Column("email", Text),
    Column("registration", Text),
    # For how many years records are kept at the least; local rules decide.
    Column("retention_years", Integer),
)

person = Table(
    "person",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("practice_id", String(32), ForeignKey("practice.id"), nullable=False),
    Column("name", Text, nullable=False),
    Column("role", String(16), nullable=False),
    Column("active", Boolean, nullable=False),
    CheckConstraint("role IN ('vet', 'nurse', 'manager')", name="person_role"),
)

client = Table(
    "client",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("practice_id", String(32), ForeignKey("practice.id"), nullable=False),
    Column("name", Text),
    Column("phone", Text),
    Column("email", Text),
    Column("address", Text),
    Column("erased_at", String(27)),
)

patient = Table(
    "patient",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("practice_id", String(32), ForeignKey("practice.id"), nullable=False),
    Column("client_id", String(32), ForeignKey("client.id")),
    Column("name", Text, nullable=False),
    Column("species", Text, nullable=False),
    Column("breed", Text),
    Column("sex", String(6)),
    Column("neutered", Boolean),
    Column("birth_date", Date),
    Column("weight_kg", Float),
    Column("microchip", Text),
    Column("revision", Integer, nullable=False),
    Index("patient_client", "client_id"),
    UniqueConstraint("practice_id", "microchip", name="patient_microchip"),
)

visit = Table(
    "visit",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("practice_id", String(32), ForeignKey("practice.id"), nullable=False),
    Column("patient_id", String(32), ForeignKey("patient.id"), nullable=False),
    Column("kind", String(32), nullable=False),
    Column("on_day", Date, nullable=False),
    Index("visit_patient", "patient_id", "on_day"),
)

recording = Table(
    "recording",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("visit_id", String(32), ForeignKey("visit.id"), nullable=False),
    Column("path", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("duration_s", Float, nullable=False),
    # The same sound given twice is one recording of its visit; finds a visit's recordings, too.
    Index("recording_once", "visit_id", "sha256", unique=True),
)

record = Table(
    "record",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("practice_id", String(32), ForeignKey("practice.id"), nullable=False),
    Column("visit_id", String(32), ForeignKey("visit.id"), nullable=False),
    Column("state", String(8), nullable=False),
    # Counts changes of the draft and of the state: who writes must have read the last one.
    Column("revision", Integer, nullable=False),
    Column("version", Integer, nullable=False),
    Column("review", Packed),
    Column("recording_id", String(32), ForeignKey("recording.id")),
    # What a job made it of, so that work done twice makes one record; null for what a person kept.
    Column("origin", String(80)),
    # Since when a draft that nobody wants is out of the way; null while it waits, and of what was signed.
    Column("set_aside_at", String(27)),
    CheckConstraint("state IN ('draft', 'signed', 'filed')", name="record_state"),
    CheckConstraint("(state = 'draft') = (review IS NOT NULL)", name="record_draft"),
    Index("record_visit", "visit_id"),
    Index("record_state_of_practice", "practice_id", "state"),
    Index("record_origin", "origin", unique=True),
)

record_version = Table(
    "record_version",
    metadata,
    Column("record_id", String(32), ForeignKey("record.id"), nullable=False),
    Column("version", Integer, nullable=False),
    Column("body", Packed, nullable=False),
    Column("review", Packed, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("signed_by", String(32), ForeignKey("person.id"), nullable=False),
    Column("signed_name", Text, nullable=False),
    Column("signed_at", String(27), nullable=False),
    Column("reason", Text),
    PrimaryKeyConstraint("record_id", "version"),
)

document = Table(
    "document",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("record_id", String(32), nullable=False),
    Column("version", Integer, nullable=False),
    Column("kind", String(32), nullable=False),
    Column("path", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    ForeignKeyConstraint(["record_id", "version"], ["record_version.record_id", "record_version.version"]),
    Index("document_record", "record_id", "version"),
)

# Two tables that repeat, in a form that is quick to ask, what signed versions and the rows above say.
measured = Table(
    "measured",
    metadata,
    Column("record_id", String(32), nullable=False),
    Column("version", Integer, nullable=False),
    Column("number", Integer, nullable=False),
    Column("patient_id", String(32), ForeignKey("patient.id"), nullable=False),
    Column("on_day", Date, nullable=False),
    Column("kind", String(32), nullable=False),
    Column("value", Float, nullable=False),
    Column("unit", String(8)),
    Column("out_of", Float),
    PrimaryKeyConstraint("record_id", "version", "number"),
    ForeignKeyConstraint(["record_id", "version"], ["record_version.record_id", "record_version.version"]),
    Index("measured_patient", "patient_id", "kind", "on_day"),
)

findable = Table(
    "findable",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("practice_id", String(32), ForeignKey("practice.id"), nullable=False),
    Column("kind", String(8), nullable=False),
    Column("subject", String(32), nullable=False, unique=True),
    Column("words", Text, nullable=False),
    CheckConstraint("kind IN ('client', 'patient', 'record')", name="findable_kind"),
)

# Signs of life of processes that do background work, and how far a job is: of no worth once the work is done.
worker = Table(
    "worker",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("place", Text, nullable=False),
    # Counts up while the process lives; null once it has ended in order.
    Column("beat", Integer),
)

job_note = Table(
    "job_note",
    metadata,
    Column("job_id", String(32), primary_key=True),
    Column("attempt", Integer, nullable=False),
    Column("doing", Text),
    Column("share", Float),
    Column("reason", Text),
    Column("retry_at", String(27)),
    Index("job_note_retry", "retry_at"),
)

event = Table(
    "event",
    metadata,
    Column("practice_id", String(32), ForeignKey("practice.id"), nullable=False),
    Column("seq", Integer, nullable=False),
    Column("at", String(27), nullable=False),
    Column("person_id", String(32), nullable=False),
    Column("action", String(32), nullable=False),
    Column("subject", String(32), nullable=False),
    Column("detail", Text, nullable=False),
    Column("previous", String(64), nullable=False),
    Column("sha256", String(64), nullable=False),
    PrimaryKeyConstraint("practice_id", "seq"),
    Index("event_subject", "subject"),
)

# Who signs in at the desk. Only checksums are kept of what a browser or a program shows to be let in.
account = Table(
    "account",
    metadata,
    Column("person_id", String(32), ForeignKey("person.id"), primary_key=True),
    Column("practice_id", String(32), ForeignKey("practice.id"), nullable=False),
    Column("login", Text, nullable=False, unique=True),
    Column("password", Text, nullable=False),
    Column("changed_at", String(27), nullable=False),
)

sign_in = Table(
    "sign_in",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("person_id", String(32), ForeignKey("person.id"), nullable=False),
    Column("begun_at", String(27), nullable=False),
    Column("seen_at", String(27), nullable=False),
    Column("ends_at", String(27), nullable=False),
    Column("device", Text, nullable=False),
    Index("sign_in_person", "person_id"),
)

access_token = Table(
    "access_token",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("sha256", String(64), nullable=False, unique=True),
    Column("person_id", String(32), ForeignKey("person.id"), nullable=False),
    Column("practice_id", String(32), ForeignKey("practice.id"), nullable=False),
    Column("name", Text, nullable=False),
    Column("scopes", Text, nullable=False),
    Column("made_at", String(27), nullable=False),
    Column("ends_at", String(27), nullable=False),
    Column("revoked_at", String(27)),
)

failed_attempt = Table(
    "failed_attempt",
    metadata,
    Column("key", String(64), primary_key=True),
    Column("count", Integer, nullable=False),
    Column("last_at", String(27), nullable=False),
)

APPEND_ONLY = ("record_version", "event")
"""Tables whose rows no statement may change or remove: triggers of both databases refuse it."""
