"""The commands `rostral send` and `rostral deliveries`: hand records over, keep receipts, show what failed until it is solved."""

from __future__ import annotations

import hashlib
from pathlib import Path

from pipeline.cli.border import CallError, WorkError
from pipeline.cli.choosing import choose_record
from pipeline.cli.columns import show_rows
from pipeline.cli.exporting import ENDINGS, Wanted, forms_of
from pipeline.cli.keeping import Books, open_books
from pipeline.cli.screen import output, write_json
from pipeline.filing import FilingError, load_language
from pipeline.filing.delivery import post_to_server, put_in_folder, safe_stem
from pipeline.filing.mail import Letter, MailServer, send_mail
from pipeline.settings import PREFIX, Settings
from pipeline.store import client_of, patient_of, practice_of, record_line
from pipeline.store.consents import agreed_to_mail
from pipeline.store.deliveries import Delivery, deliveries_of, new_delivery_id, note_delivery

WAYS = ("folder", "mail", "fhir")
_PRINTED = ("pdf", "sheet")
_BEGUN = "It was begun and its end is not known: look whether it arrived before you try again."


def send(settings: Settings, which: str, way: str, form: str, release: str) -> None:
    """Hand a signed record over and keep the receipt; a failure is kept, too, and told."""
    if way not in WAYS:
        raise CallError(f"There is no way {way!r}: give --by one of {', '.join(WAYS)}.")
    if form not in ENDINGS:
        raise CallError(f"There is no form {form!r}: give --as one of {', '.join(ENDINGS)}.")
    with open_books(settings) as books:
        record_id = choose_record(books, which)
        _attempt(settings, books, new_delivery_id(), record_id, (way, form, release))


def again(settings: Settings, which: str) -> None:
    """Try a failed delivery again, with the record's last signed version."""
    with open_books(settings) as books:
        failed = _unsolved(books, which)
        form, _, release = failed.form.partition(".")
        _attempt(settings, books, failed.id, failed.record_id, (failed.way, form, release.upper() or "R4B"))


def give_up(settings: Settings, which: str, reason: str) -> None:
    """Let a failed delivery be, with the reason."""
    with open_books(settings) as books:
        failed = _unsolved(books, which)
        ended = failed.model_copy(
            update={"state": "given_up", "reason": reason, "at": books.at(), "by": books.actor.name}
        )
        note_delivery(books.database, books.actor, ended)
        output().print(f"Given up. {failed.id}", soft_wrap=True)


def listed(settings: Settings, *, unsolved: bool, as_json: bool) -> None:
    """List receipts and failures."""
    with open_books(settings) as books:
        found = deliveries_of(books.database, books.actor, unsolved=unsolved)
    if as_json:
        write_json([one.model_dump(mode="json") for one in found])
        return
    rows = [
        (f"{one.at:%Y-%m-%d %H:%M}", one.state, one.form, one.place or one.reason, one.by, one.id)
        for one in found
    ]
    show_rows(("when", "state", "form", "where or why not", "by", "delivery"), rows)


def _unsolved(books: Books, which: str) -> Delivery:
    begun = which.strip().lower()
    found = [
        one
        for one in deliveries_of(books.database, books.actor, unsolved=True)
        if begun and one.id.startswith(begun)
    ]
    if len(found) != 1:
        raise CallError(
            f"{len(found) or 'No'} failed deliveries begin with {which!r}. See them: rostral deliveries --unsolved"
        )
    return found[0]


def _attempt(
    settings: Settings, books: Books, delivery_id: str, record_id: str, what: tuple[str, str, str]
) -> None:
    way, form, release = what
    _must_be_set(settings, way, form)
    wanted = Wanted(
        forms=(form,),
        since=None,
        until=None,
        to=None,
        release=release,
        paper=settings.paper,
        words=settings.document_words,
    )
    [(_, data)] = list(forms_of(books, record_id, wanted))
    line = record_line(books.database, books.actor, record_id)
    made = Delivery(
        id=delivery_id,
        record_id=record_id,
        version=line.version,
        form=f"{form}.{release.lower()}" if form == "fhir" else form,
        way=way,
        state="failed",
        at=books.at(),
        by=books.actor.name,
        sha256=hashlib.sha256(data).hexdigest(),
    )
    # Before anything leaves: after a kill in between the delivery stands as unsolved.
    note_delivery(books.database, books.actor, made.model_copy(update={"reason": _BEGUN}))
    try:
        place = _handed(settings, books, made, data, ENDINGS[form])
    except FilingError as error:
        note_delivery(books.database, books.actor, made.model_copy(update={"reason": str(error)}))
        raise WorkError(
            f"{error} It is kept as failed: rostral deliveries --again {delivery_id[:12]}"
        ) from None
    done = made.model_copy(update={"state": "delivered", "place": place, "reason": "", "at": books.at()})
    note_delivery(books.database, books.actor, done)
    output().print(f"Delivered to {place}. Receipt {delivery_id}", soft_wrap=True)


def _handed(settings: Settings, books: Books, made: Delivery, data: bytes, ending: str) -> str:
    if made.way == "fhir":
        return post_to_server(str(settings.fhir_server), _secret(settings.fhir_token_file), data)
    if made.way == "mail":
        return _mailed(settings, books, made, data, ending)
    line = record_line(books.database, books.actor, made.record_id)
    animal = patient_of(books.database, books.actor, line.patient_id).patient
    parts = {
        "day": line.on.isoformat(),
        "patient": animal.name,
        "species": animal.species,
        "visit": line.kind,
        "record": line.id,
        "version": str(line.version),
    }
    folder = Path(settings.delivery_folder or "").expanduser()
    return str(folder / put_in_folder(folder, safe_stem(settings.delivery_name, parts), ending, data))


def _must_be_set(settings: Settings, way: str, form: str) -> None:
    if way == "folder" and settings.delivery_folder is None:
        raise CallError(f"No folder is set: name it in {PREFIX}DELIVERY_FOLDER.")
    if way == "mail":
        if settings.mail_server is None or settings.mail_sender is None:
            raise CallError(
                f"No mail server is set: name it in {PREFIX}MAIL_SERVER, and the sender in {PREFIX}MAIL_SENDER."
            )
        if form not in _PRINTED:
            raise CallError("An owner gets a document to read: give --as sheet or --as pdf.")
    if way == "fhir":
        if settings.fhir_server is None:
            raise CallError(f"No FHIR server is set: name its base address in {PREFIX}FHIR_SERVER.")
        if form != "fhir":
            raise CallError("A FHIR server takes documents of the form fhir: give --as fhir.")


def _secret(file: Path | None) -> str | None:
    if file is None:
        return None
    try:
        return file.expanduser().read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise FilingError(f"The file {file} with what is secret cannot be read: {error}.") from None


def _mailed(settings: Settings, books: Books, made: Delivery, data: bytes, ending: str) -> str:
    """Write to the owner, if they agreed. The receipt does not hold their address: it is kept for ever."""
    line = record_line(books.database, books.actor, made.record_id)
    kept = patient_of(books.database, books.actor, line.patient_id)
    if kept.client_id is None:
        raise FilingError("The patient has no owner in the books: rostral patient change")
    if not agreed_to_mail(books.database, books.actor, kept.client_id):
        raise FilingError(
            f"The owner has not agreed to e-mail. When they do: rostral owner consent {kept.client_id} --mail"
        )
    address = client_of(books.database, books.actor, kept.client_id).email
    if not address:
        raise FilingError(f"The owner has no e-mail address: rostral owner change {kept.client_id}")
    language = load_language(settings.document_words)
    words = {
        "patient": kept.patient.name,
        "day": language.day(line.on),
        "practice": practice_of(books.database, books.actor).name,
    }
    letter = Letter(
        identifier=made.id,
        to=address,
        subject=language["mail"]["subject"].format(**words),
        text=language["mail"]["text"].format(**words),
        file_name=f"{safe_stem('{day} {patient}', {'day': line.on.isoformat(), 'patient': kept.patient.name})}{ending}",
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
    send_mail(server, letter)
    return "the owner's e-mail address"
