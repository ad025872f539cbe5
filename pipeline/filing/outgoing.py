"""A record as it leaves the practice: what all exchange files are made from."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime

from pydantic import AwareDatetime, Field

from pipeline.filing.errors import FilingError
from pipeline.filing.letterhead import Letterhead
from pipeline.record import ExamRecord
from pipeline.speech.model import Frozen
from pipeline.store.model import Client, Identifier, SignedVersion

_ID_LENGTH = 32


class Signature(Frozen):
    """Who signed which version, when, and why the one before was amended."""

    version: int = Field(ge=1)
    sha256: str
    signed_by: str
    signed_at: AwareDatetime
    reason: str | None = None


class Outgoing(Frozen):
    """A record with what goes along: the last version signed, all signatures, the owner, the practice.

    Without a signature it is a draft, and every file made from it says so. `at` is when the last version was signed, of a draft
    when the file was made.
    """

    record_id: Identifier
    record: ExamRecord
    at: AwareDatetime
    signatures: tuple[Signature, ...] = ()
    patient_id: Identifier | None = None
    client: Client | None = None
    practice: Letterhead | None = None

    @property
    def is_draft(self) -> bool:
        """Whether nobody has signed it."""
        return not self.signatures

    @property
    def version(self) -> int:
        """The last version signed; 0 for a draft."""
        return self.signatures[-1].version if self.signatures else 0

    @property
    def signed_by(self) -> str | None:
        """Who signed the last version; null for a draft."""
        return self.signatures[-1].signed_by if self.signatures else None


def outgoing(
    versions: Sequence[SignedVersion],
    *,
    patient_id: str | None = None,
    client: Client | None = None,
    practice: Letterhead | None = None,
) -> Outgoing:
    """Make ready a signed record, given all its versions in their order. Raises FilingError."""
    check_versions(versions)
    last = versions[-1]
    return Outgoing(
        record_id=last.record_id,
        record=last.record,
        at=last.signed_at,
        signatures=tuple(
            Signature.model_validate(one.model_dump(include=set(Signature.model_fields))) for one in versions
        ),
        patient_id=patient_id,
        client=None if client is not None and client.erased else client,
        practice=practice,
    )


def outgoing_draft(record: ExamRecord, at: datetime, practice: Letterhead | None = None) -> Outgoing:
    """Make ready a record that nobody signed. Its identifier comes from what it says, so that the same draft has the same."""
    said = hashlib.sha256(record.model_dump_json().encode()).hexdigest()
    return Outgoing(record_id=said[:_ID_LENGTH], record=record, at=at, practice=practice)


def check_versions(versions: Sequence[SignedVersion]) -> None:
    """Refuse versions that are missing, mixed or out of order. Raises FilingError."""
    if not versions:
        raise FilingError("There is no signed version to print. Have the record signed, or print its draft.")
    record_ids = {version.record_id for version in versions}
    if len(record_ids) > 1:
        raise FilingError(
            f"Versions of {len(record_ids)} records were given; a document holds the versions of one."
        )
    numbers = [version.version for version in versions]
    if numbers != list(range(1, len(numbers) + 1)):
        found = ", ".join(str(number) for number in numbers)
        raise FilingError(f"A document needs all versions from 1 on in their order; given were {found}.")
