"""From a kept record to its documents: what the store gives is what is printed, on both databases."""

from __future__ import annotations

from pathlib import Path

from archival import assert_archival, text_of
from kept import DOG, LEXICON, new_practice, understood

from pipeline.filing import CHARTED, Letterhead, clinical_record_pdf, take_home_sheet_pdf
from pipeline.record import Owner, Visit
from pipeline.review import CorrectFinding, FindingChanges
from pipeline.store import (
    Database,
    PastValue,
    add_client,
    add_patient,
    amend_record,
    client_of,
    keep_record,
    open_visit,
    patient_of,
    review_record,
    sign_record,
    signed_version,
    values_of,
)

PRACTICE = Letterhead(name="Alder Lane Surgery", phone="01632 960 001")
SAID = "Left ear red, no discharge. Eyes clear. Heart rate one twenty. Weight {} kilos. Recheck the ear in ten days."


def test_a_second_visit_amended_prints_with_the_first_ones_weight(database: Database, tmp_path: Path) -> None:
    practice = new_practice(database)
    vet, nurse = practice.vet, practice.nurse
    client = add_client(database, nurse, Owner(name="Rosalind Petheram"), practice.at())
    patient = add_patient(database, nurse, DOG, client.id, practice.at())
    signed = []
    for weight in ("eleven", "twelve"):
        visit = open_visit(database, nurse, patient.id, "recheck", practice.at())
        record = understood(SAID.format(weight)).model_copy(
            update={"visit": Visit(kind="recheck", on=visit.on)}
        )
        kept = keep_record(database, vet, visit.id, record, practice.at())
        signed.append(sign_record(database, vet, practice.ready(kept), LEXICON, practice.at()))
        practice.minutes += 30 * 24 * 60
    kept = signed[-1]
    draft = amend_record(database, vet, kept, practice.at())
    assert draft.review is not None
    red = next(fact.id for fact in draft.review.findings if "red" in fact.value.label)
    change = CorrectFinding(fact=red, changes=FindingChanges(side="right"))
    draft = review_record(database, vet, draft, (change,), LEXICON, practice.at())
    kept = sign_record(
        database, vet, practice.ready(draft), LEXICON, practice.at(), reason="It was the other ear."
    )

    versions = [signed_version(database, nurse, kept.id, number, practice.at()) for number in (1, 2)]
    past: dict[str, tuple[PastValue, ...]] = {
        kind: values_of(database, nurse, patient.id, kind) for kind in CHARTED
    }
    owner_id = patient_of(database, nurse, patient.id).client_id
    assert owner_id is not None
    owner = client_of(database, nurse, owner_id)
    record_pdf = clinical_record_pdf(versions, PRACTICE, LEXICON, client=owner, past=past).pdf
    assert_archival(record_pdf, part="3")
    text = text_of(record_pdf, tmp_path)
    for words in (
        "Rosalind Petheram",
        "Redness of the ear (right)",
        "Reason: It was the other ear.",
        "Weight, kg",
        f"Signed by {vet.name}",
        kept.id,
    ):
        assert words in text, words
    sheet = text_of(take_home_sheet_pdf(versions[-1], PRACTICE, LEXICON, past=past).pdf, tmp_path)
    assert "Red ear (right)." in sheet
    assert "1 kg more than on 16 June 2025" in sheet
