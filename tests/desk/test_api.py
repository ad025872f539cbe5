"""The interface for programs: tokens and their scopes, the same services, and that no request makes the server fail."""

from __future__ import annotations

import re
from typing import Any

import pytest
import schemathesis
from desks import QUESTIONS, Practice, draft, signed
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, settings
from prometheus_client.parser import text_string_to_metric_families

from pipeline.desk import create_app
from pipeline.store import make_token
from pipeline.store.sign_ins import Scope

ALL: frozenset[Any] = frozenset(Scope.__args__)  # type: ignore[attr-defined]


def program(practice: Practice, *scopes: str, role: str = "vet") -> TestClient:
    """A program with a token of somebody who has the role."""
    secret = f"secret of {role} {sorted(scopes)}"
    at = practice.clock()
    make_token(
        practice.database,
        practice.people[role],
        secret,
        "a program",
        frozenset(scopes) or ALL,
        at,
        at.replace(year=at.year + 1),
    )
    return TestClient(
        create_app(practice.desk),
        base_url="http://localhost",
        headers={"Authorization": f"Bearer {secret}"},
        raise_server_exceptions=False,
    )


def test_a_program_examines_reviews_and_files(practice: Practice) -> None:
    asks = program(practice)
    owner = asks.post("/api/v1/owners", json={"name": "Cass Orrin"}).json()
    animal = {"name": "Bramley", "species": "dog", "microchip": "900000000000106"}
    patient = asks.post("/api/v1/patients", json={"patient": animal, "owner": owner["id"]}).json()
    visit = asks.post(f"/api/v1/patients/{patient['id']}/visits", json={"kind": "recheck"}).json()
    said = {"text": "Left ear red. Weight twelve kilos."}
    kept = asks.post(f"/api/v1/visits/{visit['id']}/records", params={"patient": patient["id"]}, json=said)
    assert kept.status_code == 201
    record = kept.json()
    assert [one["concept"] for one in record["standing"]["findings"]] == ["ear_redness"]
    deeds = {"revision": record["revision"], "operations": [{"do": "accept_certain"}]}
    done = asks.post(f"/api/v1/records/{record['id']}/operations", json=deeds)
    assert done.json()["review"]["findings"][0]["standing"] == "accepted"
    late = asks.post(f"/api/v1/records/{record['id']}/operations", json=deeds)
    assert late.status_code == 409
    found = asks.get("/api/v1/find", params={"words": "bram"}).json()
    assert [hit["kind"] for hit in found] == ["patient"]
    ready = signed(practice)
    filed = asks.post(f"/api/v1/records/{ready.id}/filed", json={"revision": ready.revision, "note": "here"})
    assert filed.json()["state"] == "filed"
    assert asks.get(f"/api/v1/records/{ready.id}/versions/1").json()["signed_by"] == "Ines Halloran"


@pytest.mark.parametrize(
    ("scope", "address"),
    [
        ("records:read", "/api/v1/records"),
        ("patients:read", "/api/v1/find?words=x"),
        ("metrics:read", "/metrics"),
    ],
)
def test_a_token_reaches_as_far_as_its_scopes(practice: Practice, scope: str, address: str) -> None:
    assert program(practice, scope).get(address).status_code == 200
    other = program(practice, "records:write").get(address)
    assert other.status_code == 403
    assert scope in other.json()["message"]
    nobody = TestClient(create_app(practice.desk), base_url="http://localhost").get(address)
    assert nobody.status_code == 401
    assert nobody.headers["www-authenticate"] == "Bearer"


def test_a_token_goes_no_further_than_its_owners_role(practice: Practice) -> None:
    kept = draft(practice, QUESTIONS)
    deeds = {"revision": 1, "operations": [{"do": "accept_certain"}]}
    refused = program(practice, role="manager").post(f"/api/v1/records/{kept.id}/operations", json=deeds)
    assert refused.status_code == 403


def test_what_no_text_holds_is_refused(practice: Practice) -> None:
    asks = program(practice)
    animal = {"patient": {"name": "Bram\0ley", "species": "dog"}}
    assert asks.post("/api/v1/patients", json=animal).status_code == 422
    assert asks.get("/api/v1/find?words=a%00b").status_code == 400


def test_tokens_are_made_shown_once_used_and_taken_back(practice: Practice) -> None:
    browser = practice.browser("nurse")
    page = browser.fill("/me/tokens", **{"name": "the scales", "records:read": "yes", "days": "30"})
    shown = re.search(r"rostral_[\w-]{40,}", page.text)
    assert shown
    assert shown[0] not in browser.get("/me/tokens").text
    asks = TestClient(create_app(practice.desk), headers={"Authorization": f"Bearer {shown[0]}"})
    assert asks.get("/api/v1/me").json()["name"] == "the scales"
    identifier = asks.get("/api/v1/me").json()["id"]
    practice.clock.forward(days=31)
    assert asks.get("/api/v1/me").status_code == 401
    practice.clock.forward(days=-31)
    assert browser.fill(f"/me/tokens/{identifier}/revoke").status_code == 303
    assert asks.get("/api/v1/me").status_code == 401
    for wrong in ({"days": "0"}, {"days": "many"}, {"name": ""}, {"records:read": ""}):
        fields = {"name": "x", "records:read": "yes", "days": "1", **wrong}
        assert browser.fill("/me/tokens", **fields).status_code == 422


def test_health_and_figures(practice: Practice) -> None:
    """Prometheus's own reader takes them."""
    draft(practice)
    asks = program(practice)
    assert asks.get("/healthz").json() == {"status": "ok"}
    asks.get(f"/api/v1/records/{'0' * 32}")
    families = {one.name: one for one in text_string_to_metric_families(asks.get("/metrics").text)}
    counted = {
        (sample.labels["route"], sample.labels["status"]): sample.value
        for sample in families["rostral_requests"].samples
        if sample.name.endswith("_total")
    }
    assert counted["/healthz", "200"] == 1
    assert counted["/api/v1/records/{record_id}", "404"] == 1
    waiting = {sample.labels["state"]: sample.value for sample in families["rostral_records"].samples}
    assert waiting["draft"] == 1


def test_no_request_makes_the_server_fail(practice: Practice) -> None:
    """Schemathesis makes requests from the OpenAPI description, right ones and wrong ones, and judges the answers by it."""
    kept, ready = draft(practice, QUESTIONS), signed(practice)
    asks = program(practice)
    schema = schemathesis.openapi.from_asgi("/api/openapi.json", create_app(practice.desk))
    headers = {"Authorization": asks.headers["authorization"]}
    checks = [
        schemathesis.checks.CHECKS.get_one(name)
        for name in ("not_a_server_error", "status_code_conformance", "response_schema_conformance")
    ]
    asked = 0
    for result in schema.get_all_operations():
        operation: Any = result
        operation = operation.ok()

        @settings(
            max_examples=12,
            deadline=None,
            database=None,
            phases=[Phase.explicit, Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        def ask(case: Any) -> None:
            nonlocal asked
            asked += 1
            if "record_id" in case.path_parameters:
                case.path_parameters["record_id"] = (kept, ready)[asked % 2].id
            case.call_and_validate(headers=headers, checks=checks)

        given(case=operation.as_strategy())(ask)()
    assert asked > 100
