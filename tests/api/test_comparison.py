"""A judge's own marks beside the panel's, and to whom the judge opens them, through the API."""

from __future__ import annotations

import json
from typing import Any

import pytest

from competitions.models import Judge, PanelShare
from competitions.services.results import make_official
from tests.api.conftest import ROLES, World, assert_refusal
from tests.builders import make_class, mark_sheet


@pytest.fixture
def address(world: World) -> str:
    """Return the address of the comparison of seat C in a class of two seats and three rides: 7 against 6.5."""
    judge = Judge.objects.get(user=world.users["judge"])
    cls = make_class(world.competition, number="8", seats="CE", entries=3, judges={"C": judge})
    for entry in cls.entries.all():
        mark_sheet(entry, "C", mark=70)
        mark_sheet(entry, "E", mark=65)
    make_official(cls, by=world.users["office"], findings_reason="looked at")
    return f"/api/v1/classes/{cls.pk}/seats/C/comparison/"


def ask(world: World, address: str, role: str = "judge") -> Any:
    return world.client(role).get(address)


def test_figures_are_text_with_their_signs(world: World, address: str) -> None:
    shown = ask(world, address).json()
    # by hand: 7.0 - 6.5 in every mark; highest less lowest is 0.5
    assert (shown["others"], shown["difference"], shown["spread"]) == (1, "+0.50", "0.50")
    assert {row["difference"] for row in shown["items"] + shown["rides"]} == {"+0.50"}
    assert shown["items"][0] == {
        "item": "1",
        "label": "movement 1",
        "rides": 3,
        "own": "7.00",
        "panel": "6.50",
        "difference": "+0.50",
        "furthest": "+0.50",
        "spread": "0.50",
    }


def test_it_is_there_for_this_judge_alone(world: World, address: str) -> None:
    for role in ROLES:
        if role != "judge":
            status = 401 if role == "visitor" else 404
            assert_refusal(ask(world, address, role), status)
            assert_refusal(ask(world, f"{address}shares/", role), status)
            opened = world.client(role).post(f"{address}shares/", {"account": "rider"}, format="json")
            assert_refusal(opened, status)
            assert_refusal(world.client(role).delete(f"{address}shares/1/"), status)
    open_class = f"/api/v1/classes/{world.open_class.pk}/seats/C/comparison/"
    assert_refusal(ask(world, open_class), 404)


def test_a_share_is_made_once_listed_and_taken_back(world: World, address: str) -> None:
    client = world.client("judge")
    made = client.post(f"{address}shares/", {"account": "rider"}, format="json")
    again = client.post(f"{address}shares/", {"account": "rider"}, format="json")
    assert (made.status_code, again.json()) == (201, made.json())
    assert [row["account"] for row in client.get(f"{address}shares/").json()] == ["rider"]
    share = f"{address}shares/{made.json()['id']}/"
    assert_refusal(world.client("office").delete(share), 404)
    assert client.delete(share).status_code == 204
    assert client.delete(share).status_code == 204
    assert client.get(f"{address}shares/").json() == []


@pytest.mark.parametrize("account", ["", "nobody", "judge", "x" * 151, 5, None, ["rider"]])
def test_an_account_that_cannot_be_meant_is_refused(world: World, address: str, account: Any) -> None:
    answer = world.client("judge").post(f"{address}shares/", {"account": account}, format="json")
    assert "account" in assert_refusal(answer, 400)["fields"]
    assert not PanelShare.objects.exists()


def test_half_characters_and_nul_are_no_account(world: World, address: str) -> None:
    for account in ("\x00", "\ud800"):
        body = f'{{"account": {json.dumps(account)}}}'
        assert_refusal(world.client("judge").post(f"{address}shares/", body, content_type="application/json"), 400)
    assert not PanelShare.objects.exists()


def test_a_link_is_listed_without_its_secret(world: World, address: str) -> None:
    PanelShare.objects.create(
        seat=Judge.objects.get(user=world.users["judge"]).seats.get(competition_class__number="8"),
        by=world.users["judge"],
        digest="d" * 64,
    )
    (row,) = ask(world, f"{address}shares/").json()
    assert set(row) == {"id", "account", "since"}
    assert row["account"] is None
