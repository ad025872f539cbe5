"""Who may ask for what: every address of the desk, every role, and nobody. A route without a row here fails."""

from __future__ import annotations

from typing import Any

import pytest
from desks import ROLES, Practice, draft, signed
from examining import on_the_table
from fastapi.routing import APIRoute

from pipeline.desk.app import AREAS
from pipeline.store import patient_of, record_line

OPEN, SIGN_IN, DONE, NO, LOST, TAKEN, FORM = 200, 303, 200, 403, 404, 303, 422
TOKEN, STALE = 401, 409

# Address → answers to nobody, vet, nurse, manager. A form that lacks its fields answers 422 to whoever may send it.
MATRIX: dict[str, tuple[int, int, int, int]] = {
    "GET /": (SIGN_IN, DONE, DONE, DONE),
    "GET /sign-in": (OPEN, TAKEN, TAKEN, TAKEN),
    "POST /sign-in": (NO, NO, NO, NO),
    "POST /sign-out": (SIGN_IN, TAKEN, TAKEN, TAKEN),
    "GET /set-up": (LOST, LOST, LOST, LOST),
    "POST /set-up": (LOST, LOST, LOST, LOST),
    "GET /me": (SIGN_IN, DONE, DONE, DONE),
    "POST /me/password": (SIGN_IN, NO, NO, NO),
    "GET /me/tokens": (SIGN_IN, DONE, DONE, DONE),
    "POST /me/tokens": (SIGN_IN, FORM, FORM, FORM),
    "POST /me/tokens/{token_id}/revoke": (SIGN_IN, LOST, LOST, LOST),
    "GET /people": (SIGN_IN, NO, NO, DONE),
    "POST /people": (SIGN_IN, NO, NO, FORM),
    "POST /people/{person_id}/sign-in": (SIGN_IN, NO, NO, FORM),
    "POST /people/{person_id}/retire": (SIGN_IN, NO, NO, LOST),
    "GET /practice": (SIGN_IN, NO, NO, DONE),
    "POST /practice": (SIGN_IN, NO, NO, FORM),
    "GET /records": (SIGN_IN, DONE, DONE, DONE),
    "GET /records/{record_id}": (SIGN_IN, DONE, DONE, DONE),
    "GET /records/{record_id}/board": (SIGN_IN, DONE, DONE, DONE),
    "GET /records/{record_id}/beside": (SIGN_IN, DONE, DONE, DONE),
    "GET /records/{record_id}/draft.pdf": (SIGN_IN, DONE, DONE, DONE),
    "GET /records/{record_id}/sound": (SIGN_IN, LOST, LOST, LOST),
    "GET /records/{record_id}/sound.json": (SIGN_IN, LOST, LOST, LOST),
    "POST /records/{record_id}/again": (SIGN_IN, FORM, FORM, NO),
    "POST /records/{record_id}/do": (SIGN_IN, FORM, FORM, NO),
    "POST /records/{record_id}/sign": (SIGN_IN, NO, NO, NO),
    "POST /records/{record_id}/amend": (SIGN_IN, NO, NO, NO),
    "POST /records/{record_id}/leave": (SIGN_IN, NO, NO, NO),
    "POST /records/{record_id}/aside": (SIGN_IN, FORM, FORM, NO),
    "POST /records/{record_id}/take-up": (SIGN_IN, NO, NO, NO),
    "GET /records/{record_id}/facts/{fact_id}": (SIGN_IN, DONE, DONE, NO),
    "POST /records/{record_id}/facts/{fact_id}": (SIGN_IN, FORM, FORM, NO),
    "GET /records/{record_id}/new/{kind}": (SIGN_IN, DONE, DONE, NO),
    "POST /records/{record_id}/new/{kind}": (SIGN_IN, STALE, STALE, NO),
    "GET /lexicon/{what}": (SIGN_IN, DONE, DONE, DONE),
    "GET /filing": (SIGN_IN, DONE, DONE, DONE),
    "GET /filing/{signed_id}": (SIGN_IN, DONE, DONE, DONE),
    "GET /filing/{signed_id}/documents/{form}": (SIGN_IN, DONE, DONE, DONE),
    "POST /filing/{signed_id}/filed": (SIGN_IN, FORM, FORM, NO),
    "GET /filing/deliveries": (SIGN_IN, DONE, DONE, DONE),
    "GET /filing/{signed_id}/deliveries": (SIGN_IN, DONE, DONE, DONE),
    "POST /filing/{signed_id}/deliveries": (SIGN_IN, FORM, FORM, NO),
    "POST /filing/{signed_id}/deliveries/{delivery_id}/again": (SIGN_IN, LOST, LOST, NO),
    "POST /filing/{signed_id}/deliveries/{delivery_id}/give-up": (SIGN_IN, LOST, LOST, NO),
    "GET /room": (SIGN_IN, DONE, DONE, NO),
    "POST /room": (SIGN_IN, FORM, FORM, NO),
    "GET /room/{visit_id}": (SIGN_IN, DONE, DONE, NO),
    "POST /room/{lost_id}/end": (SIGN_IN, LOST, LOST, NO),
    "POST /room/{visit_id}/microphone": (SIGN_IN, FORM, FORM, NO),
    "GET /find": (SIGN_IN, DONE, DONE, DONE),
    "GET /patients/new": (SIGN_IN, DONE, DONE, DONE),
    "POST /patients/new": (SIGN_IN, FORM, FORM, FORM),
    "GET /patients/{patient_id}": (SIGN_IN, DONE, DONE, DONE),
    "GET /patients/{patient_id}/edit": (SIGN_IN, DONE, DONE, DONE),
    "POST /patients/{patient_id}/edit": (SIGN_IN, STALE, STALE, STALE),
    "GET /owners/new": (SIGN_IN, DONE, DONE, DONE),
    "POST /owners/new": (SIGN_IN, FORM, FORM, FORM),
    "GET /owners/{owner_id}": (SIGN_IN, DONE, DONE, DONE),
    "GET /owners/{owner_id}/edit": (SIGN_IN, DONE, DONE, DONE),
    "POST /owners/{owner_id}/edit": (SIGN_IN, STALE, STALE, STALE),
    "POST /owners/{owner_id}/mail": (SIGN_IN, FORM, FORM, FORM),
    "GET /static/{asked}/{name}": (OPEN, OPEN, OPEN, OPEN),
    "GET /app.webmanifest": (OPEN, OPEN, OPEN, OPEN),
    "GET /worker.js": (OPEN, OPEN, OPEN, OPEN),
    "GET /offline": (OPEN, OPEN, OPEN, OPEN),
    "POST /look": (TAKEN, TAKEN, TAKEN, TAKEN),
    "GET /healthz": (OPEN, OPEN, OPEN, OPEN),
    "GET /metrics": (TOKEN, TOKEN, TOKEN, TOKEN),
    "GET /api/openapi.json": (OPEN, OPEN, OPEN, OPEN),
}
ELSEWHERE = ("/api/v1/",)
"""The interface for programs knows no sign-in (test_api.py); who may listen in a room stands in test_room_pages.py."""


def addresses() -> set[str]:
    """Method and address of every route."""
    routes = [route for area in AREAS for route in area.router.routes if isinstance(route, APIRoute)]
    found = {f"{method} {route.path}" for route in routes for method in route.methods or ()}
    return {one for one in found if not one.split(" ")[1].startswith(ELSEWHERE)}


def test_every_route_has_its_row() -> None:
    known = {row.replace("{signed_id}", "{record_id}").replace("{lost_id}", "{visit_id}") for row in MATRIX}
    assert addresses() | {"GET /api/openapi.json"} == known


@pytest.mark.parametrize("who", [None, *ROLES])
def test_every_route_answers_each_role_as_the_table_says(practice: Practice, who: str | None) -> None:
    waiting, done = draft(practice), signed(practice)
    line = record_line(practice.database, practice.people["vet"], waiting.id)
    places: dict[str, Any] = {
        "record_id": waiting.id,
        "signed_id": done.id,
        "patient_id": line.patient_id,
        "owner_id": patient_of(practice.database, practice.people["vet"], line.patient_id).client_id,
        "fact_id": "f1",
        "kind": "finding",
        "what": "findings",
        "form": "data",
        "person_id": "0" * 32,
        "token_id": "0" * 32,
        "asked": "x",
        "name": "desk.css",
        "visit_id": on_the_table(practice).id,
        "lost_id": "0" * 32,
        "delivery_id": "0" * 32,
    }
    column = [None, *ROLES].index(who)
    wrong = {}
    for row, answers in MATRIX.items():
        method, pattern = row.split(" ")
        browser = practice.browser(who)
        address = pattern.format_map(places)
        if method == "POST":
            data = {"form_token": browser.token()}
            headers = {"X-Form-Token": data["form_token"]}
            answer = browser.post(address, data=data, headers=headers)
        else:
            answer = browser.get(address)
        if answer.status_code != answers[column]:
            wrong[row] = (answer.status_code, answers[column])
        if column == 0 and answers[0] == SIGN_IN and row != "POST /look":
            assert answer.headers["location"].startswith("/sign-in"), row
    assert wrong == {}
