"""A season closed and reopened through the API."""

from __future__ import annotations

from typing import Any

import pytest

from riders.models import Score
from riders.services.corrections import correct_score, version_of
from tests.api.conftest import World, assert_refusal

REASON = {"reason": "all results are in"}


def decide(world: World, what: str, *, role: str = "association", version: int | None = None, body: Any = None) -> Any:
    world.season.refresh_from_db()
    return world.client(role).post(
        f"/api/v1/seasons/{world.season.pk}/{what}/",
        REASON if body is None else body,
        format="json",
        headers={"If-Match": f'"{world.season.version if version is None else version}"'},
    )


def read(world: World, path: str, *, role: str = "association", **headers: str) -> Any:
    return world.client(role).get(f"/api/v1/seasons/{world.season.pk}/{path}", headers=headers)


def correct(world: World) -> None:
    score = Score.objects.get(key="elsewhere/4/7")
    correct_score(
        score, changes={"percentage": "61.500"}, expected_version=version_of(score), by=None, reason="misread"
    )


def test_closed_corrected_reopened_and_closed_again(world: World) -> None:
    before = read(world, "standings/").json()["groups"]
    closed = decide(world, "closing")
    assert closed.status_code == 200
    assert closed.json()["closed_at"]
    assert closed["ETag"] == f'"{closed.json()["version"]}"'
    correct(world)
    assert read(world, "standings/").json()["groups"] == before
    (change,) = read(world, "changes/").json()
    assert change == {
        "score_id": "elsewhere/4/7",
        "what": "changed",
        "differences": [{"field": "percentage", "before": "66.500", "after": "61.500"}],
    }
    opened = decide(world, "reopening", body={"reason": "a score was misread"})
    assert opened.json()["closed_at"] is None
    assert read(world, "changes/").json() == []
    assert decide(world, "closing").status_code == 200
    first, second = (read(world, f"editions/{n}/standings/").json()["groups"] for n in (1, 2))
    assert (first == before, second == before) == (True, False)
    assert second == read(world, "standings/").json()["groups"]
    assert [one["in_force"] for one in read(world, "editions/").json()] == [True, False]
    history = read(world, "history/").json()
    assert [(one["action"], one["edition"], one["reason"]) for one in history] == [
        ("closed", 2, "all results are in"),
        ("reopened", 1, "a score was misread"),
        ("closed", 1, "all results are in"),
    ]
    assert history[0]["by"] == "association"


def test_an_edition_that_is_not_in_force_is_for_those_who_keep_the_season(world: World) -> None:
    decide(world, "closing")
    decide(world, "reopening")
    decide(world, "closing")
    for path in ("editions/1/", "editions/1/standings/"):
        assert [read(world, path, role=role).status_code for role in ("visitor", "rider", "association", "staff")] == [
            404, 404, 200, 200,
        ]  # fmt: skip
    assert read(world, "editions/2/", role="visitor").json()["in_force"] is True
    assert [one["number"] for one in read(world, "editions/", role="visitor").json()] == [2]
    for number in (0, 9, 10**30):
        assert read(world, f"editions/{number}/").status_code == 404
        assert read(world, f"editions/{number}/scores/").status_code == 404


def test_the_counted_ledger_is_for_those_who_keep_the_season(world: World) -> None:
    decide(world, "closing")
    assert_refusal(read(world, "editions/1/scores/", role="visitor"), 401)
    for role in ("stranger", "rider", "office", "other office", "judge"):
        assert_refusal(read(world, "editions/1/scores/", role=role), 403)
    file = read(world, "editions/1/scores/")
    assert file["Content-Type"] == "text/csv; charset=utf-8"
    assert file.content.startswith(b"score_id,pair,rider,horse,")
    assert file.content.count(b"\r\n") == 4


def test_standings_of_an_edition_are_named_by_its_digest(world: World) -> None:
    decide(world, "closing")
    tag = read(world, "editions/1/standings/")["ETag"]
    assert tag == f'"{read(world, "editions/1/").json()["digest"]}"'
    assert read(world, "editions/1/standings/", **{"If-None-Match": tag}).status_code == 304


@pytest.mark.parametrize("role", ["stranger", "rider", "judge", "office", "other office"])
def test_reopening_is_for_those_who_keep_the_season(world: World, role: str) -> None:
    decide(world, "closing")
    assert_refusal(decide(world, "reopening", role=role), 403)
    assert_refusal(decide(world, "reopening", role="visitor"), 401)
    world.season.refresh_from_db()
    assert world.season.closed_at is not None


def test_refusals(world: World) -> None:
    assert_refusal(decide(world, "reopening"), 403, "season-open")
    stale = assert_refusal(decide(world, "closing", version=0), 412)
    assert stale["current"]["closed_at"] is None
    decide(world, "closing")
    assert_refusal(decide(world, "closing"), 403, "season-closed")


@pytest.mark.parametrize(
    "body", [{}, {"reason": ""}, {"reason": 7}, {"reason": "x" * 301}, {"reason": "a\0b"}, {"reason": "a", "to": 1}, []]
)
def test_nonsense(world: World, body: Any) -> None:
    assert decide(world, "closing", body=body).status_code in {400, 422}
    world.season.refresh_from_db()
    assert world.season.closed_at is None
