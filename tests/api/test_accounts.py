from __future__ import annotations

from datetime import timedelta

from django.utils import timezone
from rest_framework.test import APIClient

from riders.models import ApiToken
from tests.api.conftest import World, assert_refusal


def bearer(plain: str) -> APIClient:
    client = APIClient(raise_request_exception=False)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {plain}")
    return client


def test_a_token_is_shown_once_and_kept_as_a_digest(world: World) -> None:
    made = world.client("office").post("/api/v1/tokens/", {"name": "Scoreboard"}, format="json").json()
    plain = made["token"]
    assert bearer(plain).get("/api/v1/me/").json()["username"] == "office"
    listed = bearer(plain).get("/api/v1/tokens/")
    assert plain not in listed.content.decode()
    assert {row["name"] for row in listed.json()["results"]} >= {"Scoreboard"}
    kept = ApiToken.objects.get(pk=made["id"])
    assert plain not in {kept.digest, kept.hint}
    assert plain.startswith(kept.hint)


def test_a_revoked_token_ends_at_once(world: World) -> None:
    made = world.client("office").post("/api/v1/tokens/", {"name": "Scoreboard"}, format="json").json()
    client = bearer(made["token"])
    assert client.delete(f"/api/v1/tokens/{made['id']}/").status_code == 204
    assert_refusal(client.get("/api/v1/me/"), 401, "bad-credentials")
    again = world.client("office").delete(f"/api/v1/tokens/{made['id']}/")
    assert again.status_code == 204


def test_tokens_are_their_owners_alone(world: World) -> None:
    made = world.client("office").post("/api/v1/tokens/", {"name": "Scoreboard"}, format="json").json()
    for role, status in (("visitor", 401), ("judge", 404), ("staff", 404)):
        assert_refusal(world.client(role).delete(f"/api/v1/tokens/{made['id']}/"), status)
    assert bearer(made["token"]).get("/api/v1/me/").status_code == 200
    assert made["id"] not in {row["id"] for row in world.client("staff").get("/api/v1/tokens/").json()["results"]}


def test_an_expired_token_and_one_of_a_closed_account_are_refused(world: World) -> None:
    made = world.client("office").post("/api/v1/tokens/", {"name": "old"}, format="json").json()
    ApiToken.objects.filter(pk=made["id"]).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert_refusal(bearer(made["token"]).get("/api/v1/me/"), 401)
    client = world.client("judge")
    world.users["judge"].is_active = False
    world.users["judge"].save()
    assert_refusal(client.get("/api/v1/me/"), 401)


def test_a_token_needs_a_name(world: World) -> None:
    for name in ("", "   ", "x" * 81):
        body = assert_refusal(world.client("office").post("/api/v1/tokens/", {"name": name}, format="json"), 400)
        assert list(body["fields"]) == ["name"]


def test_who_am_i(world: World) -> None:
    assert world.client("judge").get("/api/v1/me/").json() == {
        "username": "judge",
        "name": "",
        "staff": False,
        "rider": None,
        "seats": [
            {"class": world.open_class.pk, "competition": "linden-autumn", "seat": "C"},
            {"class": world.official_class.pk, "competition": "linden-autumn", "seat": "C"},
        ],
        "offices": [],
        "associations": [],
    }
    assert world.client("office").get("/api/v1/me/").json()["offices"] == ["linden-autumn", "linden-winter"]
    assert world.client("rider").get("/api/v1/me/").json()["rider"] == "Rider 1"
    assert world.client("association").get("/api/v1/me/").json()["associations"] == ["linden"]
    staff = world.client("staff").get("/api/v1/me/").json()
    assert (staff["staff"], len(staff["offices"])) == (True, 3)


def test_a_login_without_the_token_of_the_page_is_refused_in_a_sentence(world: World) -> None:
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(world.users["office"])
    body = assert_refusal(client.post("/api/v1/judges/", {"name": "Nils Berg"}, format="json"), 403, "not-allowed")
    assert body["message"].startswith("The request did not bring this page's own token")
