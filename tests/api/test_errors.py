from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.cache import cache
from django.db import OperationalError
from django.test import override_settings
from rest_framework.test import APIClient
from rest_framework.throttling import SimpleRateThrottle

from competitions.models import Competition
from config.api import errors
from tests.api.conftest import World, assert_refusal
from tests.builders import PASSWORD, make_user


def test_unknown_address(db: None) -> None:
    for address in ("/api/v1/nothing/", "/api/v1/", "/api/v1/competitions", "/api/v1/classes/abc/"):
        body = assert_refusal(APIClient().get(address), 404, "not-found")
        assert "ends in a slash" in body["message"]
        assert body["retry"] is False


def test_object_that_is_not_open_is_not_found(world: World) -> None:
    assert_refusal(world.client("visitor").get(f"/api/v1/classes/{world.planned_class.pk}/"), 404, "not-found")


def test_method_that_is_not_offered(world: World) -> None:
    response = world.client("staff").delete(f"/api/v1/competitions/{world.competition.slug}/")
    body = assert_refusal(response, 405, "method-not-allowed")
    assert body["message"] == "DELETE is not offered at this address. See the header Allow."
    assert set(response["Allow"].split(", ")) >= {"GET", "PATCH"}
    assert_refusal(world.client("visitor").options("/api/v1/competitions/"), 405)


def test_type_that_is_not_read(world: World) -> None:
    client = world.client("staff")
    response = client.post("/api/v1/competitions/", data="a=b", content_type="application/x-www-form-urlencoded")
    assert "application/x-www-form-urlencoded is not read here" in assert_refusal(response, 415)["message"]
    response = client.post("/api/v1/scores/", data={}, format="json")
    assert_refusal(response, 415, "unsupported-media-type")


def test_type_that_is_not_offered(world: World) -> None:
    response = world.client("visitor").get("/api/v1/competitions/", headers={"Accept": "image/png"})
    assert_refusal(response, 406, "not-acceptable")


def test_refusal_of_a_csv_request_is_json(world: World) -> None:
    response = world.client("visitor").get("/api/v1/scores/?format=csv&colour=bay")
    assert "colour" in assert_refusal(response, 400, "invalid")["fields"]


@pytest.mark.parametrize("header", ["Bearer", "Bearer ", "Bearer wrong", "Bearer mbk_\u00e4", "Bearer a b c"])
def test_wrong_token_is_refused_even_where_anyone_may_read(db: None, header: str) -> None:
    response = APIClient().get("/api/v1/competitions/", HTTP_AUTHORIZATION=header)
    body = assert_refusal(response, 401, "bad-credentials")
    assert "/api/v1/tokens/" in body["message"]
    assert response["WWW-Authenticate"] == 'Bearer realm="markbook"'


def test_other_schemes_are_nobody(db: None) -> None:
    assert APIClient().get("/api/v1/competitions/", HTTP_AUTHORIZATION="Basic YTpi").status_code == 200


def test_session_needs_the_csrf_token(db: None) -> None:
    make_user("ada")
    client = APIClient(enforce_csrf_checks=True)
    assert client.login(username="ada", password=PASSWORD)
    assert client.get("/api/v1/me/").json()["username"] == "ada"
    body = assert_refusal(client.post("/api/v1/tokens/", {"name": "x"}, format="json"), 403, "not-allowed")
    assert "CSRF" in body["message"]


def test_too_large(world: World) -> None:
    with override_settings(DATA_UPLOAD_MAX_MEMORY_SIZE=1024 * 1024):
        client = world.client("office")
        for headers in ({}, {"Idempotency-Key": "large"}):
            response = client.post(
                "/api/v1/classes/", data="[" + " " * 1024 * 1024 + "]", content_type="application/json", headers=headers
            )
            assert_refusal(response, 413, "too-large")


def test_validation_names_every_problem(world: World) -> None:
    response = world.client("staff").post(
        "/api/v1/classes/",
        {
            "competition": world.competition.slug,
            "panel": [{"seat": 3}, {"letter": "E"}],
            "breaks": "none",
            "titel": "x",
        },
        format="json",
    )
    body = assert_refusal(response, 400, "invalid")
    assert {"number", "title", "test", "rule_set", "date", "panel[0].seat", "panel[1].seat", "panel[1].letter"} <= set(
        body["fields"]
    )
    assert body["fields"]["titel"] == ['The key "titel" is not known here. Correct its spelling or remove it.']
    assert "breaks" in body["fields"]
    assert body["message"] == "The request has 10 problems; each stands under fields."


def test_one_problem_is_said_in_the_message(world: World) -> None:
    body = assert_refusal(world.client("staff").post("/api/v1/tokens/", {}, format="json"), 400, "invalid")
    assert body["message"] == "name: This field is required."


def test_unexpected_error_says_nothing_of_the_inside(
    world: World, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr("competitions.api.competitions.visible", broken)
    response = world.client("visitor").get("/api/v1/competitions/")
    body = assert_refusal(response, 500, "unexpected")
    assert body["retry"] is True
    assert b"secret" not in response.content
    assert "secret detail" in caplog.text


def test_busy_database_may_be_tried_again(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    def busy(*_: Any, **__: Any) -> None:
        raise OperationalError("database is locked")

    monkeypatch.setattr("competitions.api.competitions.visible", busy)
    response = world.client("visitor").get("/api/v1/competitions/")
    assert assert_refusal(response, 503, "busy")["retry"] is True
    assert response["Retry-After"] == "1"


def test_visitors_are_throttled_by_address(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(SimpleRateThrottle, "THROTTLE_RATES", {"anonymous": "3/min", "account": "5/min"})
    client = APIClient()
    answers = [client.get("/api/v1/competitions/").status_code for _ in range(3)]
    response = client.get("/api/v1/competitions/", headers={"X-Forwarded-For": "203.0.113.9"})
    assert answers == [200, 200, 200]
    body = assert_refusal(response, 429, "too-many-requests")
    assert body["retry"] is True
    assert 1 <= int(response["Retry-After"]) <= 60
    assert client.get("/api/v1/competitions/", REMOTE_ADDR="203.0.113.10").status_code == 200


def test_accounts_are_throttled_by_account(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(SimpleRateThrottle, "THROTTLE_RATES", {"anonymous": "1/min", "account": "4/min"})
    cache.clear()
    judge, office = world.client("judge"), world.client("office")
    assert [judge.get("/api/v1/me/").status_code for _ in range(5)] == [200, 200, 200, 200, 429]
    assert office.get("/api/v1/me/").status_code == 200


def test_every_domain_error_keeps_its_code(world: World) -> None:
    client = world.client("office")
    sheet = f"/api/v1/entries/{world.official_entry.pk}/sheets/C/"
    response = client.patch(sheet, {"marks": {"1": "7"}}, format="json", headers={"If-Match": '"1"'})
    body = assert_refusal(response, 403, "results-official")
    assert "Start a correction with a reason" in body["message"]


def test_shape_is_the_documented_one() -> None:
    body = errors.shape(400, "invalid", "Wrong.").data
    assert json.loads(json.dumps(body)) == {"code": "invalid", "message": "Wrong.", "fields": {}, "retry": False}


def test_planned_competitions_are_not_in_lists(world: World) -> None:
    listed = world.client("visitor").get("/api/v1/competitions/").json()["results"]
    assert world.planned.slug not in {row["slug"] for row in listed}
    assert Competition.objects.count() == len(listed) + 1
