"""Owners and patients from a list of another program (CSV): all of it, or nothing and every row that is wrong, with why.

`reading.py` makes rows of bytes, `rows.py` understands one row, `taking.py` holds them against each other and against what is kept,
and writes them in one transaction. What columns and values may be called stands in `words.toml`.
"""

from pipeline.store.intake.reading import Sheet, read_sheet
from pipeline.store.intake.taking import Fault, Intake, take_in

__all__ = ["Fault", "Intake", "Sheet", "read_sheet", "take_in"]
