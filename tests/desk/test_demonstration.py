"""The invented practice is made by the same functions as a real one, and every one of its pages opens."""

from __future__ import annotations

from pathlib import Path

from desks import Browser

from pipeline.desk import Desk, DeskOptions
from pipeline.desk.demonstration import fill
from pipeline.settings import Settings
from pipeline.store import Database, audit
from pipeline.store.stamps import now


def test_a_newcomer_sees_records_in_every_state(own_database: Database, tmp_path: Path) -> None:
    told: list[str] = []
    settings = Settings(model="tiny.en")
    made = fill(own_database, settings, tmp_path / "recordings", now(), told.append)
    assert told
    assert audit(own_database) == ()
    desk = Desk(own_database, DeskOptions(tmp_path, tmp_path / "recordings", settings))
    assert {one.role for one in made.people} == {"manager", "vet", "nurse"}
    browser = Browser(desk)
    vet = next(one for one in made.people if one.role == "vet")
    assert browser.sign_in(vet.login, made.password).status_code == 303
    waiting = browser.get("/records").text
    assert waiting.count('class="card"') >= 4
    assert "waits 3 days" in browser.get("/filing").text or "waits 4 days" in browser.get("/filing").text
    assert browser.get("/filing?state=filed").text.count('class="card"') >= 6
    ottoline = next(line for line in waiting.split("<li>") if "Ottoline" in line)
    address = ottoline.split('href="')[1].split('"')[0]
    assert 'id="player"' in browser.get(address).text
    beside = browser.get(f"{address}/beside").text
    assert "<svg" in beside
    assert "not spoken of this time" in beside or "changed" in beside
