"""Measured values: which number in a text is whose, its unit, bounds and scale.

In: an `Analysis` with numbers, mentions and cues. Out: its `readings`, in text order. It never decides whether a value was said of
this patient (the speech act of its clause does) nor whether it is within range (the record does).
"""

from pipeline.extraction.measuring.model import Reading
from pipeline.extraction.measuring.reader import MeasurementReader

__all__ = ["MeasurementReader", "Reading"]
