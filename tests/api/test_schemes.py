"""Schemes through the API: checked, previewed, saved in versions, laid side by side, given to seasons."""

from __future__ import annotations

from typing import Any

import pytest

from riders.models import Scheme, SeasonSchemeChange
from riders.services import scheme_switches
from tests.api.conftest import World, assert_refusal
from tests.builders import qualifying_scheme

VERSIONS = "/api/v1/schemes/qualifying-average/versions/"
BEST_ONE = {"take": {"best": 1}, "aggregate": "mean"}


def body(**changes: Any) -> dict[str, Any]:
    return {
        "document": qualifying_scheme(decimals=2),
        "association": "linden",
        "based_on": 2,
        "reason": "two decimals are enough",
    } | changes


def test_a_check_names_every_problem_and_says_the_rest(world: World) -> None:
    document = qualifying_scheme(decimals="x", eligible=[{"field": "memder", "is": True}])
    found = world.client("association").post("/api/v1/schemes/check/", {"document": document}, format="json").json()
    assert found["usable"] is False
    assert {problem["path"] for problem in found["problems"]} == {"decimals", "eligible[0].field"}
    assert found["left_out"] == 2
    assert "To qualify, a pair needs at least 2 scores." in found["sentences"]


def test_a_version_says_who_when_why_and_which_seasons(world: World) -> None:
    client = world.client("association")
    saved = client.post(VERSIONS, body(), format="json")
    assert saved.status_code == 201
    assert saved["Location"] == "/api/v1/schemes/qualifying-average/3/"
    latest, middle, first = client.get(VERSIONS).json()["results"]
    assert (latest["version"], latest["by"], latest["reason"]) == (3, "association", "two decimals are enough")
    assert (middle["reason"], middle["association"]) == ("one decimal is enough", "linden")
    assert (first["by"], first["seasons"]) == (None, ["linden/2027"])


@pytest.mark.parametrize(
    ("changes", "status", "code"),
    [
        ({"based_on": 1}, 409, "conflict"),
        ({"reason": "  "}, 400, "invalid"),
        ({"association": "moor"}, 400, "invalid"),
        ({"document": qualifying_scheme(id="other")}, 400, "invalid"),
        ({"document": qualifying_scheme(mode="guess")}, 400, "invalid"),
        ({"document": qualifying_scheme(decimals=1)}, 400, "nothing-changed"),
        ({"document": 7}, 400, "invalid"),
    ],
)
def test_what_cannot_be_saved_is_refused(world: World, changes: dict[str, Any], status: int, code: str) -> None:
    assert_refusal(world.client("association").post(VERSIONS, body(**changes), format="json"), status, code)
    assert Scheme.objects.count() == 2


def test_a_preview_counts_and_opens_one_unit(world: World) -> None:
    url = f"/api/v1/seasons/{world.season.pk}/preview/"
    document = qualifying_scheme(value=BEST_ONE, require=[{"count": "scores", "at_least": 3}])
    sent = {"document": document, "unit": "R1/H1", "kind": "falls", "rows": 1}
    found = world.client("association").post(url, sent, format="json").json()
    assert found["counts"]["falls"] == 1
    assert found["qualified"] == {"before": 1, "after": 0}
    (row,) = found["rows"]
    assert (row["unit"], row["kinds"]) == ("R1/H1", ["falls", "place", "value"])
    assert (row["before"]["placing"], row["after"]["placing"]) == (1, None)
    assert {one["outcome"] for one in found["unit_scores"]} == {"counted", "dropped"}
    world.season.refresh_from_db()
    assert world.season.scheme.version == 1
    assert_refusal(
        world.client("association").post(url, {"document": qualifying_scheme(mode="x")}, format="json"), 400, "invalid"
    )


def test_differences_are_sentences(world: World) -> None:
    client = world.client("visitor")
    found = client.get("/api/v1/schemes/qualifying-average/1/differences/?with=2").json()
    assert [line["right"] for line in found["lines"] if not line["same"]] == [
        "It is rounded once, to 1 decimal; an exact half is rounded up."
    ]
    for query in ("", "?with=x", "?with=-1", "?with=²"):
        url = f"/api/v1/schemes/qualifying-average/1/differences/{query}"
        assert_refusal(client.get(url), 400, "invalid")
    assert client.get("/api/v1/schemes/qualifying-average/1/differences/?with=9").status_code == 404


def test_a_season_is_switched_at_once_or_by_the_queue(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    client, url = world.client("association"), f"/api/v1/seasons/{world.season.pk}/scheme/"
    sent = {"key": "qualifying-average", "version": 2, "instead_of": 1, "reason": "decided by the meeting"}
    done = client.post(url, sent, format="json").json()
    assert (done["before"]["version"], done["after"]["version"]) == (1, 2)
    assert_refusal(client.post(url, sent, format="json"), 409, "conflict")
    assert_refusal(client.post(url, sent | {"version": 9}, format="json"), 400, "invalid")
    assert [one["reason"] for one in client.get(url).json()["results"]] == ["decided by the meeting"]
    monkeypatch.setattr(scheme_switches, "MOST_AT_ONCE", 0)
    queued = client.post(url, sent | {"version": 1, "instead_of": 2}, format="json")
    assert (queued.status_code, queued.json()["state"]) == (202, "queued")
    assert queued["Location"].endswith(f"/seasons/{world.season.pk}/rebuild/")
    assert SeasonSchemeChange.objects.count() == 1
