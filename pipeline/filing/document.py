"""The clinical record as an archival PDF, made from its signed versions alone; a draft only as what it is."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, tzinfo

from lexicon import Lexicon
from pipeline.filing.amendments import amendments_of
from pipeline.filing.charts import chart_svg, described
from pipeline.filing.code import record_code
from pipeline.filing.language import Language, load_language
from pipeline.filing.letterhead import Letterhead, logo_format
from pipeline.filing.outgoing import check_versions
from pipeline.filing.record_content import RecordContent, record_content
from pipeline.filing.typesetting import Attachment, PaperName, Picture, Printed, typeset
from pipeline.record import ExamRecord
from pipeline.store.model import Client, PastValue, SignedVersion

_SHORT_ID = 8
_CHART_SIZE = (262, 150)
_NOTHING: Mapping[str, Sequence[PastValue]] = {}


def clinical_record_pdf(
    versions: Sequence[SignedVersion],
    letterhead: Letterhead,
    lexicon: Lexicon,
    *,
    client: Client | None = None,
    past: Mapping[str, Sequence[PastValue]] = _NOTHING,
    paper: PaperName = "a4",
    language: Language | None = None,
    zone: tzinfo | None = UTC,
) -> Printed:
    """Print a record as PDF/A-3a and PDF/UA-1 with its data attached; the same input gives the same bytes.

    `versions` are all versions of one record: the last one stands, the earlier ones are shown as amendments. `client` is
    the owner as the practice knows them (the record itself holds none). `past` holds values of earlier visits by kind. Times are
    those of `zone`, of this machine's own where it is null.
    Raises FilingError when versions are missing, mixed or out of order.
    """
    check_versions(versions)
    language = language or load_language()
    words = language["record"]
    last = versions[-1]
    content = record_content(last.record, client, past, lexicon, language)
    when = language.time(last.signed_at.astimezone(zone))
    files = [
        Attachment(
            name=f"record-{version.record_id}-v{version.version}.json",
            text=version.record.model_dump_json(),
            media_type="application/json",
            description=words["attachment"].format(version=version.version),
        )
        for version in versions
    ]
    page = _page(content, letterhead, paper, language) | {
        "author": last.signed_by,
        "keywords": [f"record {last.record_id}", f"version {last.version}", f"sha256 {last.sha256}"],
        "version_line": words["version_line"].format(
            id=last.record_id[:_SHORT_ID], version=last.version, when=when
        ),
        "signed_fact": [{"name": words["examined_by"], "text": last.signed_by}],
        "signature": {
            "line": words["signed"].format(by=last.signed_by, when=when),
            "facts": [
                {"name": words["record_id"], "text": last.record_id},
                {"name": words["version"], "text": str(last.version)},
                {"name": words["checksum"], "text": _in_groups(last.sha256)},
                {"name": words["data_checksum"], "text": _in_groups(_sha256(files[-1].text))},
            ],
            "attached": words["attached"].format(files=", ".join(file.name for file in files)),
        },
        "amendments": [one.model_dump() for one in amendments_of(versions, lexicon, language, zone)],
        "amendments_why": words["amendments_why"].format(version=last.version),
    }
    pictures = _pictures(content, letterhead, language) | {"code": record_code(last)}
    return typeset("record.typ", page, pictures, last.signed_at, files)


def draft_pdf(
    record: ExamRecord,
    letterhead: Letterhead,
    lexicon: Lexicon,
    printed_at: datetime,
    *,
    client: Client | None = None,
    past: Mapping[str, Sequence[PastValue]] = _NOTHING,
    paper: PaperName = "a4",
    language: Language | None = None,
) -> Printed:
    """Print a record that nobody has signed, marked so on every page, without code, checksum or attached data.

    Raises FilingError.
    """
    language = language or load_language()
    content = record_content(record, client, past, lexicon, language)
    page = _page(content, letterhead, paper, language) | {
        "author": letterhead.name,
        "keywords": [],
        "version_line": language["record"]["draft_line"],
        "signed_fact": [],
        "signature": None,
        "amendments": [],
        "amendments_why": "",
    }
    return typeset("record.typ", page, _pictures(content, letterhead, language), printed_at)


def _page(
    content: RecordContent, letterhead: Letterhead, paper: PaperName, language: Language
) -> dict[str, object]:
    """What signed records and drafts have in common."""
    words = language["record"]
    return {
        "document_title": words["of_patient"].format(
            title=content.title, name=content.patient_name, subject=content.subject
        ),
        "paper": paper,
        "language": language["language"],
        "words": words,
        "letterhead": letterhead_content(letterhead),
        "record": content.model_dump(exclude={"charts"}),
        "charts": [described(chart, language) for chart in content.charts],
    }


def _pictures(content: RecordContent, letterhead: Letterhead, language: Language) -> dict[str, Picture]:
    charts = {
        f"chart{place}": chart_svg(chart, language, *_CHART_SIZE)
        for place, chart in enumerate(content.charts)
    }
    return {**logo_picture(letterhead), **charts}


def letterhead_content(letterhead: Letterhead) -> dict[str, object]:
    """The letterhead as the templates take it; its picture comes apart."""
    form = logo_format(letterhead.logo) if letterhead.logo is not None else None
    return {**letterhead.model_dump(exclude={"logo"}), "logo_format": form}


def logo_picture(letterhead: Letterhead) -> dict[str, Picture]:
    """The logo as the templates take it, if there is one."""
    logo = letterhead.logo
    if logo is None:
        return {}
    return {"logo": logo.decode("utf-8", "replace") if logo_format(logo) == "svg" else list(logo)}


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _in_groups(checksum: str) -> str:
    return " ".join(checksum[start : start + 8] for start in range(0, len(checksum), 8))
