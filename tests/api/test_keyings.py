"""Keying a sheet twice through the API: reading again, comparing, deciding."""

from __future__ import annotations

import pytest

from competitions.models import KeyingDecision, SecondKeying
from tests.api.conftest import World, assert_refusal
from tests.builders import mark_sheet

ITEMS = ("1", "2", "3", "4", "G1", "G2")
READ = {f"mark.{item}": "6.5" for item in ITEMS}


def second(world: World, role: str = "office", **read: str):
    body = {"read": READ | {name.replace("__", "."): value for name, value in read.items()}}
    address = f"/api/v1/entries/{world.entry.pk}/sheets/C/second-keying/"
    return world.client(role).post(address, body, format="json")


def settle(world: World, role: str = "office", *, keying: int | None = None, **changes: str):
    row = {"field": "mark.1", "first": "6.5", "second": "7.0", "value": "7", "reason": "the paper is clear"}
    keying = SecondKeying.objects.get().pk if keying is None else keying
    address = f"/api/v1/entries/{world.entry.pk}/sheets/C/settlements/"
    return world.client(role).post(address, {"keying": keying, "settlements": [row | changes]}, format="json")


def test_agreement_is_final(world: World) -> None:
    listed = f"/api/v1/classes/{world.open_class.pk}/keyings/"
    assert [sheet["state"] for sheet in world.client("office").get(listed).json()] == ["waiting"]
    answer = second(world)
    assert (answer.status_code, answer.json()["state"]) == (200, "final")
    assert [sheet["keyed_by"] for sheet in world.client("office").get(listed).json()] == ["office"]


def test_a_difference_is_decided_with_a_reason(world: World) -> None:
    difference = {"field": "mark.1", "label": "Mark, movement 1", "first": "6.5", "second": "7.0"}
    assert second(world, mark__1="7").json()["differences"] == [difference]
    for role in ("stranger", "judge", "rider", "other office", "association"):
        assert_refusal(settle(world, role), 403)
    assert_refusal(settle(world, "visitor"), 401)
    answer = settle(world).json()
    assert (answer["state"], answer["differences"]) == ("final", [])
    assert answer["decisions"][0]["value"] == "7.0"
    assert answer["decisions"][0]["label"] == "Mark, movement 1"
    world.sheet.refresh_from_db()
    assert world.sheet.marks["1"] == 70


def test_whoever_wrote_on_the_sheet_is_refused(world: World) -> None:
    mark_sheet(world.entry, "C", marks={"1": 60}, by=world.users["office"])
    refused = assert_refusal(second(world), 403)
    assert refused["code"] == "same-person"


def test_what_changed_meanwhile_is_412_with_both_as_they_stand(world: World) -> None:
    second(world, mark__1="7")
    mark_sheet(world.entry, "C", marks={"1": 75})
    stale = settle(world)
    assert stale.status_code == 412
    assert stale.json()["current"]["differences"][0]["first"] == "7.5"
    other = settle(world, keying=SecondKeying.objects.get().pk + 1, first="7.5")
    assert other.status_code == 412
    address = f"/api/v1/entries/{world.entry.pk}/sheets/C/second-keying/"
    late = world.client("staff").post(address, {"read": READ, "keying": 0}, format="json")
    assert late.status_code == 412
    assert not KeyingDecision.objects.exists()


@pytest.mark.parametrize(
    "changes",
    [
        {"field": "mark.99"},
        {"field": "x" * 60},
        {"value": "10.3"},
        {"value": "x" * 5000},
        {"reason": " "},
        {"reason": ""},
        {"reason": "x" * 301},
        {"first": "a\u0000b"},
        {"field": "deducted", "value": "2"},
    ],
)
def test_nonsense_decides_nothing(world: World, changes: dict[str, str]) -> None:
    second(world, mark__1="7")
    assert_refusal(settle(world, **changes), 400)
    assert not KeyingDecision.objects.exists()


@pytest.mark.parametrize(
    "read", [{"mark.1": None}, {"mark.1": 6.5}, {"mark.1": ["7"]}, [], "x", {"nothing": "7"}, None]
)
def test_a_reading_is_text_by_field(world: World, read: object) -> None:
    address = f"/api/v1/entries/{world.entry.pk}/sheets/C/second-keying/"
    assert_refusal(world.client("office").post(address, {"read": read}, format="json"), 400)
    assert not SecondKeying.objects.exists()


def test_sheets_that_are_not_of_the_class_cannot_be_chosen(world: World) -> None:
    address = f"/api/v1/classes/{world.open_class.pk}/keyings/"
    client = world.client("office")
    for place in ({"entry": world.official_entry.pk, "seat": "C"}, {"entry": world.entry.pk, "seat": "X"}):
        assert_refusal(client.put(address, {"sheets": [place]}, format="json"), 400)
    chosen = client.put(address, {"sheets": [{"entry": world.entry.pk, "seat": "E"}]}, format="json")
    assert chosen.json() == {"sheets": [{"entry": world.entry.pk, "seat": "E"}]}
