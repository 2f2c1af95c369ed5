"""The ledger at work through the API: by every role, and from the first request to the last."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest

from riders.models import Membership, Merge, NameDecision, Rider, Score, WaitingImport
from riders.services.corrections import version_of
from riders.services.matching import decide_name
from riders.services.merges import merge
from riders.services.waiting_imports import hand_in
from tests.api.conftest import ROLES, World, assert_refusal
from tests.api.test_nonsense import CSV_FILES

KEEPERS = {"association", "staff"}
HEADER = "score_id,pair,rider,horse,level,date,competition,class,percentage,status\n"
ROW = "far/1/1,X1,Una Lind,Fen,novice,2026-11-01,far,1,64.500,completed\n"
FILE = HEADER + ROW


def asked(world: World, role: str, method: str, address: str, body: Any = None, **headers: str) -> Any:
    sent = {} if body is None else {"data": body, "format": "json"}
    return getattr(world.client(role), method.lower())(f"/api/v1/{address}", headers=headers, **sent)


def handed_in(world: World, text: str = FILE, query: str = "", content_type: str = "text/csv") -> dict[str, Any]:
    client = world.client("association")
    response = client.post(f"/api/v1/imports/{query}", data=text, content_type=content_type)
    assert response.status_code == 201, response.content
    assert response["Location"] == f"/api/v1/imports/{response.json()['id']}/"
    found: dict[str, Any] = response.json()
    return found


def operations(world: World) -> list[tuple[str, str, Any, dict[str, str]]]:
    keeper = world.users["association"]
    waiting = hand_in(FILE.encode(), by=keeper)
    decision = decide_name(source="", kind="rider", spelling="X", member=None, by=keeper)
    done = merge(world.entry.pair.rider, Rider.objects.create(name="Rider 1."), by=keeper, reason="one")
    held = Membership.objects.create(
        association=world.association,
        number="M9",
        kind="person",
        rider=world.entry.pair.rider,
        starts_on=date(2026, 1, 1),
    )
    member = f"associations/linden/memberships/{held.pk}/"
    tag = {"If-Match": asked(world, "staff", "GET", member)["ETag"]}
    score = Score.objects.get(key="elsewhere/4/7")
    return [
        ("GET", f"imports/{waiting.pk}/", None, {}),
        ("GET", f"imports/{waiting.pk}/changes/", None, {}),
        ("POST", f"imports/{waiting.pk}/names/", {"decisions": [_decision("rider", "Una Lind")]}, {}),
        ("POST", f"imports/{waiting.pk}/confirmation/", {"digest": waiting.digest, "state": waiting.state}, {}),
        ("DELETE", f"imports/{waiting.pk}/", None, {}),
        ("DELETE", f"names/{decision.pk}/", None, {}),
        ("GET", f"merges/{done.pk}/", None, {}),
        ("POST", f"merges/{done.pk}/undoing/", {"reason": "two"}, {}),
        ("GET", member, None, {}),
        ("PATCH", member, {"number": "M8", "reason": "renumbered"}, tag),
        ("POST", f"{member}removal/", {"reason": "never ours"}, tag),
        ("POST", "scores/elsewhere/4/7/return/", {"reason": "right"}, {"If-Match": f'"{version_of(score)}"'}),
    ]


def _decision(kind: str, spelling: str, member: int | None = None) -> dict[str, Any]:
    return {"kind": kind, "spelling": spelling, "member": member}


def test_nobody_but_keepers_does_any_of_it(world: World):
    for method, address, body, headers in operations(world):
        for role in set(ROLES) - KEEPERS:
            response = asked(world, role, method, address, body, **headers)
            assert_refusal(response, 401 if role == "visitor" else 403)
    assert WaitingImport.objects.filter(confirmed_at__isnull=True).exists()
    assert not Merge.objects.filter(undone_at__isnull=False).exists()
    assert not NameDecision.objects.filter(undone_at__isnull=False).exists()


@pytest.mark.parametrize("role", sorted(KEEPERS))
@pytest.mark.parametrize("position", range(12))
def test_keepers_do_each(world: World, role: str, position: int):
    if position == 11:
        score = Score.objects.get(key="elsewhere/4/7")
        tag = {"If-Match": f'"{version_of(score)}"'}
        asked(world, role, "POST", "scores/elsewhere/4/7/retraction/", {"reason": "wrong"}, **tag)
    method, address, body, headers = operations(world)[position]
    assert 200 <= asked(world, role, method, address, body, **headers).status_code < 300


def test_a_file_is_looked_at_decided_on_and_confirmed(world: World):
    known = Rider.objects.create(name="Una Lind")
    preview = handed_in(world, query="?source=far&file_name=far.csv")
    assert (preview["file_name"], preview["source"], preview["by"]) == ("far.csv", "far", "association")
    assert preview["counts"] == {"posted": 1, "corrected": 0, "retracted": 0, "duplicate": 0, "unchanged": 0}
    assert [proposal["id"] for name in preview["names"] for proposal in name["proposals"]] == [known.pk]
    address = f"imports/{preview['id']}/"
    confirmation = {"digest": preview["digest"], "state": preview["state"]}
    refused = asked(world, "association", "POST", f"{address}confirmation/", confirmation)
    assert_refusal(refused, 400, "names-open")
    chosen = {"decisions": [_decision("rider", "Una Lind", known.pk)]}
    preview = asked(world, "association", "POST", f"{address}names/", chosen).json()
    stale = asked(world, "association", "POST", f"{address}confirmation/", confirmation)
    assert_refusal(stale, 409, "conflict")
    now = {"digest": preview["digest"], "state": preview["state"], "reason": "by post"}
    done = asked(world, "association", "POST", f"{address}confirmation/", now).json()
    assert done["summary"]["posted"] == 1
    score = Score.objects.get(key="far/1/1")
    assert (score.pair.rider, score.changes.get().reason) == (known, "by post")
    assert_refusal(asked(world, "association", "DELETE", address), 403, "import-confirmed")
    assert asked(world, "association", "GET", address).json()["counts"]["posted"] == 1
    assert asked(world, "association", "GET", f"{address}changes/").json() == {"count": 0, "start": 0, "changes": []}
    (decided,) = [row for row in asked(world, "staff", "GET", "names/").json()["results"] if row["kind"] == "rider"]
    assert (decided["member"], decided["name"], decided["source"]) == (known.pk, "Una Lind", "far")


def test_what_a_file_would_change_comes_score_by_score(world: World):
    rows = "".join(ROW.replace("far/1/1", f"far/1/{n}").replace(",far,1,", f",far,{n},") for n in range(600))
    preview = handed_in(world, HEADER + rows)
    address = f"imports/{preview['id']}/changes/"
    first = asked(world, "staff", "GET", address).json()
    rest = asked(world, "staff", "GET", f"{address}?what=posted&start=500").json()
    assert (first["count"], len(first["changes"]), len(rest["changes"])) == (600, 500, 100)
    assert {change["score_id"] for change in first["changes"] + rest["changes"]} == {f"far/1/{n}" for n in range(600)}
    assert asked(world, "staff", "GET", f"{address}?what=corrected").json()["count"] == 0
    for nonsense in ("?what=x", "?start=-1", "?start=9999999999"):
        assert_refusal(asked(world, "staff", "GET", f"{address}{nonsense}"), 400)


def test_json_lines_and_bundles_are_taken_as_they_are(world: World):
    line = json.dumps(dict(zip(HEADER.strip().split(","), ROW.strip().split(","), strict=True)))
    assert handed_in(world, line, content_type="application/x-ndjson")["counts"]["posted"] == 1
    bundle = handed_in(world, json.dumps(world.values()["bundle"]), content_type="application/json")
    assert (bundle["kind"], bundle["problems"]) == ("bundle", [])


@pytest.mark.parametrize(
    "text",
    [
        "a,b\n1,2\n",
        "\x00\x01",
        HEADER + "far/1/1,X1,U\x00na,Fen,novice,2026-11-01,far,1,64.500,completed\n",
        "{" * 5000,
    ],
)
def test_hostile_files_are_answered_with_problems(world: World, text: str):
    preview = handed_in(world, text)
    assert preview["problem_count"] == len(preview["problems"]) > 0
    assert all(problem["sentence"].endswith(".") for problem in preview["problems"])


@pytest.mark.parametrize("name", sorted(CSV_FILES))
def test_nonsense_files_are_refused_or_answered_with_problems(world: World, name: str):
    response = world.client("staff").post("/api/v1/imports/", data=CSV_FILES[name], content_type="text/csv")
    if response.status_code == 201:
        assert response.json()["problems"]
        assert not response.json()["counts"]["posted"]
    else:
        assert_refusal(response, 400)


def test_files_that_are_no_files_are_refused(world: World):
    client = world.client("staff")
    assert_refusal(client.post("/api/v1/imports/", data=" ", content_type="text/csv"), 400)
    assert_refusal(client.post("/api/v1/imports/", data="x", content_type="text/plain"), 415)
    assert_refusal(client.post(f"/api/v1/imports/?source={'s' * 81}", data=FILE, content_type="text/csv"), 400)


def test_decisions_on_nobody_are_refused(world: World):
    address = f"imports/{handed_in(world)['id']}/names/"
    for decisions in (
        [],
        [_decision("owner", "Una Lind")],
        [_decision("rider", "Una Lind", 10**6)],
        [_decision("rider", "Nobody")],
        [{"kind": "rider"}],
    ):
        assert_refusal(asked(world, "staff", "POST", address, {"decisions": decisions}), 400)


def test_a_merge_is_planned_made_read_and_undone(world: World):
    values = world.values()
    plan = asked(world, "staff", "GET", f"merges/plan/?kind=rider&kept={values['rider']}&gone={values['twin']}").json()
    assert (plan["conflicts"], plan["moved"]) == ([], {})
    body = {"kind": "rider", "kept": values["rider"], "gone": values["twin"], "reason": "misspelt"}
    made = asked(world, "association", "POST", "merges/", body)
    assert made.status_code == 201
    shown = asked(world, "staff", "GET", f"merges/{made.json()['id']}/").json()
    assert (shown["gone_name"], shown["by"], [step["do"] for step in shown["steps"]]) == (
        "Rider 1.",
        "association",
        ["remove"],
    )
    undone = asked(world, "staff", "POST", f"merges/{shown['id']}/undoing/", {"reason": "two"}).json()
    assert (undone["undone_by"], undone["undo_reason"]) == ("staff", "two")
    assert Rider.objects.filter(pk=values["twin"]).exists()
    again = asked(world, "staff", "POST", f"merges/{shown['id']}/undoing/", {"reason": "two"})
    assert_refusal(again, 403, "merge-undone")


def test_what_stands_against_a_merge_is_a_conflict(world: World):
    other = world.open_class.entries.get(number="2").pair.rider_id
    query = {"kind": "rider", "kept": world.entry.pair.rider_id, "gone": other}
    plan = asked(world, "staff", "GET", f"merges/plan/?kind=rider&kept={query['kept']}&gone={other}").json()
    assert len(plan["conflicts"]) == 1
    assert_refusal(asked(world, "staff", "POST", "merges/", query | {"reason": "a try"}), 409, "conflict")
    assert_refusal(asked(world, "staff", "POST", "merges/", query | {"gone": 10**9, "reason": "a try"}), 400)
    assert_refusal(asked(world, "staff", "GET", "merges/plan/?kind=owner&kept=1&gone=2"), 400)
    assert_refusal(asked(world, "staff", "GET", "merges/plan/"), 400)


def test_a_score_is_corrected_retracted_and_put_back_from_the_version_that_was_read(world: World):
    address = "scores/elsewhere/4/7/"
    tag = asked(world, "association", "GET", f"{address}history/")["ETag"]
    change = {"changes": {"percentage": "67.000"}, "reason": "typing error"}
    assert_refusal(asked(world, "association", "PATCH", f"{address}correction/", change), 428)
    done = asked(world, "association", "PATCH", f"{address}correction/", change, **{"If-Match": tag})
    assert done.json()["percentage"] == "67.000"
    stale = asked(world, "association", "PATCH", f"{address}correction/", change, **{"If-Match": tag})
    assert assert_refusal(stale, 412)["current"]["percentage"] == "67.000"
    assert stale["ETag"] == done["ETag"]
    bad = change | {"changes": {"percentage": "101", "date": "x"}}
    refused = asked(world, "staff", "PATCH", f"{address}correction/", bad, **{"If-Match": done["ETag"]})
    assert set(assert_refusal(refused, 400)["fields"]) == {"percentage", "date"}
    reason = {"reason": "wrong test"}
    gone = asked(world, "staff", "POST", f"{address}retraction/", reason, **{"If-Match": done["ETag"]})
    assert gone.json()["retracted_at"]
    back = asked(world, "staff", "POST", f"{address}return/", {"reason": "right"}, **{"If-Match": gone["ETag"]})
    assert back.json()["retracted_at"] is None
    lines = asked(world, "staff", "GET", f"{address}history/").json()
    assert [(line["action"], line["by"]) for line in lines] == [
        ("corrected", "staff"),
        ("retracted", "staff"),
        ("corrected", "association"),
        ("posted", None),
    ]
    assert lines[2]["differences"] == [{"field": "percentage", "before": "66.500", "after": "67.000"}]


def test_scores_of_a_class_run_here_are_corrected_there(world: World):
    tag = {"If-Match": f'"{version_of(world.score)}"'}
    address = f"scores/{world.score.key}/"
    for method, action, body in (
        ("PATCH", "correction/", {"changes": {"percentage": "60"}, "reason": "x"}),
        ("POST", "retraction/", {"reason": "x"}),
    ):
        assert_refusal(asked(world, "staff", method, address + action, body, **tag), 403, "score-of-a-class")


def test_a_membership_is_added_changed_and_removed(world: World):
    rider = world.entry.pair.rider_id
    body = {"kind": "person", "member": rider, "number": "M1", "starts_on": "2026-10-01", "reason": "joined"}
    made = asked(world, "association", "POST", "associations/linden/memberships/", body)
    assert made.json() | {"id": 0} == {
        "id": 0,
        "number": "M1",
        "kind": "person",
        "member": rider,
        "name": "Rider 1",
        "division": "",
        "starts_on": "2026-10-01",
        "ends_on": None,
    }
    assert_refusal(asked(world, "association", "POST", "associations/linden/memberships/", body), 400)
    assert_refusal(
        asked(world, "staff", "POST", "associations/linden/memberships/", body | {"member": 10**9, "number": "M2"}), 400
    )
    address = f"associations/linden/memberships/{made.json()['id']}/"
    change = {"ends_on": "2027-09-30", "reason": "left"}
    changed = asked(world, "association", "PATCH", address, change, **{"If-Match": made["ETag"]})
    assert changed.json()["ends_on"] == "2027-09-30"
    stale = asked(world, "association", "PATCH", address, change, **{"If-Match": made["ETag"]})
    assert assert_refusal(stale, 412)["current"]["ends_on"] == "2027-09-30"
    removal = {"reason": "never ours"}
    assert_refusal(asked(world, "staff", "POST", f"{address}removal/", removal, **{"If-Match": made["ETag"]}), 412)
    gone = asked(world, "staff", "POST", f"{address}removal/", removal, **{"If-Match": changed["ETag"]})
    assert gone.status_code == 204
    assert not Membership.objects.exists()


def test_a_write_that_is_repeated_is_done_once(world: World):
    values = world.values()
    body = {"kind": "rider", "kept": values["rider"], "gone": values["twin"], "reason": "misspelt"}
    answers = [asked(world, "staff", "POST", "merges/", body, **{"Idempotency-Key": "k-1"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[1]["Idempotency-Replayed"] == "true"
    assert Merge.objects.count() == 1
