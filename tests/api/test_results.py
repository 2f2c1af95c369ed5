from __future__ import annotations

from typing import Any

import scoring
from competitions.models import ClassResults
from competitions.services.entries import add_entry
from riders.models import Score
from tests import builders
from tests.api.conftest import World, assert_refusal


def results_of(world: World, pk: int, role: str = "visitor", **headers: str) -> Any:
    return world.client(role).get(f"/api/v1/classes/{pk}/results/", headers=headers)


def test_results_are_the_document_of_the_class_version(world: World) -> None:
    response = results_of(world, world.open_class.pk)
    assert response["ETag"] == f'"{world.open_class.version}"'
    assert response["Content-Type"] == "application/json"
    assert response.json() == ClassResults.objects.get(competition_class=world.open_class).document


def test_what_is_held_already_is_not_sent_again(world: World) -> None:
    etag = results_of(world, world.open_class.pk)["ETag"]
    for held in (etag, f"W/{etag}", f'"0", {etag}', "*"):
        response = results_of(world, world.open_class.pk, **{"If-None-Match": held})
        assert (response.status_code, response.content, response["ETag"]) == (304, b"", etag)
    assert results_of(world, world.open_class.pk, **{"If-None-Match": '"0"'}).status_code == 200


def test_304_says_nothing_of_a_class_that_is_not_open(world: World) -> None:
    response = results_of(world, world.planned_class.pk, **{"If-None-Match": "*"})
    assert_refusal(response, 404)


def test_a_new_mark_makes_a_new_version(world: World) -> None:
    before = results_of(world, world.open_class.pk)
    builders.mark_sheet(world.open_class.entries.get(number="2"), "C", mark=80)
    after = results_of(world, world.open_class.pk, **{"If-None-Match": before["ETag"]})
    assert (after.status_code, after["ETag"] != before["ETag"]) == (200, True)
    assert {row["number"] for row in after.json()["entries"]} > {row["number"] for row in before.json()["entries"]}


def test_a_poll_that_finds_nothing_new_asks_little(world: World, django_assert_max_num_queries: Any) -> None:
    etag = results_of(world, world.open_class.pk)["ETag"]
    client = world.client("visitor")
    with django_assert_max_num_queries(1):
        client.get(f"/api/v1/classes/{world.open_class.pk}/results/", headers={"If-None-Match": etag})
    with django_assert_max_num_queries(1):
        client.get(f"/api/v1/classes/{world.open_class.pk}/results/")


def test_official_results_stay_posted_while_they_are_corrected(world: World) -> None:
    office, address = world.client("office"), f"/api/v1/classes/{world.official_class.pk}/"
    official = results_of(world, world.official_class.pk).json()
    started = office.post(f"{address}correction/", {"reason": "Mark 1 at C was 8."}, format="json")
    assert (started.status_code, started.json()["correcting"]) == (200, True)
    sheet = f"/api/v1/entries/{world.official_entry.pk}/sheets/C/"
    changed = office.patch(
        sheet, {"marks": {"1": "8"}, "reason": "keyed as 7"}, format="json", headers={"If-Match": '"1"'}
    )
    assert changed.status_code == 200
    assert results_of(world, world.official_class.pk).json() == official
    assert_refusal(office.delete(f"{address}correction/"), 403, "correction-has-changes")
    posted = office.post(f"{address}official/", {}, format="json")
    assert (posted.status_code, posted["Location"]) == (201, f"{address}results/2/")
    assert posted.json()["reason"] == "Mark 1 at C was 8."
    corrected = results_of(world, world.official_class.pk).json()
    assert corrected["entries"][0]["total"] != official["entries"][0]["total"]
    visitor = world.client("visitor")
    assert visitor.get(f"{address}results/1/").json() == official
    assert visitor.get(f"{address}results/2/").json() == corrected
    revisions = visitor.get(f"{address}revisions/").json()["results"]
    assert [row["revision"] for row in revisions] == [2, 1]


def test_a_correction_that_changed_nothing_is_cancelled(world: World) -> None:
    office, address = world.client("office"), f"/api/v1/classes/{world.official_class.pk}/correction/"
    assert_refusal(office.delete(address), 403, "no-correction")
    office.post(address, {"reason": "to be looked at"}, format="json")
    for role, status in (("visitor", 401), ("stranger", 403), ("judge", 403), ("other office", 403)):
        assert_refusal(world.client(role).delete(address), status)
    closed = office.delete(address)
    assert (closed.status_code, closed.json()["correcting"], closed.json()["results_state"]) == (200, False, "official")


def test_making_official_is_for_the_office_and_names_what_is_missing(world: World) -> None:
    address = f"/api/v1/classes/{world.open_class.pk}/official/"
    for role, status in (("visitor", 401), ("stranger", 403), ("judge", 403), ("rider", 403), ("other office", 403)):
        assert_refusal(world.client(role).post(address, {}, format="json"), status)
    body = assert_refusal(world.client("office").post(address, {}, format="json"), 400, "entries-unfinished")
    assert set(body["fields"]) == {"entry 1", "entry 2", "entry 3"}


def test_withdrawn_results_leave_the_ledger_and_stay_readable(world: World) -> None:
    address = f"/api/v1/classes/{world.official_class.pk}/"
    assert_refusal(world.client("office").post(f"{address}withdrawal/", {"reason": " "}, format="json"), 400)
    answer = world.client("office").post(f"{address}withdrawal/", {"reason": "wrong test ridden"}, format="json")
    assert answer.json()["results_state"] == "withdrawn"
    assert not Score.objects.filter(key__startswith="linden-autumn/2/", retracted_at__isnull=True).exists()
    (revision,) = world.client("visitor").get(f"{address}revisions/").json()["results"]
    assert revision["withdrawn_reason"] == "wrong test ridden"
    assert world.client("visitor").get(f"{address}results/1/").status_code == 200


def test_the_whole_class_recomputes_to_its_results(world: World) -> None:
    document = world.client("office").get(f"/api/v1/classes/{world.official_class.pk}/document/")
    assert document["ETag"] == f'"{world.official_class.version}"'
    recomputed = scoring.compute_results(scoring.read_class(document.json())).as_document()
    assert recomputed == results_of(world, world.official_class.pk).json()


def test_a_revision_that_is_not_there(world: World) -> None:
    assert_refusal(world.client("visitor").get(f"/api/v1/classes/{world.official_class.pk}/results/9/"), 404)


def test_entries_hors_concours_that_the_rules_hide_are_not_published(world: World) -> None:
    rules = builders.make_rule_set(id="hiding-rules", hors_concours="hidden")
    hiding = builders.make_class(world.competition, number="7", rule_set=rules)
    for number, apart in (("1", False), ("2", True)):
        entry = add_entry(hiding, number=number, pair=builders.make_pair(int(number)), by=None, hors_concours=apart)
        builders.mark_sheet(entry, "C")
    assert [row["number"] for row in results_of(world, hiding.pk).json()["entries"]] == ["1"]
