"""Nonsense for the operations of those who keep a ledger: refused in the one shape, and nothing half done."""

from __future__ import annotations

import json
from typing import Any

import pytest

from riders.models import Merge, NameChange, NameDecision, Score, WaitingImport
from riders.services.waiting_imports import hand_in
from tests import builders
from tests.api.conftest import World, assert_refusal, keep_association
from tests.api.test_ledger import FILE, operations
from tests.api.test_nonsense import BODIES

_VALUES: list[Any] = [
    None,
    True,
    -1,
    2**70,
    6.5,
    "",
    "x" * 400,
    "a\x00b",
    [],
    [None],
    [{}],
    [{"kind": "rider", "spelling": "Una Lind", "member": 2**62}],
    {},
    {"percentage": None},
    {"percentage": "1e999999999"},
    {"pair": "\u202e"},
    {"x" * 500: "1"},
    "\u202e",
    "1e5",
]
_WITH_BODY = [2, 3, 7, 9, 10, 11]


def _send(world: World, position: int, body: bytes, role: str = "staff") -> Any:
    method, address, _, headers = operations(world)[position]
    return getattr(world.client(role), method.lower())(
        f"/api/v1/{address}", data=body, content_type="application/json", headers=headers
    )


def _state() -> list[Any]:
    return [
        *Score.objects.order_by("pk").values_list("percentage", "retracted_at"),
        Merge.objects.filter(undone_at__isnull=False).count(),
        NameDecision.objects.filter(undone_at__isnull=False).count(),
        WaitingImport.objects.filter(confirmed_at__isnull=False).count(),
    ]


@pytest.mark.parametrize("position", _WITH_BODY)
def test_nonsense_bodies(world: World, position: int) -> None:
    before = _state()
    method, address, _, headers = operations(world)[position]
    client = world.client("staff")
    for name, body in BODIES.items():
        response = getattr(client, method.lower())(
            f"/api/v1/{address}", data=body, content_type="application/json", headers=headers
        )
        assert_refusal(response, 400)
        assert name
    assert _state() == before


@pytest.mark.parametrize("position", _WITH_BODY)
def test_every_field_of_every_wrong_type(world: World, position: int) -> None:
    method, address, good, headers = operations(world)[position]
    client = world.client("staff")
    for key in good:
        for value in _VALUES:
            response = getattr(client, method.lower())(
                f"/api/v1/{address}",
                data=json.dumps({**good, key: value}).encode(),
                content_type="application/json",
                headers=headers,
            )
            assert response.status_code < 500, (key, value, response.content[:300])
            if response.status_code >= 400:
                assert_refusal(response, response.status_code)


@pytest.mark.parametrize("value", _VALUES, ids=repr)
def test_a_correction_of_nonsense(world: World, value: Any) -> None:
    client = world.client("staff")
    address = "/api/v1/scores/elsewhere/4/7/"
    for body in ({"changes": value, "reason": "x"}, {"changes": {"percentage": "60"}, "reason": value}):
        tag = client.get(address)["ETag"]
        response = client.patch(f"{address}correction/", body, format="json", headers={"If-Match": tag})
        assert response.status_code < 500, response.content[:300]
        if response.status_code >= 400:
            assert_refusal(response, response.status_code)


@pytest.mark.parametrize(
    "address",
    [
        "imports/?page=%00",
        "imports/99999999999999999999/",
        "imports/1/changes/?start=-1",
        "imports/1/changes/?start=%D9%A1",
        "imports/1/changes/?what=%00",
        "names/?page=x",
        "merges/plan/?kind=rider&kept=1e9&gone=%00",
        "merges/plan/?kind=owner&kept=1&gone=2",
        "merges/plan/",
        "merges/99999999999999999999/",
        "renames/?page=0",
        "scores/%00/history/",
        "scores/nothing/history/",
        "associations/linden/memberships/?page=99999999999999999999",
        "associations/%00/memberships/",
    ],
)
def test_nonsense_addresses(world: World, address: str) -> None:
    hand_in(FILE.encode(), by=world.users["association"])
    response = world.client("staff").get(f"/api/v1/{address}")
    assert response.status_code < 500, response.content
    if response.status_code >= 400:
        assert_refusal(response, response.status_code)


@pytest.mark.parametrize("query", ["?source=%00", f"?source={'x' * 81}", f"?file_name={'y' * 999}", "?file_name=%00"])
def test_a_file_with_a_name_of_nonsense(world: World, query: str) -> None:
    response = world.client("association").post(f"/api/v1/imports/{query}", data=FILE, content_type="text/csv")
    assert response.status_code in {201, 400}, response.content
    if response.status_code == 201:
        assert len(response.json()["file_name"]) <= 120
        assert "\x00" not in response.json()["file_name"]


@pytest.mark.parametrize("given", ["yes", "", "1", "TRUE", "%00"])
def test_a_dry_run_is_true_or_false(world: World, given: str) -> None:
    client = world.client("association")
    response = client.post(f"/api/v1/scores/?dry_run={given}", data=FILE, content_type="text/csv")
    assert "dry_run" in assert_refusal(response, 400)["fields"]
    assert not Score.objects.filter(key="far/1/1").exists()


def test_a_dry_run_answers_as_the_real_thing_and_does_nothing(world: World) -> None:
    client = world.client("association")
    key = {"Idempotency-Key": "dry-1"}
    for _ in range(2):
        tried = client.post("/api/v1/scores/?dry_run=true", data=FILE, content_type="text/csv", headers=key)
        assert not Score.objects.filter(key="far/1/1").exists()
    assert tried["Idempotency-Replayed"] == "true"
    real = client.post("/api/v1/scores/?dry_run=false", data=FILE, content_type="text/csv")
    assert tried.json() == real.json() == {"posted": 1, "corrected": 0, "unchanged": 0, "duplicate": 0}
    refused = client.post("/api/v1/scores/?dry_run=true", data=FILE.replace("64.500", "x"), content_type="text/csv")
    assert "row 2, percentage" in assert_refusal(refused, 400)["fields"]
    document = world.bundle
    tried = client.post("/api/v1/associations/linden/bundles/?dry_run=true", {"document": document}, format="json")
    assert tried.json()["unchanged"] == 2


def test_a_repeated_confirmation_is_answered_from_its_key_and_refused_without(world: World) -> None:
    client = world.client("association")
    waiting = hand_in(FILE.encode(), by=world.users["association"])
    body = {"digest": waiting.digest, "state": waiting.state}
    address = f"/api/v1/imports/{waiting.pk}/confirmation/"
    first, again = (client.post(address, body, format="json", headers={"Idempotency-Key": "c-1"}) for _ in range(2))
    assert (first.status_code, again.json(), again["Idempotency-Replayed"]) == (200, first.json(), "true")
    assert_refusal(client.post(address, body, format="json"), 403, "import-confirmed")
    assert Score.objects.filter(key="far/1/1").count() == 1


def test_a_stale_confirmation_is_refused_and_shown_anew(world: World) -> None:
    client = world.client("association")
    waiting = hand_in(FILE.encode(), by=world.users["association"])
    body = {"digest": waiting.digest, "state": waiting.state}
    assert client.post("/api/v1/scores/", data=FILE.replace("64.500", "60.000"), content_type="text/csv").json()
    address = f"/api/v1/imports/{waiting.pk}/"
    assert_refusal(client.post(f"{address}confirmation/", body, format="json"), 409)
    assert client.get(address).json()["counts"]["corrected"] == 1
    assert Score.objects.get(key="far/1/1").percentage == "60.000"


def test_a_keeper_of_another_association_reaches_nothing_of_this_one(world: World) -> None:
    keeper = builders.make_user("moor-keeper")
    keep_association(keeper, builders.make_association("moor"))
    world.users["moor"] = keeper
    before = _state()
    for method, address, body, headers in operations(world):
        response = getattr(world.client("moor"), method.lower())(
            f"/api/v1/{address}", data=body, format="json", headers=headers
        )
        assert_refusal(response, 403 if "linden" in address or address.startswith("scores/") else 404)
    client = world.client("moor")
    merge = {"kind": "rider", "kept": world.entry.pair.rider_id, "gone": world.values()["twin"], "reason": "x"}
    assert_refusal(client.post("/api/v1/merges/", merge, format="json"), 403)
    rename = {"kind": "rider", "member": world.entry.pair.rider_id, "before": "Rider 1", "name": "Y", "reason": "x"}
    assert_refusal(client.post("/api/v1/renames/", rename, format="json"), 403)
    stolen = (
        "score_id,pair,rider,horse,date,competition,percentage,status\nelsewhere/4/7,{},{},{},2026-12-05,e,9,completed"
    )
    pair = Score.objects.get(key="elsewhere/4/7").pair
    text = stolen.format(pair.key, pair.rider.name, pair.horse.name)
    refused = client.post("/api/v1/scores/", data=text, content_type="text/csv")
    assert "row 2, score_id" in assert_refusal(refused, 400)["fields"]
    assert _state() == before
    assert not NameChange.objects.exists()


@pytest.mark.parametrize(
    "query",
    [
        "standings/?as_of=%00",
        "standings/?as_of=2026-13-01",
        "standings/?as_of=1999-01-01",
        "comparison/",
        "comparison/?table=-1&unit=R1/H1&with=R2/H2",
        "comparison/?table=0&unit=R1/H1&with=R1/H1",
        "comparison/?table=0&unit=%00&with=R2/H2",
        "comparison/?table=99999999999999999999&unit=R1/H1&with=R2/H2",
        "comparison/?table=%D9%A0&unit=R1/H1&with=R2/H2",
    ],
)
def test_nonsense_about_a_season(world: World, query: str) -> None:
    assert_refusal(world.client("visitor").get(f"/api/v1/seasons/{world.season.pk}/{query}"), 400)
