"""Lists of owners and patients: read however they are written, every bad row named, all taken in or nothing."""

from __future__ import annotations

import contextlib
import csv
import io
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kept import Practice, new_practice
from sqlalchemy import func, select

from pipeline.store import Database, EntryError, audit, client_of, patient_by_microchip, patients_of, search
from pipeline.store.intake import Intake, read_sheet, take_in
from pipeline.store.tables import client, event, patient

LIST = """Client name,Phone,Patient,Species,Breed,Sex,DOB,Microchip
Dana Whitlock,555 0142,Juniper,Feline,DSH,FN,2023-03-20,840 000 000 000 103
Dana Whitlock,555 0142,Moss,canine,Lurcher,M,20/04/2019,
Yusuf Ö. Adeyemi,555 0199,Clover,Rabbit,,,,
Ruth Inglenook,555 0111,,,,,,
"""


@pytest.fixture
def practice(database: Database) -> Practice:
    """A practice with a manager, a vet and a nurse."""
    return new_practice(database)


def taken(practice: Practice, text: str | bytes, *, write: bool = True, **given: Any) -> Intake:
    data = text.encode() if isinstance(text, str) else text
    sheet = read_sheet(data)
    return take_in(
        practice.database, practice.nurse, sheet, practice.at(), source="0" * 64, write=write, **given
    )


def counts(database: Database) -> tuple[int, ...]:
    with database.reading() as connection:
        return tuple(
            connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in (client, patient, event)
        )


def test_a_list_is_taken_in_with_its_owners(practice: Practice) -> None:
    done = taken(practice, LIST)
    assert (done.rows, done.owners, done.patients, done.faults, done.written) == (4, 3, 3, (), True)
    juniper = patient_by_microchip(practice.database, practice.vet, "840000000000103")
    assert juniper is not None
    assert juniper.client_id is not None
    animal = juniper.patient
    assert (animal.species, animal.sex, animal.neutered, animal.birth_date) == (
        "cat",
        "female",
        True,
        date(2023, 3, 20),
    )
    owner = client_of(practice.database, practice.vet, juniper.client_id)
    assert (owner.name, owner.phone) == ("Dana Whitlock", "555 0142")
    others = patients_of(practice.database, practice.vet, owner.id)
    assert [(one.patient.name, one.patient.birth_date) for one in others] == [
        ("Juniper", date(2023, 3, 20)),
        ("Moss", date(2019, 4, 20)),
    ]
    assert [hit.kind for hit in search(practice.database, practice.vet, "adeyemi")] == ["client"]
    assert audit(practice.database) == ()


def test_a_dry_run_writes_nothing(practice: Practice) -> None:
    before = counts(practice.database)
    done = taken(practice, LIST, write=False)
    assert (done.owners, done.patients, done.written) == (3, 3, False)
    assert counts(practice.database) == before


BAD = """Owner,Owner number,Name,Species,Sex,Neutered,Born,Weight kg,Chip
A One,1,Ash,dog,m,,2020-01-02,12.5,
B Two,2,,dog,,,,,
C Three,3,Bryony,,,,,,
D Four,4,Cress,cat,tom,,,,
E Five,5,Dill,cat,f,perhaps,,,
F Six,6,Elder,cat,mn,no,,,
G Seven,7,Fern,cat,,,2031-01-01,,
H Eight,8,Gorse,cat,,,31/31/2020,,
I Nine,9,Holly,cat,,,,heavy,
J Ten,10,Ivy,cat,,,,,9.41E+14
K Eleven,11,Jasmine,cat,,,,,94100001234
L Twelve,12,Kale,cat,,,,,941000012345678
M Thirteen,13,Larch,dog,,,,,941-000-012-345-678
A One,1,Ash,dog,,,,,
N Fourteen,1,Maple,dog,,,,,
,99,Nettle,dog,,,,,
O Fifteen,15,Oak,dog,,,,
,,,,m,,,,
"""


def test_every_bad_row_is_named_with_its_line_and_nothing_is_taken_in(practice: Practice) -> None:
    before = counts(practice.database)
    done = taken(practice, BAD)
    told = {fault.line: fault.reason for fault in done.faults}
    expected = {
        3: "has no name",
        4: "has no species",
        5: "sex 'tom'",
        6: "neutered 'perhaps'",
        7: "sex says 'mn' and neutered says 'no'",
        8: "lies ahead",
        9: "is no day",
        10: "weight 'heavy'",
        11: "rounded by a spreadsheet",
        12: "15 digits; this one has 11",
        14: "stands in line 13, too",
        15: "of the same owner stands in line 2, too",
        16: "is another owner's",
        17: "has no name in this row, nor in one before",
        18: "has 8 columns, and the heading has 9",
        19: "names neither an owner nor a patient",
    }
    assert told.keys() == expected.keys()
    for line, reason in expected.items():
        assert reason in told[line], (line, told[line])
    assert not done.written
    assert counts(practice.database) == before
    assert audit(practice.database) == ()


def test_the_same_list_again_is_told_and_takes_nothing_twice(practice: Practice) -> None:
    taken(practice, LIST)
    before = counts(practice.database)
    again = taken(practice, LIST)
    assert [fault.line for fault in again.faults] == [2, 2, 3, 4]
    assert "is that of Juniper, who is kept already" in again.faults[0].reason
    assert counts(practice.database) == before
    more = taken(practice, LIST.splitlines()[0] + "\nDana Whitlock,555 0142,Teasel,ferret,,,,\n")
    assert (more.owners, more.owners_known, more.patients, more.written) == (0, 1, 1, True)


def test_an_older_microchip_is_taken_with_a_note(practice: Practice) -> None:
    done = taken(practice, "name,species,microchip\nAsh,dog,0A1234567B\n")
    assert (done.written, [note.line for note in done.notes]) == (True, [2])


@pytest.mark.parametrize(
    ("dates", "order", "born"),
    [
        (("03/04/2020", "25/04/2020"), None, date(2020, 4, 3)),
        (("03/04/2020", "04/25/2020"), None, date(2020, 3, 4)),
        (("03/04/2020", "05/05/2020"), "month-first", date(2020, 3, 4)),
        (("3.4.2020", "5.5.2020"), "day-first", date(2020, 4, 3)),
    ],
)
def test_the_order_of_dates_is_found_out_or_asked_for(
    practice: Practice, dates: tuple[str, str], order: str | None, born: date
) -> None:
    text = f"name,species,dob\nAsh,dog,{dates[0]}\nBryony,dog,{dates[1]}\n"
    if order is not None:
        with pytest.raises(EntryError, match="--dates"):
            taken(practice, text)
    assert taken(practice, text, order=order).written
    (hit,) = search(practice.database, practice.vet, "ash", "patient")
    with practice.database.reading() as connection:
        found = connection.execute(select(patient.c.birth_date).where(patient.c.id == hit.id)).scalar_one()
    assert found == born


@settings(max_examples=60, deadline=None)
@given(
    rows=st.lists(
        st.tuples(
            st.text("abcdefghijäöéñ ŽÅ\"',;|\n\t", min_size=1, max_size=20).filter(lambda t: t.strip() != ""),
            st.sampled_from(["dog", "cat", "Lama glama"]),
        ),
        min_size=1,
        max_size=8,
    ),
    delimiter=st.sampled_from(",;\t|"),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    ending=st.sampled_from(["\n", "\r\n"]),
)
def test_what_the_standard_writer_writes_is_read(
    rows: list[tuple[str, str]], delimiter: str, encoding: str, quoting: int, ending: str
) -> None:
    """Any delimiter, encoding, quoting and usual line ending; the csv module of Python's library writes."""
    text = io.StringIO()
    writer: Any = csv.writer(text, delimiter=delimiter, quoting=quoting, lineterminator=ending)  # type: ignore[arg-type]
    writer.writerow(["Patient name", "Species", "Shoe size"])
    writer.writerows([name, species, ""] for name, species in rows)
    sheet = read_sheet(text.getvalue().encode(encoding))
    assert sheet.delimiter == delimiter
    assert sheet.ignored == ("Shoe size",)
    found = [(row.cells["name"], row.cells["species"]) for row in sheet.rows]
    assert found == [(" ".join(name.split()), species) for name, species in rows]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (b"\n \n", "is empty"),
        (b"colour,shape\nred,round\n", "has no column for name and species"),
        (b"name\nAsh\n", "has no column for species"),
        (b"name,patient,species\nA,B,dog\n", "mean the same"),
        (b'name,species\n"Ash,dog\n', "quotation marks"),
        (b'name,species\n"Ash"x,dog\n', "Line 2"),
        (b"name,species\nA\0sh,dog\n", "no text has"),
        (b"\x81\x8d\x8f,\x90", "no encoding that could be found out"),
    ],
)
def test_a_list_that_cannot_be_read_is_told_as_a_whole(data: bytes, says: str) -> None:
    with pytest.raises(EntryError, match=says):
        read_sheet(data)


@settings(max_examples=80, deadline=None)
@given(data=st.binary(max_size=300))
def test_rubbish_is_refused_in_words_or_read(data: bytes) -> None:
    for given_data in (data, b"name,species\n" + data):
        with contextlib.suppress(EntryError):
            read_sheet(given_data)


def test_lines_that_end_as_on_old_machines_are_read() -> None:
    assert [row.cells["name"] for row in read_sheet(b"name,species\rAsh,dog\rBryony,cat\r").rows] == [
        "Ash",
        "Bryony",
    ]


def test_the_line_that_spreadsheets_add_is_no_heading() -> None:
    sheet = read_sheet(b"sep=;\nname;species\nAsh;dog\n")
    assert (sheet.delimiter, [row.line for row in sheet.rows]) == (";", [3])
