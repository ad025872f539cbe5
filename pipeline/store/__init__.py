"""What is kept for years: practices, people, owners, patients, visits, exam records and their signed versions, the audit trail.

In SQLite by default, in PostgreSQL by its address; nobody else talks SQL. Every change is one transaction with its events.
"""

from pipeline.store.audit import audit
from pipeline.store.database import Database
from pipeline.store.errors import (
    ConflictError,
    DatabaseError,
    EntryError,
    NotAllowedError,
    NotFoundError,
    StoreError,
)
from pipeline.store.model import Actor, Client, KeptPatient, KeptRecord, KeptVisit, SignedVersion
from pipeline.store.patients import (
    add_client,
    add_patient,
    change_client,
    change_patient,
    client_of,
    erase_client,
    patient_by_microchip,
    patient_of,
)
from pipeline.store.practices import actor_of, add_person, found_practice, retire_person
from pipeline.store.records import (
    amend_record,
    file_record,
    keep_record,
    open_visit,
    record_of,
    review_record,
    sign_record,
    signed_version,
)
from pipeline.store.search import Hit, PastValue, PastVisit, search, values_of, visits_of

__all__ = [
    "Actor",
    "Client",
    "ConflictError",
    "Database",
    "DatabaseError",
    "EntryError",
    "Hit",
    "KeptPatient",
    "KeptRecord",
    "KeptVisit",
    "NotAllowedError",
    "NotFoundError",
    "PastValue",
    "PastVisit",
    "SignedVersion",
    "StoreError",
    "actor_of",
    "add_client",
    "add_patient",
    "add_person",
    "amend_record",
    "audit",
    "change_client",
    "change_patient",
    "client_of",
    "erase_client",
    "file_record",
    "found_practice",
    "keep_record",
    "open_visit",
    "patient_by_microchip",
    "patient_of",
    "record_of",
    "retire_person",
    "review_record",
    "search",
    "sign_record",
    "signed_version",
    "values_of",
    "visits_of",
]
