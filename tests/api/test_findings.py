from __future__ import annotations

from tests import builders
from tests.api.conftest import World, assert_refusal


def unsigned_or_put_in(world: World) -> str:
    """Complete a ride with a mark put in for the judge, something to look at; return the address of the findings."""
    builders.mark_sheet(world.entry, "E", mark=65)
    client = world.client("office")
    sheet = f"/api/v1/entries/{world.entry.pk}/sheets/C/"
    answer = client.patch(sheet, {"substitutes": ["1"]}, format="json", headers={"If-Match": '"1"'})
    assert answer.status_code == 200
    return f"/api/v1/classes/{world.open_class.pk}/findings/"


def test_a_finding_is_decided_on_with_a_reason(world: World) -> None:
    address, client = unsigned_or_put_in(world), world.client("office")
    found = next(row for row in client.get(address).json() if row["kind"] == "substitutes")
    assert found["decision"] is None
    body = {"key": found["key"], "figures": found["figures"], "reason": "agreed with the judge"}
    for role, status in (("visitor", 401), ("stranger", 403), ("judge", 403), ("other office", 403)):
        assert_refusal(world.client(role).post(address, body, format="json"), status)
    decided = client.post(address, body, format="json").json()
    assert decided["decision"]["reason"] == "agreed with the judge"
    assert next(row for row in client.get(address).json() if row["key"] == found["key"]) == decided


def test_a_finding_that_says_something_else_by_now_is_answered_with_what_it_says(world: World) -> None:
    address, client = unsigned_or_put_in(world), world.client("office")
    found = next(row for row in client.get(address).json() if row["kind"] == "substitutes")
    body = {"key": found["key"], "figures": "something else", "reason": "looked at"}
    assert assert_refusal(client.post(address, body, format="json"), 412, "conflict")["current"] == found
    unknown = {"key": "nothing", "figures": "", "reason": "looked at"}
    assert_refusal(client.post(address, unknown, format="json"), 400)


def test_results_become_official_once_every_finding_is_decided_on(world: World) -> None:
    unsigned_or_put_in(world)
    for entry in world.open_class.entries.all():
        for seat in ("C", "E"):
            builders.mark_sheet(entry, seat, mark=65)
    address, client = f"/api/v1/classes/{world.open_class.pk}/official/", world.client("office")
    assert_refusal(client.post(address, {}, format="json"), 400, "findings-undecided")
    assert client.post(address, {"findings_reason": "table gone through"}, format="json").status_code == 201
