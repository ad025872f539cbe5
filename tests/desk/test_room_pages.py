"""The pages before the exam room, and the line that its page speaks over: who may, what is answered, what is refused."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from desks import DOG, Browser, Practice, signed
from examining import on_the_table
from starlette.testclient import WebSocketTestSession
from starlette.websockets import WebSocketDisconnect

from pipeline.capture import read_folder
from pipeline.desk.rooms import Piece, write_piece
from pipeline.record import Owner
from pipeline.store import (
    add_client,
    add_patient,
    add_person,
    found_practice,
    open_visit,
    record_line,
    visits_of,
)

RATE_HZ = 16_000
SOUND = np.random.default_rng(7).integers(-900, 900, 2 * RATE_HZ, dtype=np.int16)


def test_a_patient_is_found_by_name_owner_or_chip(practice: Practice) -> None:
    """A scanned microchip number leads straight to the patient."""
    database, nurse, at = practice.database, practice.people["nurse"], practice.clock()
    owner = add_client(database, nurse, Owner(name="Wil Tanager"), at)
    chipped = add_patient(
        database,
        nurse,
        DOG.model_copy(update={"name": "Sorrel", "microchip": "985000000000017"}),
        owner.id,
        at,
    )
    browser = practice.browser("nurse")
    for words in ("sorr", "tanager"):
        assert f'href="/room?patient={chipped.id}"' in browser.get("/room", params={"words": words}).text
    scanned = browser.get("/room", params={"words": "985000000000017"})
    assert scanned.headers["location"] == f"/room?patient={chipped.id}"
    assert "Nobody here is called so" in browser.get("/room?words=nobodyatall").text
    assert 'href="/patients/new?then=room"' in browser.get("/room").text


def test_before_a_visit_begins_last_times_abnormal_findings_are_seen(practice: Practice) -> None:
    line = record_line(practice.database, practice.people["vet"], signed(practice).id)
    browser = practice.browser("vet")
    page = browser.get(f"/room?patient={line.patient_id}").text
    assert "Last time, 16 June 2025" in page
    assert "Redness of the ear (left)" in page
    without = browser.fill("/room", patient=line.patient_id)
    assert without.status_code == 422
    assert "Choose the kind of visit" in without.text
    begun = browser.fill("/room", patient=line.patient_id, kind="senior")
    visit = visits_of(practice.database, practice.people["vet"], line.patient_id)[0]
    assert begun.headers["location"] == f"/room/{visit.visit_id}"
    assert visit.kind == "senior"


def test_a_visit_that_was_begun_is_found_again_until_it_has_a_record(practice: Practice) -> None:
    """One of today always, an older one while its room holds something."""
    today, forgotten, recorded = (on_the_table(practice) for _ in range(3))
    browser = practice.browser("vet")
    assert browser.get(f"/room/{recorded.id}").status_code == 200
    assert all(one.id in browser.get("/room").text for one in (today, forgotten, recorded))
    practice.clock.forward(days=2)
    page = practice.browser("vet").get("/room").text
    assert recorded.id in page
    assert forgotten.id not in page
    with_record = signed(practice)
    line = record_line(practice.database, practice.people["vet"], with_record.id)
    assert line.visit_id not in practice.browser("vet").get("/room").text
    led = practice.browser("vet").get(f"/room/{line.visit_id}")
    assert led.headers["location"] == f"/records/{with_record.id}"


def test_a_room_of_another_practice_is_not_there(practice: Practice) -> None:
    database, at = practice.database, practice.clock()
    stranger = add_person(
        database, found_practice(database, "Quarry Hill", "Ned Pell", at), "Una Sayer", "vet", at
    )
    visit = open_visit(database, stranger, add_patient(database, stranger, DOG, None, at).id, "sick", at)
    browser = practice.browser("vet")
    for visit_id in (visit.id, "0" * 32):
        assert browser.get(f"/room/{visit_id}").status_code == 404
        assert closed_with(browser, visit_id) == 4404
    assert visit.patient_id not in browser.get("/room?words=bramley").text


@contextlib.contextmanager
def connect(browser: Browser, visit_id: str) -> Iterator[WebSocketTestSession]:
    """A line of the exam room. As it leaves, the client ends what the desk still does for it, however far that is."""
    with (
        contextlib.suppress(CancelledError),
        browser.websocket_connect(f"ws://localhost/room/{visit_id}/sound") as line,
    ):
        yield line


def closed_with(browser: Browser, visit_id: str, *sent: str | bytes) -> int:
    """The code that a line is closed with after some messages."""
    with connect(browser, visit_id) as line:
        for one in sent:
            if isinstance(one, str):
                line.send_text(one)
            else:
                line.send_bytes(one)
        with contextlib.suppress(WebSocketDisconnect):
            while True:
                message = line.receive()
                if message["type"] == "websocket.close":
                    return int(message["code"])
    raise AssertionError("it was not closed")


def announce(stream: str = "b-1", rate_hz: int = RATE_HZ, *, over: bool = False) -> str:
    return json.dumps({"stream": stream, "rate_hz": rate_hz, "source": "a test", "over": over})


def answer(line: WebSocketTestSession, fits: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    """The next message that is wanted."""
    while True:
        message: dict[str, Any] = line.receive_json()
        if fits(message):
            return message


@pytest.mark.parametrize(("who", "code"), [(None, 4401), ("manager", 4403)])
def test_a_line_is_for_vets_and_nurses(practice: Practice, who: str | None, code: int) -> None:
    assert closed_with(practice.browser(who), on_the_table(practice).id) == code


def test_what_is_no_piece_or_no_announcement_closes_the_line(practice: Practice) -> None:
    """So the page sends again from what is safe."""
    visit = on_the_table(practice)
    piece = bytearray(write_piece(Piece(0, SOUND[:1600])))
    piece[30] ^= 1
    browser = practice.browser("vet")
    assert closed_with(browser, visit.id, announce(), bytes(piece)) == 4400
    assert closed_with(browser, visit.id, "{}") == 4400
    assert closed_with(browser, visit.id, announce(stream="../up")) == 4400
    assert closed_with(browser, visit.id, announce(rate_hz=48_000)) == 4409
    assert closed_with(browser, visit.id, announce("b-2", rate_hz=3)) == 4409
    assert closed_with(browser, visit.id, write_piece(Piece(0, SOUND[:1600]))) == 4409
    assert closed_with(browser, "0" * 32) == 4404
    browser.app.state.rooms.leave()  # type: ignore[attr-defined]


def test_a_page_of_another_site_opens_no_line(practice: Practice) -> None:
    browser, visit = practice.browser("vet"), on_the_table(practice)
    for headers in ({"sec-fetch-site": "cross-site"}, {"origin": "https://elsewhere.example"}):
        with (
            pytest.raises(WebSocketDisconnect) as refused,
            browser.websocket_connect(f"ws://localhost/room/{visit.id}/sound", headers=headers),
        ):
            pass
        assert refused.value.code == 4403


def test_sound_is_acknowledged_when_it_is_on_the_disk(practice: Practice) -> None:
    """Also the last of it, that no more follows on; a second line goes on where the first one was."""
    visit, browser = on_the_table(practice), practice.browser("nurse")
    with connect(browser, visit.id) as line:
        line.send_text(announce())
        assert answer(line, lambda one: "stream" in one) == {"stream": "b-1", "safe": 0}
        for first in range(0, 8_000, 1_600):
            line.send_bytes(write_piece(Piece(first, SOUND[first : first + 1_600])))
        line.send_bytes(write_piece(Piece(8_000, SOUND[8_000:8_100])))
        assert answer(line, lambda one: one.get("safe") == 8_100)
    folder = practice.desk.options.recordings / visit.id / "001"
    with connect(browser, visit.id) as line:
        line.send_text(announce())
        assert answer(line, lambda one: "stream" in one)["safe"] == 8_100
        line.send_bytes(write_piece(Piece(6_400, SOUND[6_400:9_600])))
        line.send_text(announce(over=True))
        assert answer(line, lambda one: one.get("safe") == 9_600)
    browser.app.state.rooms.leave()  # type: ignore[attr-defined]
    assert np.array_equal(read_folder(folder).pcm, SOUND[:9_600])


def test_news_come_at_once_and_then_only_what_changed(practice: Practice) -> None:
    visit, browser = on_the_table(practice), practice.browser("vet")
    with connect(browser, visit.id) as line:
        first = answer(line, lambda one: "news" in one)["news"]
        assert {"room", "heard", "level", "waits_s", "length_s", "record"} == set(first)
        assert len(first["record"]["systems"]) == 13
        assert first["record"]["missing"]
        line.send_text(announce())
        line.send_bytes(write_piece(Piece(0, SOUND)))
        later = answer(line, lambda one: bool(one.get("news")))["news"]
        assert "record" not in later
    browser.app.state.rooms.leave()  # type: ignore[attr-defined]


def test_a_sign_in_that_ended_closes_the_line(practice: Practice, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is looked at once a minute; here at once."""
    monkeypatch.setattr("pipeline.desk.routes.room_sound._LOOK_S", 0.0)
    visit, browser = on_the_table(practice), practice.browser("vet")
    with connect(browser, visit.id) as line:
        answer(line, lambda one: "news" in one)
        practice.clock.forward(hours=13)
        with contextlib.suppress(WebSocketDisconnect):
            while (message := line.receive())["type"] != "websocket.close":
                pass
        assert message["code"] == 4401
    browser.app.state.rooms.leave()  # type: ignore[attr-defined]


def test_a_disk_that_fails_is_told_and_nothing_acknowledged(practice: Practice) -> None:
    """The folder of recordings cannot be written: the line is refused in words."""
    options = replace(practice.desk.options, recordings=practice.desk.options.data / "a file")
    options.data.mkdir(parents=True, exist_ok=True)
    options.recordings.write_text("not a folder", encoding="utf-8")
    desk = replace(practice.desk, options=options)
    browser = Browser(desk)
    browser.sign_in("vet")
    page = browser.get(f"/room/{on_the_table(practice).id}")
    assert page.status_code == 409
    assert "folder of recordings cannot be used" in page.text
