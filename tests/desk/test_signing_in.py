"""Signing in, the first account, and what keeps strangers out."""

from __future__ import annotations

from pathlib import Path

import pytest
from desks import PASSWORD, ROLES, Browser, Practice, new_desk

from pipeline.desk.guard import LARGEST_BODY
from pipeline.desk.passwords import hashed
from pipeline.store import Database, EntryError, account_of, events_of, people, retire_person


@pytest.mark.parametrize("role", ROLES)
def test_who_knows_the_password_comes_in(practice: Practice, role: str) -> None:
    browser = practice.browser(role)
    page = browser.get("/")
    assert page.status_code == 200
    assert practice.people[role].name in page.text


def test_nobody_else_does(practice: Practice) -> None:
    browser = practice.browser()
    assert browser.get("/").headers["location"] == "/sign-in?next=/"
    wrong = browser.sign_in("vet", "not the password")
    assert wrong.status_code == 403
    assert "do not belong together" in wrong.text
    assert browser.sign_in("nobody", "not the password").text == wrong.text.replace('"vet"', '"nobody"')
    assert browser.get("/").status_code == 303


def test_after_signing_in_one_goes_on_where_one_was_and_nowhere_else(practice: Practice) -> None:
    for asked, got in (
        ("/people", "/people"),
        ("//elsewhere.example", "/"),
        ("https://elsewhere.example", "/"),
        ("/\\elsewhere.example", "/"),
    ):
        assert practice.browser().sign_in("manager", next=asked).headers["location"] == got


def test_guessing_gets_slower_and_the_wait_is_told(practice: Practice) -> None:
    """Also with the right password, which would tell a guesser that it is the one."""
    browser = practice.browser()
    for _ in range(5):
        assert browser.sign_in("vet", "a wrong password").status_code == 403
    waiting = browser.sign_in("vet")
    assert waiting.status_code == 429
    assert 0 < int(waiting.headers["retry-after"]) <= 4
    assert practice.browser().sign_in("nurse").status_code == 303
    practice.clock.forward(seconds=5)
    assert browser.sign_in("vet").status_code == 303


def test_a_sign_in_ends_when_nobody_comes_and_at_the_end_of_the_day(practice: Practice) -> None:
    idle, busy = practice.browser("vet"), practice.browser("vet")
    for _ in range(12):
        practice.clock.forward(minutes=55)
        assert busy.get("/").status_code == 200
    assert idle.get("/").status_code == 303
    practice.clock.forward(minutes=61)
    assert busy.get("/").status_code == 303


def test_signing_out_ends_it_on_the_server_too(practice: Practice) -> None:
    browser, other = practice.browser("vet"), practice.browser("vet")
    kept = dict(browser.cookies)
    browser.fill("/sign-out")
    again = Browser(practice.desk)
    again.cookies.update(kept)
    assert again.get("/").status_code == 303
    assert other.get("/").status_code == 200
    other.fill("/sign-out", everywhere="1")
    assert other.get("/").status_code == 303


def test_who_left_is_out_at_once(practice: Practice) -> None:
    browser = practice.browser("vet")
    retire_person(
        practice.database, practice.people["manager"], practice.people["vet"].person_id, practice.clock()
    )
    assert browser.get("/").status_code == 303
    assert practice.browser().sign_in("vet").status_code == 403


def test_a_new_password_ends_every_other_sign_in(practice: Practice) -> None:
    browser, other = practice.browser("vet"), practice.browser("vet")
    fresh = "three-herons-wade"
    assert browser.fill("/me/password", password="not mine", new=fresh, again=fresh).status_code == 403
    assert browser.fill("/me/password", password=PASSWORD, new=fresh, again="else").status_code == 422
    assert browser.fill("/me/password", password=PASSWORD, new="short", again="short").status_code == 422
    assert browser.fill("/me/password", password=PASSWORD, new=fresh, again=fresh).status_code == 303
    assert browser.get("/").status_code == 200
    assert other.get("/").status_code == 303
    assert practice.browser().sign_in("vet", fresh).status_code == 303


def test_passwords_are_kept_as_argon2id_alone(practice: Practice) -> None:
    """RFC 9106: the encoded form begins with the variant, then version and costs."""
    account = account_of(practice.database, "vet")
    assert account is not None
    assert account.password.startswith("$argon2id$v=19$m=")
    assert PASSWORD not in account.password
    with pytest.raises(EntryError, match="10 to 200"):
        hashed("too short")


def test_signing_in_stands_in_the_trail(practice: Practice) -> None:
    practice.browser("nurse").fill("/sign-out")
    events = events_of(practice.database, practice.people["manager"])
    assert [event.action for event in events][-2:] == ["sign_in", "sign_out"]


# --- the first start -----------------------------------------------------------------------------------


def test_the_first_start_makes_practice_and_manager(own_database: Database, tmp_path: Path) -> None:
    desk, _ = new_desk(own_database, tmp_path, code="5f00d5")
    browser = Browser(desk)
    assert browser.get("/").headers["location"] == "/sign-in?next=/"
    assert browser.get("/sign-in").headers["location"] == "/set-up"
    fields = {"practice": "Fennel Row", "manager": "Odile", "login": "Odile.F", "code": "5f00d5"}
    fields |= {"password": PASSWORD, "again": PASSWORD}
    for wrong in ({"code": "guess"}, {"code": ""}, {"again": "other"}, {"login": "ö"}, {"practice": " "}):
        refused = browser.fill("/set-up", **{**fields, **wrong})
        assert refused.status_code in (403, 422)
        assert people(own_database) == ()
    assert browser.fill("/set-up", **fields).headers["location"] == "/people?new=1"
    assert browser.get("/people").status_code == 200
    assert Browser(desk).get("/set-up").status_code == 404
    assert Browser(desk).sign_in("odile.f").status_code == 303


def test_a_practice_begun_on_the_command_line_gets_its_account(
    own_database: Database, tmp_path: Path
) -> None:
    from pipeline.store import found_practice  # noqa: PLC0415

    desk, clock = new_desk(own_database, tmp_path, code="5f00d5")
    manager = found_practice(own_database, "Fennel Row", "Odile Farran", clock())
    browser = Browser(desk)
    assert "Fennel Row" in browser.get("/set-up").text
    fields = {"person": manager.person_id, "login": "odile", "code": "5f00d5"}
    browser.fill("/set-up", **fields, password=PASSWORD, again=PASSWORD)
    assert browser.get("/people").status_code == 200
    assert len(people(own_database)) == 1


# --- strangers -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_what_comes_from_another_site_is_not_done(practice: Practice, headers: dict[str, str]) -> None:
    browser = practice.browser("vet")
    refused = browser.post("/sign-out", data={"form_token": browser.token()}, headers=headers)
    assert refused.status_code == 403
    assert browser.get("/").status_code == 200


def test_a_form_without_this_browsers_token_is_not_taken(practice: Practice) -> None:
    browser, other = practice.browser("vet"), practice.browser("vet")
    for token in ("", "0" * 64, other.token()):
        assert browser.post("/sign-out", data={"form_token": token}).status_code == 403
    assert browser.get("/").status_code == 200


def test_what_is_too_large_is_refused_before_it_is_read(practice: Practice) -> None:
    browser = practice.browser("vet")

    def pieces() -> object:
        for _ in range(2 * LARGEST_BODY // 65536):
            yield b"x" * 65536

    assert browser.post("/sign-out", content=b"x" * (LARGEST_BODY + 1)).status_code == 413
    form = {"content-type": "application/x-www-form-urlencoded"}
    assert browser.post("/sign-out", content=pieces(), headers=form).status_code == 413  # type: ignore[arg-type]


def test_headers_that_browsers_obey_are_on_every_answer(practice: Practice) -> None:
    """The set that the OWASP secure headers project names; from memory."""
    browser = practice.browser("vet")
    for address in ("/", "/no-such-page", "/static/x/desk.css", "/app.webmanifest", "/worker.js"):
        headers = browser.get(address).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert "frame-ancestors 'none'" in policy
    assert browser.get("/").headers["cache-control"] == "no-store"


def test_cookies_cannot_be_read_by_scripts_and_over_tls_not_sent_without_it(practice: Practice) -> None:
    plain = Browser(practice.desk)
    cookie = plain.sign_in("vet").headers["set-cookie"]
    assert "httponly" in cookie.lower()
    assert "samesite=strict" in cookie.lower()
    secure = Browser(practice.desk)
    secure.base_url = "https://localhost"
    answer = secure.sign_in("vet")
    assert answer.headers["set-cookie"].startswith("__Host-rostral_sign_in=")
    assert "secure" in answer.headers["set-cookie"].lower()
    assert "max-age" in answer.headers["strict-transport-security"]
