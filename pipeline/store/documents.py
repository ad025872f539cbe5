"""Documents that were made of signed versions: their files lie where recordings do, what is known of them in the database."""

from __future__ import annotations

import secrets
from datetime import datetime
from pathlib import Path

from sqlalchemy import insert, select

from pipeline.store.database import Database
from pipeline.store.errors import NotFoundError
from pipeline.store.model import Actor, KeptPaper
from pipeline.store.recordings import SoundUnreachableError, keep_sound
from pipeline.store.stamps import new_id
from pipeline.store.tables import document, record, record_version
from pipeline.store.trail import change


def keep_document(
    database: Database,
    actor: Actor,
    record_id: str,
    version: int,
    kind: str,
    content: bytes,
    folder: Path,
    at: datetime,
) -> KeptPaper:
    """Keep a PDF that was made of a signed version; `folder` is that of recordings. The same bytes twice are one document.

    Raises NotFoundError, SoundError.
    """
    path, sha256 = _put(content, folder)
    paper = KeptPaper(id=new_id(), record_id=record_id, version=version, kind=kind, path=path, sha256=sha256)
    with change(database, actor, at) as made:
        signed = made.connection.execute(
            select(record_version.c.version)
            .select_from(record_version.join(record, record.c.id == record_version.c.record_id))
            .where(
                record_version.c.record_id == record_id,
                record_version.c.version == version,
                record.c.practice_id == actor.practice_id,
            )
        ).one_or_none()
        if signed is None:
            raise NotFoundError("There is no such signed version in this practice.")
        before = made.connection.execute(
            select(document).where(
                document.c.record_id == record_id,
                document.c.version == version,
                document.c.kind == kind,
                document.c.sha256 == sha256,
            )
        ).first()
        if before is not None:
            return KeptPaper.model_validate(dict(before._mapping))
        made.connection.execute(insert(document).values(**paper.model_dump()))
        made.note("keep_document", record_id, version=version, kind=kind, sha256=sha256)
    return paper


def documents_of(database: Database, actor: Actor, record_id: str) -> tuple[KeptPaper, ...]:
    """The documents of a record, the first of them first."""
    with database.reading() as connection:
        rows = connection.execute(
            select(document)
            .select_from(document.join(record, record.c.id == document.c.record_id))
            .where(document.c.record_id == record_id, record.c.practice_id == actor.practice_id)
            .order_by(document.c.id)
        ).all()
    return tuple(KeptPaper.model_validate(dict(row._mapping)) for row in rows)


def _put(content: bytes, folder: Path) -> tuple[str, str]:
    """Keep bytes as files are kept: by way of a file of its own, so that only whole ones get their name."""
    made = folder / f".{secrets.token_hex(8)}.pdf"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        made.write_bytes(content)
        return keep_sound(made, folder)
    except OSError as error:
        raise SoundUnreachableError(
            f"Documents cannot be kept in {folder}: {error.strerror or error}. Is that folder reachable?"
        ) from error
    finally:
        made.unlink(missing_ok=True)
