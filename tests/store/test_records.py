"""The life of a record: draft, signed, filed, amended; nobody changes a signed version, nobody overwrites another."""

from __future__ import annotations

import threading

import pytest
from hands import as_intruder
from kept import DOG, LEXICON, START, Practice, new_practice, understood
from pydantic import TypeAdapter
from sqlalchemy import LargeBinary, delete, literal, type_coerce, update
from sqlalchemy.exc import DatabaseError as SqlError

from pipeline.record import Owner
from pipeline.review import Accept, AcceptCertain, Operation, ReviewError, current
from pipeline.store import (
    ConflictError,
    Database,
    DatabaseError,
    EntryError,
    NotAllowedError,
    NotFoundError,
    amend_record,
    audit,
    counts,
    events_of,
    file_record,
    keep_record,
    leave_amendment,
    note_export,
    open_visit,
    record_line,
    record_of,
    records_of,
    review_record,
    sign_record,
    signed_version,
    view_record,
    visits_of,
    waiting,
)
from pipeline.store.setting_aside import set_aside, take_up
from pipeline.store.tables import event, record, record_version
from pipeline.store.tables import practice as practices

OPERATION: TypeAdapter[Operation] = TypeAdapter(Operation)


@pytest.fixture
def practice(database: Database) -> Practice:
    """A practice with a manager, a vet and a nurse."""
    return new_practice(database)


def test_a_draft_is_read_as_it_was_kept(practice: Practice) -> None:
    kept = practice.draft()
    assert record_of(practice.database, practice.nurse, kept.id) == kept
    assert kept.review is not None
    assert kept.review.original == understood()


def test_an_owner_is_no_part_of_the_kept_record(practice: Practice) -> None:
    """The client's data can be erased, the signed record cannot: so the record does not hold them."""
    with_owner = DOG.model_copy(update={"owner": Owner(name="Wilhelmina Prowse", phone="0000 111")})
    kept = practice.draft(understood().model_copy(update={"patient": with_owner}))
    assert kept.review is not None
    assert "Prowse" not in kept.review.model_dump_json()


def test_a_record_is_signed_filed_and_read_again(practice: Practice) -> None:
    signed = practice.signed()
    assert (signed.state, signed.version, signed.review) == ("signed", 1, None)
    filed = file_record(
        practice.database, practice.nurse, signed, "sent to the practice folder", practice.at()
    )
    assert filed.state == "filed"
    version = signed_version(practice.database, practice.nurse, signed.id, None, practice.at())
    assert (version.version, version.signed_by, version.reason) == (1, "Ines Halloran", None)
    assert audit(practice.database) == ()


def test_only_a_vet_signs(practice: Practice) -> None:
    ready = practice.ready()
    for actor in (practice.nurse, practice.manager):
        with pytest.raises(NotAllowedError, match="Only a vet can sign"):
            sign_record(practice.database, actor, ready, LEXICON, practice.at())


def test_what_stops_a_signature_is_said_in_words(practice: Practice) -> None:
    draft = practice.draft(understood("Temperature forty one point two."))
    with pytest.raises(NotAllowedError, match=r"cannot be signed yet\. Temperature 41\.2 °C is"):
        sign_record(practice.database, practice.vet, draft, LEXICON, practice.at())


def test_a_signed_record_is_changed_by_amendment_only(practice: Practice) -> None:
    signed = practice.signed()
    with pytest.raises(NotAllowedError, match="amend it"):
        review_record(practice.database, practice.vet, signed, (Accept(fact="f1"),), LEXICON, practice.at())
    draft = amend_record(practice.database, practice.vet, signed, practice.at())
    correction = OPERATION.validate_python(
        {"do": "correct_finding", "fact": "f1", "changes": {"side": "right"}}
    )
    draft = review_record(practice.database, practice.vet, draft, (correction,), LEXICON, practice.at())
    with pytest.raises(EntryError, match="why"):
        sign_record(practice.database, practice.vet, draft, LEXICON, practice.at(), reason=" ")
    second = sign_record(practice.database, practice.vet, draft, LEXICON, practice.at(), reason="wrong side")
    versions = [
        signed_version(practice.database, practice.vet, second.id, number, practice.at()) for number in (1, 2)
    ]
    assert [version.reason for version in versions] == [None, "wrong side"]
    assert versions[0].record != versions[1].record
    assert audit(practice.database) == ()


def test_an_amendment_begun_by_mistake_is_left_and_all_is_as_it_was(practice: Practice) -> None:
    """Signed or filed, as before."""
    signed = practice.signed()
    draft = amend_record(practice.database, practice.vet, signed, practice.at())
    with pytest.raises(NotAllowedError, match="vet"):
        leave_amendment(practice.database, practice.nurse, draft, practice.at())
    left = leave_amendment(practice.database, practice.vet, draft, practice.at())
    assert (left.state, left.version, left.review) == ("signed", 1, None)
    with pytest.raises(NotAllowedError, match="no amendment to leave"):
        leave_amendment(practice.database, practice.vet, left, practice.at())
    filed = file_record(practice.database, practice.nurse, left, "drawer", practice.at())
    draft = amend_record(practice.database, practice.vet, filed, practice.at())
    assert leave_amendment(practice.database, practice.vet, draft, practice.at()).state == "filed"
    assert audit(practice.database) == ()


@pytest.mark.parametrize("table", [record_version, event])
def test_the_database_refuses_changes_of_what_is_signed(practice: Practice, table: object) -> None:
    practice.signed()
    for statement in (update(table).values(sha256="0" * 64), delete(table)):  # type: ignore[arg-type]
        with pytest.raises(SqlError, match="append-only"), practice.database.writing() as connection:
            connection.execute(statement)


def test_of_two_people_the_second_is_told_and_nothing_is_overwritten(practice: Practice) -> None:
    read = practice.draft()
    review_record(practice.database, practice.vet, read, (Accept(fact="f1"),), LEXICON, practice.at())
    with pytest.raises(ConflictError, match="not lost"):
        review_record(practice.database, practice.nurse, read, (Accept(fact="f2"),), LEXICON, practice.at())
    now = record_of(practice.database, practice.vet, read.id)
    assert now.review is not None
    assert [fact.confirmed for fact in now.review.findings[:2]] == [True, False]


def test_of_several_operations_all_are_done_or_none(practice: Practice) -> None:
    kept = practice.draft()
    with pytest.raises(ReviewError):
        review_record(
            practice.database,
            practice.vet,
            kept,
            (Accept(fact="f1"), Accept(fact="f99")),
            LEXICON,
            practice.at(),
        )
    assert record_of(practice.database, practice.vet, kept.id) == kept
    assert audit(practice.database) == ()


def test_another_practice_sees_nothing(practice: Practice) -> None:
    stranger = new_practice(practice.database, "Quarry Street Vets").vet
    signed = practice.signed()
    with pytest.raises(NotFoundError):
        record_of(practice.database, stranger, signed.id)
    with pytest.raises(NotFoundError):
        signed_version(practice.database, stranger, signed.id, 1, practice.at())
    with pytest.raises(NotFoundError):
        keep_record(practice.database, stranger, signed.visit_id, understood(), practice.at())
    with pytest.raises(NotFoundError):
        open_visit(practice.database, stranger, signed.visit_id, "recheck", practice.at())


def test_many_writers_of_one_draft_lose_no_change(practice: Practice) -> None:
    """Each reads, writes, and on a conflict reads again: at the end every change is there and the trail is whole."""
    kept = practice.draft()
    failures: list[BaseException] = []

    def add(number: int) -> None:
        operation = OPERATION.validate_python({"do": "add_plan_item", "item": {"text": f"step {number}"}})
        try:
            while True:
                fresh = record_of(practice.database, practice.vet, kept.id)
                try:
                    review_record(
                        practice.database, practice.vet, fresh, (operation,), LEXICON, practice.at()
                    )
                except ConflictError:
                    continue
                return
        except BaseException as error:  # noqa: BLE001 — told in the test's own thread
            failures.append(error)

    threads = [threading.Thread(target=add, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failures
    review = record_of(practice.database, practice.vet, kept.id).review
    assert review is not None
    assert {fact.value.text for fact in review.plan} >= {f"step {number}" for number in range(8)}
    assert audit(practice.database) == ()


# --- other hands -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        (update(record_version).values(body="{}"), "not what was signed"),
        (update(record_version).values(sha256="0" * 64), "not what was signed"),
        (update(record_version).values(review="{}"), "not what was signed"),
        (delete(record_version), "was signed and is gone"),
        (update(record).values(state="filed").where(record.c.state == "signed"), "by the trail signed"),
        (update(event).values(at="2020-01-01T00:00:00.000000Z").where(event.c.seq == 3), "was altered"),
        (delete(event).where(event.c.seq == 4), "were removed"),
        (delete(event).where(event.c.action == "sign"), "removed or put in"),
        (update(practices).values(trail_seq=1), "removed or put in"),
    ],
)
def test_other_hands_are_found(practice: Practice, statement: object, says: str) -> None:
    practice.signed()
    assert audit(practice.database) == ()
    as_intruder(practice.database, statement)
    assert any(says in fault for fault in audit(practice.database))


def test_damaged_bytes_are_found_and_told(practice: Practice) -> None:
    signed = practice.signed()
    bytes_of = type_coerce(literal(b"no packed text"), LargeBinary)
    as_intruder(practice.database, update(record_version).values(body=bytes_of))
    assert any("not what was signed" in fault for fault in audit(practice.database))
    with pytest.raises(DatabaseError, match=r"Version 1 of record .* cannot be read"):
        signed_version(practice.database, practice.vet, signed.id, 1, practice.at())


def test_an_altered_draft_is_found(practice: Practice) -> None:
    practice.draft()
    as_intruder(practice.database, update(record).values(review="{}"))
    assert any("not what was written last" in fault for fault in audit(practice.database))


# --- the last examination --------------------------------------------------------------------------


def test_what_was_abnormal_last_time_and_is_not_named_now_is_asked_for(practice: Practice) -> None:
    first = practice.signed()
    line = record_line(practice.database, practice.vet, first.id)
    visit = open_visit(practice.database, practice.nurse, line.patient_id, "recheck", practice.at())
    kept = keep_record(practice.database, practice.vet, visit.id, understood("Eyes clear."), practice.at())
    assert kept.review is not None
    asked = [n for n in current(kept.review, LEXICON).notices if n.kind == "earlier_finding"]
    assert ["left" in notice.message for notice in asked] == [True]
    mark = OPERATION.validate_python({"do": "mark_not_examined", "system": "ears", "reason": "too sore"})
    kept = review_record(practice.database, practice.vet, kept, (mark,), LEXICON, practice.at())
    assert kept.review is not None
    assert all(n.kind != "earlier_finding" for n in current(kept.review, LEXICON).notices)


def test_reading_and_exporting_a_record_is_kept_in_the_trail(practice: Practice) -> None:
    signed = practice.signed()
    view_record(practice.database, practice.nurse, signed.id, practice.at())
    note_export(practice.database, practice.nurse, signed.id, 1, "pdf", practice.at())
    last = events_of(practice.database, practice.vet, signed.id)[-2:]
    assert [(one.by, one.action) for one in last] == [("Tobin Marsh", "view"), ("Tobin Marsh", "export")]
    assert last[1].detail == {"form": "pdf", "version": 1}
    with pytest.raises(NotFoundError):
        note_export(practice.database, practice.nurse, signed.id, 2, "pdf", practice.at())
    assert audit(practice.database) == ()


def test_a_draft_that_nobody_wants_is_set_aside_and_taken_up_again(practice: Practice) -> None:
    """It waits no more and is not lost; who did it and why stands in the trail."""
    kept, other = practice.draft(), practice.draft()
    database, nurse, vet = practice.database, practice.nurse, practice.vet
    put = set_aside(database, nurse, kept, " begun by mistake ", practice.at())
    assert put == record_of(database, vet, kept.id)
    assert put.review == kept.review
    assert [one.id for one in waiting(database, vet, "draft")] == [other.id]
    assert [one.id for one in waiting(database, vet, "draft", aside=True)] == [kept.id]
    assert counts(database, vet)["draft"] == 1
    assert [one.id for one in records_of(database, vet, "draft")] == [other.id]
    patient = record_line(database, vet, kept.id).patient_id
    assert [one.record_id for one in visits_of(database, vet, patient)] == [None]
    last = events_of(database, vet, kept.id)[-1]
    assert (last.action, last.by, last.detail) == ("set_aside", nurse.name, {"reason": "begun by mistake"})
    with pytest.raises(NotAllowedError, match="set aside"):
        review_record(database, vet, put, (AcceptCertain(),), practice.lexicon, practice.at())
    taken = take_up(database, vet, put, practice.at())
    assert counts(database, vet)["draft"] == 2
    assert review_record(database, vet, taken, (AcceptCertain(),), practice.lexicon, practice.at())
    assert audit(database) == ()


def test_what_is_set_aside_is_a_draft_of_nobodys_signature_with_a_reason(practice: Practice) -> None:
    database, vet = practice.database, practice.vet
    kept = practice.draft()
    with pytest.raises(EntryError, match="why"):
        set_aside(database, vet, kept, " ", practice.at())
    with pytest.raises(NotAllowedError, match="vet or nurse"):
        set_aside(database, practice.manager, kept, "no need", practice.at())
    with pytest.raises(NotAllowedError, match="not set aside"):
        take_up(database, vet, kept, practice.at())
    ready = practice.ready(kept)
    with pytest.raises(ConflictError):
        set_aside(database, vet, kept, "no need", practice.at())
    signed = sign_record(database, vet, ready, practice.lexicon, practice.at())
    for done in (signed, amend_record(database, vet, signed, practice.at())):
        with pytest.raises(NotAllowedError, match="never signed"):
            set_aside(database, vet, done, "no need", practice.at())


def test_a_draft_that_is_out_of_the_way_without_a_word_in_the_trail_is_told(practice: Practice) -> None:
    kept = practice.draft()
    with practice.database.writing() as connection:
        connection.execute(update(record).where(record.c.id == kept.id).values(set_aside_at=str(START)))
    [told] = audit(practice.database)
    assert f"record {kept.id} is set aside" in told
