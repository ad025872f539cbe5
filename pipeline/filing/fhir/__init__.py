"""Records as FHIR documents, R4B and R5: written with published codes alone, and taken back whole.

What has no code in `codes.toml` goes out in words. Nothing withdrawn and nothing of an earlier day is written as of today.
"""

from pipeline.filing.fhir.bundle import fhir_document
from pipeline.filing.fhir.codes import Release
from pipeline.filing.fhir.reading import read_fhir_document

__all__ = ["Release", "fhir_document", "read_fhir_document"]
