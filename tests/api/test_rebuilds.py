"""The standings worked out anew as a whole, asked for through the API."""

from __future__ import annotations

from riders.models import StandingsRebuild
from riders.services.rebuilds import run_rebuild
from tests.api.conftest import World, assert_refusal


def test_asked_for_twice_it_is_one_and_its_state_can_be_read(world: World) -> None:
    address = f"/api/v1/seasons/{world.season.pk}/rebuild/"
    keeper = world.client("association")
    assert_refusal(keeper.get(address), 404, "not-found")
    asked = keeper.post(address)
    assert asked.status_code == 202
    assert asked["Location"].endswith(address)
    assert asked.json()["state"] == "queued"
    assert keeper.post(address).status_code == 202
    rebuild = StandingsRebuild.objects.get()
    before = keeper.get(f"/api/v1/seasons/{world.season.pk}/standings/").json()["groups"]
    run_rebuild(rebuild.pk)
    done = keeper.get(address).json()
    assert (done["state"], done["progress"]) == ("done", 100)
    assert keeper.get(f"/api/v1/seasons/{world.season.pk}/standings/").json()["groups"] == before


def test_only_keepers_ask_and_read(world: World) -> None:
    address = f"/api/v1/seasons/{world.season.pk}/rebuild/"
    StandingsRebuild.objects.create(season=world.season)
    assert world.client("rider").get(address).status_code == 403
    assert world.client("association").get(address).status_code == 200


def test_a_closed_season_is_refused_with_a_sentence(world: World) -> None:
    world.season.closed_at = "2027-10-02T18:00:00Z"
    world.season.save()
    answer = world.client("association").post(f"/api/v1/seasons/{world.season.pk}/rebuild/")
    assert answer.status_code in {403, 409}
    assert "is closed" in answer.json()["message"]
