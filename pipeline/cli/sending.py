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
from pipeline.filing import FilingError
from pipeline.filing.delivery import post_to_server, put_in_folder, safe_stem
from pipeline.settings import PREFIX, Settings
from pipeline.store import patient_of, record_line
from pipeline.store.deliveries import Delivery, deliveries_of, new_delivery_id, note_delivery

WAYS = ("folder", "fhir")


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
    try:
        place = _handed(settings, books, made, data, ENDINGS[form])
    except FilingError as error:
        note_delivery(books.database, books.actor, made.model_copy(update={"reason": str(error)}))
        raise WorkError(
            f"{error} It is kept as failed: rostral deliveries --again {delivery_id[:12]}"
        ) from None
    done = made.model_copy(update={"state": "delivered", "place": place, "at": books.at()})
    note_delivery(books.database, books.actor, done)
    output().print(f"Delivered to {place}. Receipt {delivery_id}", soft_wrap=True)


def _handed(settings: Settings, books: Books, made: Delivery, data: bytes, ending: str) -> str:
    if made.way == "fhir":
        return post_to_server(str(settings.fhir_server), _token(settings), data)
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
    if way == "fhir":
        if settings.fhir_server is None:
            raise CallError(f"No FHIR server is set: name its base address in {PREFIX}FHIR_SERVER.")
        if form != "fhir":
            raise CallError("A FHIR server takes documents of the form fhir: give --as fhir.")


def _token(settings: Settings) -> str | None:
    if settings.fhir_token_file is None:
        return None
    try:
        return settings.fhir_token_file.expanduser().read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise FilingError(f"The token file {settings.fhir_token_file} cannot be read: {error}.") from None
