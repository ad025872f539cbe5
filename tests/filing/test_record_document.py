"""The clinical record as a PDF, looked at by readers that did not write it."""

from __future__ import annotations

import io

import pikepdf
import pytest
from signed import DOG, LEXICON, OWNER, PRACTICE, sample, signed

from pipeline.filing.document import clinical_record_pdf, draft_pdf
from pipeline.filing.errors import FilingError
from pipeline.record import ExamRecord


def test_the_same_record_gives_the_same_bytes() -> None:
    version = sample("dog_chatty")
    one, two = (clinical_record_pdf([version], PRACTICE, LEXICON, client=OWNER).pdf for _ in range(2))
    assert one == two


def test_the_attached_data_are_the_record() -> None:
    """What is attached is byte for byte what was signed, and is read back as the same record."""
    version = sample("cat_senior")
    pdf = pikepdf.open(io.BytesIO(clinical_record_pdf([version], PRACTICE, LEXICON).pdf))
    (name,) = pdf.attachments
    attached = pdf.attachments[name].get_file().read_bytes()
    assert attached == version.record.model_dump_json().encode()
    assert ExamRecord.model_validate_json(attached) == version.record


def test_versions_must_be_whole_and_of_one_record() -> None:
    version = signed("Ears clean.", DOG)
    other = version.model_copy(update={"record_id": "a" * 32, "version": 2})
    with pytest.raises(FilingError, match="no signed version"):
        clinical_record_pdf([], PRACTICE, LEXICON)
    with pytest.raises(FilingError, match="Versions of 2 records"):
        clinical_record_pdf([version, other], PRACTICE, LEXICON)
    with pytest.raises(FilingError, match="all versions from 1 on"):
        clinical_record_pdf([version.model_copy(update={"version": 2})], PRACTICE, LEXICON)


def test_a_draft_is_marked_and_carries_no_data() -> None:
    version = signed("Ears clean. Weight twelve kilos.", DOG)
    pdf = pikepdf.open(io.BytesIO(draft_pdf(version.record, PRACTICE, LEXICON, version.signed_at).pdf))
    assert len(pdf.attachments) == 0
