from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from competitions.models import Entry, Judge, OfficeRole, Sheet
from config.api.pagination import totally_ordered
from reports.models import Job
from riders.models import Association, Horse, Membership, Pair, Scheme, Score
from riders.services.accounts import create_token
from riders.services.matching import decide_name
from riders.services.merges import merge
from riders.services.waiting_imports import hand_in
from tests import builders
from tests.api.conftest import World, assert_refusal

LISTS = {
    "tokens": lambda world, n: create_token(world.users["staff"], name=f"t{n}"),
    "pairs": lambda world, n: builders.make_pair(200 + n),
    "scores": lambda world, n: _score(n),
    "associations": lambda world, n: Association.objects.create(slug=f"a{n}", title="Same title"),
    "schemes": lambda world, n: Scheme.objects.create(key=f"s{n}", title="t", document={}),
    "imports": lambda world, n: hand_in(b"score_id\n", by=world.users["association"]),
    "names": lambda world, n: decide_name(
        source="", kind="rider", spelling=f"X{n}", member=builders.make_pair(400 + n).rider, by=world.users["staff"]
    ),
    "merges": lambda world, n: merge(
        builders.make_pair(500 + n).horse, Horse.objects.create(name="X"), by=world.users["staff"], reason="one"
    ),
    "associations/linden/memberships": lambda world, n: Membership.objects.create(
        association=world.association,
        number=f"M{n}",
        kind="horse",
        horse=builders.make_pair(600 + n).horse,
        starts_on=date(2026, 1, 1),
    ),
    "seasons": lambda world, n: builders.make_season(Association.objects.create(slug=f"b{n}", title="Same title")),
    "competitions": lambda world, n: builders.make_competition(f"c{n}", association=world.association),
    "classes": lambda world, n: builders.make_class(
        world.competition, number=f"9{n}", judges={"C": Judge.objects.get()}
    ),
    "championships": lambda world, n: builders.make_championship(
        world.competition, slug=f"s{n}", classes=[world.official_class, world.open_class]
    ),
    "entries": lambda world, n: builders.make_class(world.competition, number=f"9{n}", entries=1),
    "tests": lambda world, n: builders.make_test(id=f"t{n}"),
    "rule-sets": lambda world, n: builders.make_rule_set(id=f"r{n}"),
    "judges": lambda world, n: Judge.objects.create(name=f"Judge {n}"),
    "reports": lambda world, n: Job.objects.create(
        kind="results", target=n + 1, target_version="1", key=f"k{n}", requested_by=world.users["staff"]
    ),
}


def _score(n: int) -> Score:
    pair = builders.make_pair(300 + n)
    return Score.objects.create(
        key=f"k{n}",
        source="import",
        pair=pair,
        date=date(2026, 12, 1),
        competition="same",
        status="completed",
        posted_at="2026-12-01T10:00:00Z",
    )


def _sheet(world: World, n: int) -> Any:
    made = builders.make_class(world.competition, number=f"9{n}", entries=1)
    return builders.mark_sheet(made.entries.get(), "C", remarks={"1": "x"})


LISTS["sheets"] = _sheet


def queries_of(client: Any, address: str) -> tuple[int, int]:
    with CaptureQueriesContext(connection) as captured:
        response = client.get(address)
    assert response.status_code == 200, response.content
    return len(captured), response.json()["count"]


@pytest.mark.parametrize("name", LISTS)
def test_as_many_queries_for_one_row_as_for_ten(world: World, name: str) -> None:
    client = world.client("staff")
    client.get("/api/v1/me/")  # notes the use of the token once
    LISTS[name](world, 0)
    few, before = queries_of(client, f"/api/v1/{name}/")
    for n in range(1, 10):
        LISTS[name](world, n)
    many, after = queries_of(client, f"/api/v1/{name}/")
    assert after == before + 9
    assert few == many
    assert few <= 5


@pytest.mark.parametrize("name", LISTS)
def test_pages_hold_every_row_once(world: World, name: str) -> None:
    for n in range(7):
        LISTS[name](world, n)
    client = world.client("staff")
    whole = client.get(f"/api/v1/{name}/?page_size=500").json()
    rows: list[Any] = []
    address: str | None = f"/api/v1/{name}/?page_size=3"
    while address:
        page = client.get(address).json()
        rows += page["results"]
        address = page["next"]
    assert rows == whole["results"]
    assert len(rows) == whole["count"] >= 7
    assert_refusal(client.get(f"/api/v1/{name}/?page=999"), 404, "not-found")


@pytest.mark.parametrize("name", LISTS)
def test_a_filter_that_is_not_declared_is_refused(world: World, name: str) -> None:
    body = assert_refusal(world.client("staff").get(f"/api/v1/{name}/?colour=bay"), 400, "invalid")
    assert body["fields"]["colour"][0].startswith("This filter is not known.")


def test_an_order_that_does_not_end_in_a_unique_column_is_completed() -> None:
    assert totally_ordered(Pair.objects.order_by("rider__name")).query.order_by == ("rider__name", "pk")
    assert totally_ordered(Entry.objects.order_by("-pk")).query.order_by == ("-pk",)
    assert totally_ordered(Sheet.objects.all()).query.order_by == ()  # its own order ends in the id already
    assert Sheet._meta.ordering[-1] == "id"
    assert totally_ordered(OfficeRole.objects.all()).query.order_by == ("competition", "user", "pk")


@pytest.mark.parametrize(
    ("address", "count"),
    [
        ("competitions/?state=published", 2),
        ("competitions/?association=linden", 1),
        ("competitions/?date_from=2026-11-15", 3),
        ("competitions/?date_to=2026-11-13", 0),
        ("classes/?competition=linden-autumn", 2),
        ("classes/?competition=linden-autumn&number=2", 1),
        ("classes/?results_state=official", 1),
        ("classes/?date=2026-11-14&level=novice", 3),
        ("entries/?competition=linden-autumn", 5),
        ("entries/?status=completed", 2),
        ("entries/?status=completed&status=running", 3),
        ("entries/?number=3", 1),
        ("scores/?competition=elsewhere", 1),
        ("scores/?date_from=2026-12-01", 1),
        ("scores/?date_to=2026-11-30", 2),
        ("scores/?level=novice&status=completed", 3),
        ("scores/?retracted=true", 0),
        ("scores/?retracted=false", 3),
        ("pairs/?rider=Rider%201", 1),
        ("judges/?name=Iris%20Holm", 1),
        ("tests/?level=novice", 1),
        ("seasons/?association=linden", 1),
        ("schemes/?key=qualifying-average", 2),  # two versions
    ],
)
def test_filters(world: World, address: str, count: int) -> None:
    assert world.client("staff").get(f"/api/v1/{address}").json()["count"] == count


def test_entries_come_in_the_running_order(world: World) -> None:
    office, address = world.client("office"), f"/api/v1/classes/{world.open_class.pk}/running-order/"
    ids = world.values()["entries"]
    answer = office.put(address, {"entries": ids}, format="json")
    assert [entry["id"] for entry in answer.json()] == ids
    listed = office.get(f"/api/v1/entries/?class={world.open_class.pk}").json()["results"]
    assert [(entry["id"], entry["order"]) for entry in listed] == [(pk, order) for order, pk in enumerate(ids, 1)]
    assert_refusal(office.put(address, {"entries": ids[:2]}, format="json"), 400, "invalid")
    assert_refusal(office.put(address, {}, format="json"), 400, "invalid")
    assert_refusal(office.put(address, {"seed": "x"}, format="json"), 403, "class-started")


def test_retracted_scores_are_for_those_who_keep_a_ledger(world: World) -> None:
    world.client("office").post(
        f"/api/v1/classes/{world.official_class.pk}/withdrawal/", {"reason": "wrong test"}, format="json"
    )
    assert world.client("visitor").get("/api/v1/scores/").json()["count"] == 1
    assert world.client("association").get("/api/v1/scores/").json()["count"] == 3
    assert_refusal(world.client("visitor").get(f"/api/v1/scores/{world.score.key}/"), 404)
