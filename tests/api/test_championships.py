from __future__ import annotations

from typing import Any

import pytest

from competitions.models import Championship, ChampionshipChange
from tests import builders
from tests.api.conftest import World, assert_refusal

ALL = "/api/v1/championships/"


def address(world: World, *more: str) -> str:
    return "/".join([f"{ALL}{world.championship.pk}", *more, ""])


def given(world: World, **changes: Any) -> dict[str, Any]:
    return {
        "competition": world.competition.slug,
        "slug": "medium-tour",
        "title": "Medium tour",
        "classes": [world.open_class.pk, world.official_class.pk],
        "rules": {"method": "mean", "decimals": 2, "drop_out": "40", "ties": [{"by": "total", "class": 2}]},
    } | changes


def test_it_is_set_up_read_and_found_under_its_competition(world: World) -> None:
    client = world.client("office")
    made = client.post(ALL, given(world), format="json")
    assert made.status_code == 201
    body = made.json()
    assert (made["Location"], made["ETag"]) == (f"{ALL}{body['id']}/", '"1"')
    assert body["classes"] == [world.open_class.pk, world.official_class.pk]
    assert body["rules"] == given(world)["rules"]
    assert client.get(made["Location"]).json() == body
    listed = world.client("visitor").get(f"{ALL}?competition=linden-autumn").json()
    assert [row["slug"] for row in listed["results"]] == ["medium-tour", "small-tour"]
    assert client.get(f"{ALL}?competition=moor-summer").json()["count"] == 0


def test_every_problem_is_listed_by_its_path(world: World) -> None:
    rules = {"method": "best", "decimals": 3, "ties": [{"by": "total", "class": 3}]}
    body = assert_refusal(
        world.client("office").post(ALL, given(world, slug="small-tour", rules=rules), format="json"), 400
    )
    assert set(body["fields"]) == {"slug", "rules.method", "rules.ties[0].class"}
    elsewhere = builders.make_class(world.planned.__class__.objects.get(slug="moor-summer"), number="9")
    classes = [world.open_class.pk, elsewhere.pk]
    body = assert_refusal(world.client("office").post(ALL, given(world, classes=classes), format="json"), 400)
    assert body["fields"] == {"classes[1]": ["Class 9 belongs to another competition."]}


@pytest.mark.parametrize(
    "changes",
    [{"rules": []}, {"rules": "mean"}, {"classes": [999_999, 1]}, {"classes": 1}, {"title": 5}, {"sort": "up"}],
)
def test_what_has_the_wrong_shape_is_refused(world: World, changes: dict[str, Any]) -> None:
    assert_refusal(world.client("office").post(ALL, given(world, **changes), format="json"), 400)
    assert Championship.objects.count() == 1


def test_a_class_of_a_planned_competition_is_unknown_to_others(world: World) -> None:
    body = {"classes": [world.planned_class.pk, world.open_class.pk]}
    response = world.client("other office").patch(address(world), body, format="json", headers={"If-Match": '"1"'})
    assert_refusal(response, 403)
    planned = world.client("other office").post(
        ALL, given(world, competition="moor-summer", classes=body["classes"]), format="json"
    )
    refused = assert_refusal(planned, 400)
    assert str(world.planned_class.pk) in str(refused["fields"]["classes"])


def test_it_is_changed_from_the_version_that_was_read(world: World) -> None:
    client = world.client("office")
    changed = client.patch(
        address(world),
        {"rules": {"method": "last-class-decides", "decimals": 3}, "reason": "as in the schedule"},
        format="json",
        headers={"If-Match": '"1"'},
    )
    assert (changed.status_code, changed["ETag"], changed.json()["title"]) == (200, '"2"', "Small tour")
    assert ChampionshipChange.objects.latest("pk").reason == "as in the schedule"
    stale = client.patch(address(world), {"title": "Other"}, format="json", headers={"If-Match": '"1"'})
    body = assert_refusal(stale, 412, "conflict")
    assert (stale["ETag"], body["current"]["version"]) == ('"2"', 2)
    assert_refusal(client.patch(address(world), {"title": "Other"}, format="json"), 428)


def test_it_is_deleted_from_the_version_that_was_read(world: World) -> None:
    client = world.client("office")
    assert_refusal(client.delete(address(world)), 428)
    assert_refusal(client.delete(address(world), headers={"If-Match": '"7"'}), 412, "conflict")
    assert client.delete(address(world), headers={"If-Match": '"1"'}).status_code == 204
    assert_refusal(client.get(address(world)), 404)
    assert ChampionshipChange.objects.filter(action="deleted").count() == 1


def test_results_are_the_document_with_a_tag_that_follows_the_classes(world: World) -> None:
    client = world.client("visitor")
    first = client.get(address(world, "results"))
    document = first.json()
    assert (document["format"], document["championship"]) == ("championship-results/1", "linden-autumn/small-tour")
    row = next(row for row in document["rows"] if row["unit"] == "R1/H1")
    assert [cell["value"] for cell in row["classes"]] == ["70.000", None]
    assert client.get(address(world, "results"), headers={"If-None-Match": first["ETag"]}).status_code == 304
    for seat in "CE":
        builders.mark_sheet(world.open_class.entries.get(number="1"), seat, mark=80)
    second = client.get(address(world, "results"), headers={"If-None-Match": first["ETag"]})
    assert second.status_code == 200
    assert second["ETag"] != first["ETag"]
    assert next(row["value"] for row in second.json()["rows"] if row["unit"] == "R1/H1") == "75.000"


def test_unchanged_results_take_few_queries(world: World, django_assert_max_num_queries: Any) -> None:
    client = world.client("visitor")
    etag = client.get(address(world, "results"))["ETag"]
    with django_assert_max_num_queries(2):
        assert client.get(address(world, "results"), headers={"If-None-Match": etag}).status_code == 304


def test_what_cannot_be_worked_out_is_said(world: World) -> None:
    Championship.objects.update(document={**world.championship.document, "of": "penalty"})
    body = assert_refusal(world.client("visitor").get(address(world, "results")), 409, "not-worked-out")
    assert "has no penalty" in body["message"]
