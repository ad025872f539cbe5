"""The command `rostral receive`: takes a record back from a FHIR document that Rostral wrote."""

from __future__ import annotations

from pathlib import Path

from lexicon import load_lexicon
from pipeline.cli.border import WorkError
from pipeline.cli.inputs import read_file
from pipeline.cli.screen import printable, remark, write_json
from pipeline.filing import FilingError
from pipeline.filing.fhir import read_fhir_document


def receive(file: Path) -> None:
    """Check a document and write the record in it as JSON. Raises CallError, WorkError."""
    data = read_file(file, "FHIR document")
    try:
        document, release = read_fhir_document(data.decode("utf-8-sig"), load_lexicon())
    except UnicodeDecodeError:
        raise WorkError(f"{file} is no UTF-8 text, and so no FHIR document in JSON.") from None
    except FilingError as error:
        raise WorkError(f"{file} was not taken: {error}") from None
    write_json(document.record.model_dump(mode="json"))
    if document.signatures:
        last = document.signatures[-1]
        remark(
            f"FHIR {release}: record {document.record_id}, version {last.version}, signed by {printable(last.signed_by)} on"
            f" {last.signed_at:%Y-%m-%d}. The document agrees with its record; who sent it is not proved by that."
        )
    else:
        remark(f"FHIR {release}: a draft that nobody signed. The document agrees with its record.")
