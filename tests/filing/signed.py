"""An invented practice's signed records, made from texts by the program's own chain."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from lexicon import load_lexicon
from pipeline.exam import understand
from pipeline.filing.letterhead import Letterhead
from pipeline.record import Patient, Visit
from pipeline.record.model import VisitKind
from pipeline.review import AcceptCertain, Mark, Operation, Review, apply, current, open_review
from pipeline.speech.model import Transcript
from pipeline.store import Client, PastValue, SignedVersion
from pipeline.store.records import signature_of

LEXICON = load_lexicon()
SAMPLES = Path(__file__).parents[2] / "audio_samples"
ON = date(2026, 3, 9)
AT = datetime(2026, 3, 9, 10, 42, tzinfo=UTC)
VET = "Ines Halloran"
RECORD_ID = "5f0c2a9be1d84c6fa7b3d2e190c4a861"
DOG = Patient(
    name="Bramley",
    species="dog",
    breed="lurcher",
    birth_date=date(2020, 4, 2),
    sex="male",
    neutered=True,
    microchip="900000000000417",
)
OWNER = Client(
    id="0" * 31 + "7",
    name="Rosalind Petheram",
    phone="01632 960 118",
    email="rosalind@example.org",
    address="3 Quince Cottages\nWestering\nWR9 0QX",
)
PRACTICE = Letterhead(
    name="Alder Lane Surgery",
    address="14 Alder Lane\nWestering\nWR2 0AA",
    phone="01632 960 001",
    email="desk@alderlane.example",
    registration="Alder Lane Surgery, premises registered under number 0000000.",
)


def signed(
    said: str,
    patient: Patient | None = DOG,
    kind: VisitKind = "health_check",
    operations: Sequence[Operation] = (),
) -> SignedVersion:
    """The first signed version of what was said."""
    understood = understand(Transcript.from_text(said), patient, Visit(kind=kind, on=ON))
    return version_of(changed(open_review(understood), (AcceptCertain(), *operations)))


def amended(
    versions: Sequence[SignedVersion], reason: str, operations: Sequence[Operation]
) -> tuple[SignedVersion, ...]:
    """The versions with one more, a day later."""
    review = changed(open_review(versions[-1].record), operations)
    number = len(versions) + 1
    return (*versions, version_of(review, number, reason))


def changed(review: Review, operations: Sequence[Operation]) -> Review:
    for operation in operations:
        review = apply(review, operation, Mark(by=VET, at=AT), LEXICON)
    return review


def version_of(review: Review, number: int = 1, reason: str | None = None) -> SignedVersion:
    record = current(review, LEXICON)
    return SignedVersion(
        record_id=RECORD_ID,
        version=number,
        record=record,
        sha256=signature_of(record.model_dump_json(), review.model_dump_json()),
        signed_by=VET,
        signed_at=AT + timedelta(days=number - 1),
        reason=reason,
    )


def sample(name: str) -> SignedVersion:
    """A bundled dictation, signed. The owner is left out of the record, as the store does."""
    patient = Patient.model_validate(
        json.loads((SAMPLES / f"{name}.patient.json").read_text(encoding="utf-8"))
    )
    return signed(
        (SAMPLES / f"{name}.txt").read_text(encoding="utf-8"), patient.model_copy(update={"owner": None})
    )


def weights(*values: float) -> tuple[PastValue, ...]:
    """Weights of earlier visits, half a year apart, the last half a year ago."""
    count = len(values)
    return tuple(
        PastValue(on=ON - timedelta(days=182 * (count - place)), value=value, unit="kg", out_of=None)
        for place, value in enumerate(values)
    )
