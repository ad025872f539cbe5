"""Signed exam records in, documents and exchange files out: the clinical record, the sheet to take home, FHIR, tables, dates.

Never writes a word that the vet did not sign, but for the fixed words of its own templates. A draft is printed only as a draft.
"""

from pipeline.filing.charts import Chart, Limits, chart_svg
from pipeline.filing.document import clinical_record_pdf, draft_pdf
from pipeline.filing.errors import FilingError
from pipeline.filing.history import CHARTED, charts_of
from pipeline.filing.language import Language, load_language
from pipeline.filing.letterhead import Letterhead, with_logo
from pipeline.filing.sheet import take_home_sheet_pdf
from pipeline.filing.typesetting import PaperName, Printed

__all__ = [
    "CHARTED",
    "Chart",
    "FilingError",
    "Language",
    "Letterhead",
    "Limits",
    "PaperName",
    "Printed",
    "chart_svg",
    "charts_of",
    "clinical_record_pdf",
    "draft_pdf",
    "load_language",
    "take_home_sheet_pdf",
    "with_logo",
]
