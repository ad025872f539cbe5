"""Statements in, exam record out: merged facts, judged values, system states, notices for the reviewer.

Pure: no input or output, no clock but the day of the visit that is passed in. Never diagnoses, doses or
advises.
"""

from pipeline.record.assemble import CAUTION, assemble, assess
from pipeline.record.model import SCHEMA_VERSION, ExamRecord, Notice, Owner, Patient, SystemReview, Visit

__all__ = [
    "CAUTION",
    "SCHEMA_VERSION",
    "ExamRecord",
    "Notice",
    "Owner",
    "Patient",
    "SystemReview",
    "Visit",
    "assemble",
    "assess",
]
