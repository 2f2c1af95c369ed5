from __future__ import annotations

import copy

from competitions.models import Competition
from riders.models import Score, ScoreChange
from scoring.bundles import verify_bundle
from tests import builders
from tests.api.conftest import World, assert_refusal, keep_association

BUNDLE = "/api/v1/competitions/linden-autumn/bundle/"
IMPORT = "/api/v1/associations/linden/bundles/"


def test_the_bundle_of_a_show_recomputes_and_holds_official_classes_only(world: World) -> None:
    document = world.client("office").get(BUNDLE).json()
    assert verify_bundle(document) == []
    assert [one["class"]["x-number"] for one in document["classes"]] == ["2"]
    assert "kept between us" not in str(document)


def test_with_nothing_official_there_is_no_bundle(world: World) -> None:
    response = world.client("other office").get("/api/v1/competitions/moor-summer/bundle/")
    assert_refusal(response, 403, "nothing-official")


def test_an_association_takes_it_in_once(world: World) -> None:
    document = world.client("office").get(BUNDLE).json()
    ScoreChange.objects.filter(score__key__startswith="linden-autumn/").delete()
    Score.objects.filter(key__startswith="linden-autumn/").delete()
    client = world.client("association")
    done = client.post(IMPORT, {"document": document, "reason": "sent by the office"}, format="json")
    assert done.json() == {
        "competition": "Linden Autumn Days",
        "classes": 1,
        "posted": 2,
        "corrected": 0,
        "unchanged": 0,
        "retracted": 0,
        "duplicate": 0,
        "by_members": None,
    }
    assert set(Score.objects.filter(key__startswith="linden-autumn/").values_list("key", "percentage")) == {
        ("linden-autumn/2/1", "70.000"),
        ("linden-autumn/2/2", "60.000"),
    }
    assert client.post(IMPORT, {"document": document}, format="json").json()["unchanged"] == 2


def test_a_changed_figure_refuses_all_of_it_by_path(world: World) -> None:
    document = world.client("office").get(BUNDLE).json()
    changed = copy.deepcopy(document)
    changed["classes"][0]["results"]["entries"][0]["total"] = "71.000"
    body = assert_refusal(
        world.client("association").post(IMPORT, {"document": changed}, format="json"), 400, "bundle-differs"
    )
    assert any(where.startswith("classes[0].results") for where in body["fields"])


def test_another_association_cannot_be_served(world: World) -> None:
    keeper = builders.make_user("moor-keeper")
    keep_association(keeper, builders.make_association("moor"))
    document = world.client("office").get(BUNDLE).json()
    world.users["moor keeper"] = keeper
    assert_refusal(world.client("moor keeper").post(IMPORT, {"document": document}, format="json"), 403)
    assert Competition.objects.count() == 3
