"""The commands by which data leave: everything of an owner or patient in one folder or file, and an owner's erasure."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from rich.text import Text

from lexicon import load_lexicon
from pipeline.cli.border import CallError, WorkError
from pipeline.cli.choosing import choose_owner, choose_patient, owner_words, patient_words
from pipeline.cli.keeping import open_books, usual_recordings
from pipeline.cli.page import clock
from pipeline.cli.screen import output, printable, remark
from pipeline.filing import FilingError, clinical_record_pdf, load_language, with_logo
from pipeline.jobs.papers import letterhead_from
from pipeline.settings import Settings
from pipeline.store import Client, Practice, practice_of
from pipeline.store.erasure import Remains, erase_owner, remains_of
from pipeline.store.stamps import now
from pipeline.store.takeout import PatientFile, WholeRecord, take_out_owner, take_out_patient

_SUMS, _GUIDE = "SHA256SUMS", "README.txt"
_GUIDE_TEXT = """Everything that {practice} keeps of {whom}, as of {day}.

For each animal: patient.json (who it is), visits.json, records/ (every signed version as it was signed, its review, which shows
what was understood and what a person made of it, an open draft where there is one, and the record for printing), sounds/ (what was
recorded), papers/ (documents that were made), trail.json (who did what, and when). The JSON of a record is described by
'rostral schema'. SHA256SUMS lists the checksums of all files: sha256sum --check SHA256SUMS.
"""


def owner(settings: Settings, which: str, to: Path) -> None:
    """Write everything of an owner and their animals."""
    with open_books(settings) as books:
        _must_be_new(to)
        chosen = choose_owner(books, which)
        whole = take_out_owner(books.database, books.actor, chosen.id, books.at())
        practice = practice_of(books.database, books.actor)
    parcel = _Parcel(to)
    parcel.json("owner.json", whole.owner)
    parcel.json("owner-trail.json", whole.trail)
    for one in whole.patients:
        folder = f"patients/{_safe(one.patient.patient.name)}-{one.patient.id}"
        _add_patient(parcel, folder, one, _Heads(practice, whole.owner, settings), usual_recordings(settings))
    _close(parcel, practice, f"{owner_words(whole.owner)} and their animals")


def patient(settings: Settings, which: str, to: Path) -> None:
    """Write everything of a patient."""
    with open_books(settings) as books:
        _must_be_new(to)
        chosen = choose_patient(books, which)
        whole = take_out_patient(books.database, books.actor, chosen.id, books.at())
        practice = practice_of(books.database, books.actor)
    parcel = _Parcel(to)
    _add_patient(parcel, "", whole, _Heads(practice, None, settings), usual_recordings(settings))
    _close(parcel, practice, patient_words(whole.patient.patient))


def erase(settings: Settings, which: str, reason: str, *, yes: bool) -> None:
    """Show what of an owner would go and what stays; with `yes` erase it."""
    with open_books(settings) as books:
        chosen = choose_owner(books, which)
        if chosen.erased:
            raise WorkError("This owner's personal data were erased before.")
        remains = remains_of(books.database, books.actor, chosen.id)
        if yes:
            erase_owner(books.database, books.actor, chosen.id, reason, books.at())
    _tell_remains(remains, done=yes)


@dataclass(frozen=True, slots=True)
class _Heads:
    """What stands on every printed record beside it, and the settings of how it looks."""

    practice: Practice
    client: Client | None
    settings: Settings


class _Parcel:
    """Files on their way into a new folder or a new ZIP file, with their checksums; nothing is left where it fails."""

    def __init__(self, to: Path) -> None:
        self.to = to
        self.missing: list[str] = []
        self._half = to.with_name(f"{to.name}.partial")
        self._sums: list[str] = []
        shutil.rmtree(self._half, ignore_errors=True)

    def add(self, name: str, data: bytes) -> None:
        """Add a file."""
        target = self._half / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
        self._sums.append(f"{hashlib.sha256(data).hexdigest()}  {name}\n")

    def json(self, name: str, value: BaseModel | Any) -> None:
        """Add a value as JSON."""
        plain = value.model_dump(mode="json") if isinstance(value, BaseModel) else value
        self.add(name, f"{json.dumps(plain, indent=2, ensure_ascii=False)}\n".encode())

    def copy(self, name: str, file: Path) -> None:
        """Add a file that lies somewhere; one that is missing is told."""
        try:
            self.add(name, file.read_bytes())
        except FileNotFoundError:
            self.missing.append(str(file))

    def close(self) -> None:
        """Give the whole its name."""
        (self._half / _SUMS).write_text("".join(sorted(self._sums)), encoding="utf-8")
        if self.to.suffix.lower() != ".zip":
            self._half.rename(self.to)
            return
        packed = self.to.with_name(f"{self.to.name}.zip-partial")
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for file in sorted(self._half.rglob("*")):
                if file.is_file():
                    archive.write(file, file.relative_to(self._half))
        packed.rename(self.to)
        shutil.rmtree(self._half)


def _add_patient(parcel: _Parcel, folder: str, whole: PatientFile, heads: _Heads, sounds: Path) -> None:
    place = f"{folder}/" if folder else ""
    days = {one.id: one.on.isoformat() for one in whole.visits}
    parcel.json(f"{place}patient.json", whole.patient)
    parcel.json(f"{place}visits.json", [one.model_dump(mode="json") for one in whole.visits])
    parcel.json(f"{place}trail.json", whole.trail)
    for record in whole.records:
        _add_record(parcel, f"{place}records/{days[record.visit_id]}-{record.id}", record, heads)
    for sound in whole.sounds:
        parcel.copy(
            f"{place}sounds/{days[sound.visit_id]}-{sound.id}{Path(sound.path).suffix}", sounds / sound.path
        )
    for paper in whole.papers:
        parcel.copy(f"{place}papers/{paper.kind}-{paper.id}{Path(paper.path).suffix}", sounds / paper.path)


def _add_record(parcel: _Parcel, folder: str, record: WholeRecord, heads: _Heads) -> None:
    for version in record.versions:
        name = f"{folder}/version-{version.signed.version}"
        parcel.json(f"{name}.json", version.signed)
        parcel.json(f"{name}.review.json", version.review)
    if record.draft is not None:
        parcel.json(f"{folder}/draft.json", record.draft)
    if not record.versions:
        return
    try:
        printed = clinical_record_pdf(
            [one.signed for one in record.versions],
            with_logo(letterhead_from(heads.practice), heads.settings.logo),
            load_lexicon(),
            client=heads.client,
            paper=heads.settings.paper,
            language=load_language(heads.settings.document_words),
            zone=heads.settings.time_zone,
        )
    except FilingError as error:
        remark(f"Record {record.id} could not be printed and is there as JSON alone: {error}")
        return
    for warning in printed.warnings:
        remark(f"Record {record.id}: {warning}")
    parcel.add(f"{folder}/record.pdf", printed.pdf)


def _close(parcel: _Parcel, practice: Practice, whom: str) -> None:
    guide = _GUIDE_TEXT.format(practice=practice.name, whom=whom, day=now().date())
    if parcel.missing:
        guide += "\nMissing where they should be: " + ", ".join(parcel.missing) + "\n"
    parcel.add(_GUIDE, guide.encode())
    try:
        parcel.close()
    except OSError as error:
        raise WorkError(
            f"{parcel.to} cannot be written: {error.strerror or error}. Name another place."
        ) from None
    for one in parcel.missing:
        remark(f"Missing where it should be, and so not there: {one}")
    output().print(f"Everything of {printable(whom)} is in {parcel.to}.", soft_wrap=True)


def _must_be_new(to: Path) -> None:
    if to.exists():
        raise CallError(f"{to} is there already: name a new folder, or a new file that ends in .zip.")


def _safe(name: str) -> str:
    return re.sub(r"[^\w-]+", "_", name).strip("_") or "patient"


def _tell_remains(remains: Remains, *, done: bool) -> None:
    console = output()
    owner_of = remains.owner
    fields = [name for name in ("name", "phone", "email", "address") if getattr(owner_of, name)]
    verb = "Erased" if done else "Would be erased"
    lines = [
        f"{verb}: {', '.join(fields)} of {owner_words(owner_of)}, also from search.",
        f"Stays: {len(remains.patients)} patients and {remains.records} records, without an owner's name. They are the"
        " clinical record of the animals, which is kept as law and local rules ask; a signed version cannot be changed.",
    ]
    if remains.recordings:
        lines.append(
            f"Stays: {remains.recordings} recordings, in which the owner's voice may be heard. Whether they may or must go"
            " is for local rules."
        )
    if remains.spoken:
        lines.append("Said aloud, and so part of what was written down:")
    for one in remains.spoken:
        place = f"version {one.version}" if one.version else "draft"
        at = f" at {clock(one.start_s)}" if one.start_s is not None else ""
        lines.append(f"  record {one.record_id}, {place}{at}: … {one.words} …")
    lines.append("Backups made before still hold these data until they are removed.")
    if not done:
        lines.append("Nothing was erased. To do it, give the same with --yes.")
    for line in lines:
        console.print(Text(printable(line)), soft_wrap=True)
