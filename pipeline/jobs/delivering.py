"""Hands a signed record over: into the practice's folder, to its FHIR server, to the owner by e-mail.

The delivery has the job's identifier, and the trail holds how it stands. A delivery that was done is not done again; one whose
attempt was torn is, and finds its file in the folder or its document at the server. A letter can be sent twice when the process
dies between the server's yes and the note of it; both have the same Message-ID.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any, Literal, get_args

from pydantic import ValidationError

from pipeline.filing import FilingError, load_language
from pipeline.filing.delivery import post_to_server, put_in_folder, safe_stem
from pipeline.filing.errors import AwayError
from pipeline.filing.fhir import Release
from pipeline.filing.mail import Letter, MailServer, send_mail
from pipeline.filing.trust import trusting
from pipeline.jobs.forms import ENDINGS, PRINTED, Form, form_of, look_of
from pipeline.jobs.model import Asked
from pipeline.jobs.papers import papers_of
from pipeline.jobs.work import Kind, LaterError, Work
from pipeline.settings import PREFIX, Settings
from pipeline.store import (
    ConflictError,
    DatabaseError,
    EntryError,
    NotFoundError,
    StoreError,
    client_of,
    patient_of,
    practice_of,
    record_line,
)
from pipeline.store.consents import agreed_to_mail
from pipeline.store.deliveries import Delivery, Solved, deliveries_of, note_delivery
from pipeline.store.model import Identifier

Way = Literal["folder", "mail", "fhir"]
WAYS: tuple[Way, ...] = get_args(Way)

_WAITS_S = (2.0, 30.0, 300.0, 1800.0, 7200.0)
"""The first for a server that is busy for a moment, while somebody looks on; the last for one that is away over lunch."""


class Deliver(Asked):
    """Hand over the last signed version of this record in a form; `release` is for FHIR alone."""

    record_id: Identifier
    way: Way
    form: Form
    release: Release = "R4B"


def must_be_set(settings: Settings, way: Way, form: Form) -> None:
    """Refuse a way that is not set up on this machine, or that does not take the form. Raises EntryError."""
    if way == "folder" and settings.delivery_folder is None:
        raise EntryError(f"No folder is set: name it in {PREFIX}DELIVERY_FOLDER.")
    if way == "mail":
        if settings.mail_server is None or settings.mail_sender is None:
            raise EntryError(
                f"No mail server is set: name it in {PREFIX}MAIL_SERVER, and the sender in {PREFIX}MAIL_SENDER."
            )
        if form not in PRINTED:
            raise EntryError("An owner gets a document to read: give --as sheet or --as pdf.")
    if way == "fhir":
        if settings.fhir_server is None:
            raise EntryError(f"No FHIR server is set: name its base address in {PREFIX}FHIR_SERVER.")
        if form != "fhir":
            raise EntryError("A FHIR server takes documents of the form fhir: give --as fhir.")


def lack(settings: Settings, way: Way, form: Form) -> str:
    """What `must_be_set` says against it; empty where nothing is in the way."""
    try:
        must_be_set(settings, way, form)
    except EntryError as error:
        return str(error)
    return ""


def kept_form(asked: Deliver) -> str:
    """What the receipt calls the form: the two releases of FHIR are two."""
    return f"{asked.form}.{asked.release.lower()}" if asked.form == "fhir" else asked.form


def asked_by(record_id: str, way: str, named: str) -> Deliver:
    """What is asked for by the name that receipts give a form: `sheet`, `fhir.r5`. Raises EntryError."""
    form, _, release = named.partition(".")
    try:
        return Deliver.model_validate(
            {"record_id": record_id, "way": way, "form": form, "release": release.upper() or "R4B"}
        )
    except ValidationError:
        raise EntryError(f"Nothing is handed over as {named!r} by {way!r}: choose what and how.") from None


def _deliver(work: Work, asked: Deliver) -> dict[str, Any]:
    return work.step("handing it over", _handed_over, work, asked)


def _handed_over(work: Work, asked: Deliver) -> dict[str, Any]:
    """Do it once in effect, and keep how it ended in the trail."""
    before = next(
        (
            one
            for one in deliveries_of(work.database, work.actor, record_id=asked.record_id)
            if one.id == work.job_id
        ),
        None,
    )
    if before is not None and before.state in Solved:
        return _told(before, ())
    sent_before = before.sha256 if before is not None else ""
    begun = Delivery(
        id=work.job_id,
        record_id=asked.record_id,
        version=record_line(work.database, work.actor, asked.record_id).version,
        form=kept_form(asked),
        way=asked.way,
        state="begun",
        at=work.at(),
        by=work.actor.name,
        sha256=sent_before,
    )
    try:
        must_be_set(work.settings, asked.way, asked.form)
        papers = papers_of(work.database, work.actor, asked.record_id, work.at())
        made = form_of(papers, asked.form, look_of(work.settings, asked.release))
        checksum = hashlib.sha256(made.data).hexdigest()
        begun = begun.model_copy(update={"version": papers.outgoing.version, "sha256": checksum})
        note_delivery(
            work.database, work.actor, begun
        )  # before anything leaves: it may have arrived from now on
        place = _out(work, begun, asked, made.data, tried_before=bool(sent_before))
        done = begun.model_copy(update={"state": "delivered", "place": place, "at": work.at()})
        return _told(note_delivery(work.database, work.actor, done), made.warnings)
    except DatabaseError:
        raise  # it may pass, and until then nothing can be noted
    except ConflictError:
        return _told(
            begun.model_copy(update={"state": "given_up"}), ()
        )  # meanwhile, and before anything left
    except (FilingError, StoreError) as error:
        failed = begun.model_copy(update={"state": "failed", "reason": str(error), "at": work.at()})
        note_delivery(work.database, work.actor, failed)
        if isinstance(error, AwayError):
            raise LaterError(str(error), error.after_s) from None
        raise


def _out(work: Work, begun: Delivery, asked: Deliver, data: bytes, *, tried_before: bool) -> str:
    """Let it leave, and give the place for the receipt."""
    if asked.way == "fhir":
        return post_to_server(
            str(work.settings.fhir_server),
            _secret(work.settings.fhir_token_file),
            data,
            trusting(work.settings.authorities),
            tried_before=tried_before,
        )
    if asked.way == "mail":
        return _mailed(work, begun, data, ENDINGS[asked.form])
    return _put(work, begun, data, ENDINGS[asked.form])


def _told(ended: Delivery, warnings: tuple[str, ...]) -> dict[str, Any]:
    return {"state": ended.state, "place": ended.place, "look at": list(warnings)}


def _put(work: Work, begun: Delivery, data: bytes, ending: str) -> str:
    line = record_line(work.database, work.actor, begun.record_id)
    animal = patient_of(work.database, work.actor, line.patient_id).patient
    parts = {
        "day": line.on.isoformat(),
        "patient": animal.name,
        "species": animal.species,
        "visit": line.kind,
        "record": line.id,
        "version": str(begun.version),
    }
    folder = Path(work.settings.delivery_folder or "").expanduser()
    stem = safe_stem(work.settings.delivery_name, parts)
    return str(folder / put_in_folder(folder, stem, ending, data, begun.id))


def _secret(file: Path | None) -> str | None:
    if file is None:
        return None
    try:
        return file.expanduser().read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise FilingError(f"The file {file} with what is secret cannot be read: {error}.") from None


def _mailed(work: Work, begun: Delivery, data: bytes, ending: str) -> str:
    """Write to the owner, if they agreed. The receipt does not hold their address: it is kept for ever."""
    settings = work.settings
    line = record_line(work.database, work.actor, begun.record_id)
    kept = patient_of(work.database, work.actor, line.patient_id)
    if kept.client_id is None:
        raise NotFoundError("The patient has no owner in the books: rostral patient change")
    if not agreed_to_mail(work.database, work.actor, kept.client_id):
        raise FilingError(
            f"The owner has not agreed to e-mail. When they do: rostral owner consent {kept.client_id} --mail"
        )
    address = client_of(work.database, work.actor, kept.client_id).email
    if not address:
        raise FilingError(f"The owner has no e-mail address: rostral owner change {kept.client_id}")
    language = load_language(settings.document_words)
    words = {
        "patient": kept.patient.name,
        "day": language.day(line.on),
        "practice": practice_of(work.database, work.actor).name,
    }
    day_and_name = {"day": line.on.isoformat(), "patient": kept.patient.name}
    letter = Letter(
        identifier=begun.id,
        to=address,
        subject=language["mail"]["subject"].format(**words),
        text=language["mail"]["text"].format(**words),
        file_name=f"{safe_stem('{day} {patient}', day_and_name)}{ending}",
        data=data,
    )
    server = MailServer(
        host=settings.mail_server or "",
        port=settings.mail_port,
        security=settings.mail_security,
        user=settings.mail_user,
        password=_secret(settings.mail_password_file),
        sender=settings.mail_sender or "",
    )
    send_mail(server, letter, trusting(settings.authorities))
    return "the owner's e-mail address"


DELIVER = Kind("deliver", Deliver, _deliver, queue="outgoing", waits_s=_WAITS_S)
