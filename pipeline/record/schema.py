"""The JSON Schema of the record: the contract with whoever reads it outside of this program."""

from __future__ import annotations

from typing import Any

from pipeline.record.model import SCHEMA_VERSION, ExamRecord


def record_schema() -> dict[str, Any]:
    """Describe the JSON of a record as this version writes it, in JSON Schema of draft 2020-12.

    `record.schema.json` beside this module is a copy; a test keeps it current.
    """
    schema = ExamRecord.model_json_schema(mode="serialization")
    schema["properties"]["schema_version"]["const"] = SCHEMA_VERSION
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:rostral:exam-record:{SCHEMA_VERSION}",
        **schema,
    }
