"""What was kept is found again, by its practice and by nobody else."""

from __future__ import annotations

import pytest
from kept import DOG, LEXICON, Practice, new_practice, understood
from pydantic import TypeAdapter

from pipeline.record import Owner
from pipeline.review import Operation
from pipeline.store import (
    Database,
    Hit,
    add_client,
    add_patient,
    amend_record,
    change_patient,
    erase_client,
    keep_record,
    open_visit,
    review_record,
    search,
    sign_record,
    values_of,
    visits_of,
)


@pytest.fixture
def practice(database: Database) -> Practice:
    """A practice with a manager, a vet and a nurse."""
    return new_practice(database)


def found(practice: Practice, words: str) -> set[str]:
    return {hit.id for hit in search(practice.database, practice.nurse, words)}


def test_owners_and_patients_are_found_by_the_beginning_of_their_words(practice: Practice) -> None:
    owner = Owner(name="Zoë Ångström-Bell", phone="0111 222", email="zoe@example.org")
    client = add_client(practice.database, practice.nurse, owner, practice.at())
    dog = add_patient(practice.database, practice.nurse, DOG, client.id, practice.at())
    assert found(practice, "zoe angs") == {client.id}
    assert found(practice, "0111") == {client.id}
    assert found(practice, "BRAM lurch") == {dog.id}
    assert found(practice, "bramley whippet") == set()
    assert found(practice, " … ") == set()
    assert search(practice.database, practice.nurse, "bram", "client") == ()
    change_patient(
        practice.database,
        practice.nurse,
        dog,
        DOG.model_copy(update={"name": "Bracken"}),
        client.id,
        practice.at(),
    )
    assert (found(practice, "bramley"), found(practice, "bracken")) == (set(), {dog.id})
    erase_client(practice.database, practice.manager, client.id, "asked for", practice.at())
    assert found(practice, "zoe") == set()


@pytest.mark.parametrize("words", ["' OR 1=1 --", '"', "a*b", "NOT (x", "x & | !", "\x00", "ß", "x " * 500])
def test_any_text_can_be_searched_for(practice: Practice, words: str) -> None:
    practice.signed()
    found(practice, words)


def test_a_signed_record_is_found_by_what_was_found_and_said(practice: Practice) -> None:
    draft = practice.draft()
    assert found(practice, "recheck ten days") == set()
    signed = sign_record(practice.database, practice.vet, practice.ready(draft), LEXICON, practice.at())
    assert search(practice.database, practice.vet, "ear red") == (Hit(kind="record", id=signed.id),)
    assert found(practice, "recheck ten days") == {signed.id}


def test_another_practice_finds_nothing(practice: Practice) -> None:
    stranger = new_practice(practice.database, "Quarry Street Vets")
    signed = practice.signed()
    assert found(stranger, "bramley") == set()
    assert found(stranger, "ear") == set()
    (hit,) = search(practice.database, practice.vet, "bramley", "patient")
    assert visits_of(practice.database, stranger.vet, hit.id) == ()
    assert values_of(practice.database, stranger.vet, hit.id, "weight") == ()
    assert visits_of(practice.database, practice.vet, hit.id)[0].record_id == signed.id


def test_a_patients_visits_and_weights_come_in_order_and_as_amended(practice: Practice) -> None:
    patient = add_patient(practice.database, practice.nurse, DOG, None, practice.at())
    signed = []
    for weight in ("twelve", "eleven point four"):
        visit = open_visit(practice.database, practice.nurse, patient.id, "recheck", practice.at())
        heard = understood(f"Weight {weight} kilos. Heart is fine.")
        draft = keep_record(practice.database, practice.vet, visit.id, heard, practice.at())
        signed.append(
            sign_record(practice.database, practice.vet, practice.ready(draft), LEXICON, practice.at())
        )

    def weights() -> list[float]:
        return [v.value for v in values_of(practice.database, practice.vet, patient.id, "weight")]

    assert weights() == [12.0, 11.4]
    assert [v.record_id for v in visits_of(practice.database, practice.vet, patient.id)] == [
        record.id for record in reversed(signed)
    ]
    draft = amend_record(practice.database, practice.vet, signed[1], practice.at())
    correction: Operation = TypeAdapter(Operation).validate_python(
        {"do": "correct_measurement", "fact": "m1", "changes": {"value": 11.6}}
    )
    draft = review_record(practice.database, practice.vet, draft, (correction,), LEXICON, practice.at())
    sign_record(practice.database, practice.vet, draft, LEXICON, practice.at(), reason="misread the scale")
    assert weights() == [12.0, 11.6]
