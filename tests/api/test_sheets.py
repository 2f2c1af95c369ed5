from __future__ import annotations

import json
from typing import Any

import pytest
from django.urls import reverse

from competitions.models import SheetRevision
from tests.api.conftest import ROLES, World, assert_refusal
from tests.api.test_permissions import TABLE, filled


def address(world: World, seat: str = "C") -> str:
    return f"/api/v1/entries/{world.entry.pk}/sheets/{seat}/"


def write(world: World, body: dict[str, Any], *, role: str = "office", version: int = 1) -> Any:
    return world.client(role).patch(address(world), body, format="json", headers={"If-Match": f'"{version}"'})


def test_marks_go_in_and_come_out_as_text(world: World) -> None:
    response = write(world, {"marks": {"1": "7.5", "2": 6.5, "3": None}})
    shown = response.json()
    assert shown["marks"] == {"1": "7.5", "2": "6.5", "4": "6.5", "G1": "6.5", "G2": "6.5"}
    world.sheet.refresh_from_db()
    assert world.sheet.marks == {"1": 75, "2": 65, "4": 65, "G1": 65, "G2": 65}
    line = next(line for line in shown["lines"] if line["item"] == "2")
    assert (line["mark"], line["points"], line["lost"], line["coefficient"]) == ("6.5", "13", "7", "2")
    # by hand: (7.5 + 2 x 6.5 + 6.5 + 6.5 + 2 x 6.5) / 70 = 46.5 / 70 = 66.429 %
    assert shown["summary"] == {
        "points": "46.5",
        "maximum": "70",
        "percentage": "66.429",
        "complete": False,
        "missing": ["3"],
    }


def test_what_is_left_out_stays(world: World) -> None:
    write(world, {"remarks": {"1": "", "2": "rounder"}, "overall_remarks": "obedient"})
    world.sheet.refresh_from_db()
    assert world.sheet.remarks == {"2": "rounder"}
    assert world.sheet.overall_remarks == "obedient"
    assert len(world.sheet.marks) == 6


def test_every_mark_off_the_scale_is_named_and_nothing_is_written(world: World) -> None:
    body = assert_refusal(write(world, {"marks": {"1": "10.5", "2": "6.3", "9": "5", "3": "7"}}), 400, "invalid")
    assert set(body["fields"]) == {"marks.1", "marks.2", "marks.9"}
    world.sheet.refresh_from_db()
    assert world.sheet.marks["3"] == 65


def test_the_revision_names_the_api_and_the_reason(world: World) -> None:
    write(world, {"marks": {"1": "7"}, "reason": "slip of the pen"}, role="judge")
    revision = SheetRevision.objects.filter(sheet=world.sheet).latest("version")
    assert (revision.source, revision.reason, revision.by) == ("api", "slip of the pen", world.users["judge"])
    assert revision.before["marks"]["1"] == 65


def test_a_result_without_marks(world: World) -> None:
    shown = write(world, {"given_result": {"percentage": "67.273"}}).json()
    assert shown["given_result"] == {"percentage": "67.273"}
    assert shown["summary"]["percentage"] == "67.273"
    for wrong in ({}, {"points": "1", "percentage": "1"}, {"percentage": "sixty"}, {"marks": "1"}):
        assert_refusal(write(world, {"given_result": wrong}, version=2), 400)


def test_only_the_office_puts_in_marks_for_a_judge(world: World) -> None:
    assert_refusal(write(world, {"substitutes": ["1"]}, role="judge"), 403)
    assert write(world, {"substitutes": ["1"]}).json()["substitutes"] == ["1"]


def test_a_judge_writes_only_while_the_class_is_open(world: World) -> None:
    official = f"/api/v1/entries/{world.official_entry.pk}/sheets/C/"
    response = world.client("judge").patch(official, {"signed": True}, format="json", headers={"If-Match": '"1"'})
    assert_refusal(response, 403, "not-allowed")


@pytest.mark.parametrize(
    ("role", "seen"), [("stranger", 0), ("rider", 1), ("judge", 3), ("office", 3), ("other office", 0), ("staff", 3)]
)
def test_each_sees_the_own_sheets(world: World, role: str, seen: int) -> None:
    listed = world.client(role).get("/api/v1/sheets/").json()
    assert listed["count"] == seen
    if role == "rider":
        assert listed["results"][0]["entry"] == world.official_entry.pk


def test_the_list_is_filtered(world: World) -> None:
    client = world.client("office")
    assert client.get(f"/api/v1/sheets/?class={world.open_class.pk}").json()["count"] == 1
    assert client.get(f"/api/v1/sheets/?entry={world.official_entry.pk}&seat=C").json()["count"] == 1
    assert client.get("/api/v1/sheets/?signed=true").json()["count"] == 0
    assert client.get("/api/v1/sheets/?competition=moor-summer").json()["count"] == 0


def test_a_correction_hides_the_sheet_from_the_rider_again(world: World) -> None:
    sheet = f"/api/v1/entries/{world.official_entry.pk}/sheets/C/"
    assert world.client("rider").get(sheet).status_code == 200
    world.client("office").post(
        f"/api/v1/classes/{world.official_class.pk}/correction/", {"reason": "a mark"}, format="json"
    )
    assert_refusal(world.client("rider").get(sheet), 404)


PRIVATE = ("a private remark", "private words", "kept between us", "@example.org", "argon2", "md5$")


@pytest.mark.parametrize("role", [role for role in ROLES if role not in {"office", "judge", "staff", "rider"}])
def test_nothing_private_is_anywhere_in_the_api(world: World, role: str) -> None:
    client = world.client(role)
    for row in TABLE:
        if row.method == "GET" and role in row.allowed:
            response = client.get(f"/api/v1/{filled(row.url, world.values())}")
            text = (b"".join(response.streaming_content) if response.streaming else response.content).decode()
            assert [word for word in PRIVATE if word in text] == [], row.id


def test_the_search_for_private_words_would_find_them(world: World) -> None:
    text = world.client("office").get("/api/v1/sheets/").content.decode()
    assert {"a private remark", "private words", "kept between us"} <= {word for word in PRIVATE if word in text}


def test_judges_marks_by_movement_are_not_in_public_results(world: World) -> None:
    results = world.client("visitor").get(reverse("api-results", kwargs={"pk": world.official_class.pk})).json()
    assert "marks" not in json.dumps(results)
