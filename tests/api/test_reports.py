from __future__ import annotations

from typing import Any

import pytest
from django.core.files.storage import default_storage

from reports.models import Job
from reports.services import run_job
from tests.api.conftest import World, assert_refusal


@pytest.fixture(autouse=True)
def own_files(settings: Any, tmp_path: Any) -> None:
    settings.MEDIA_ROOT = tmp_path


def ask(world: World, body: dict[str, Any], role: str = "visitor") -> Any:
    return world.client(role).post("/api/v1/reports/", body, format="json")


def test_a_report_is_asked_for_made_and_fetched(world: World) -> None:
    accepted = ask(world, {"kind": "results", "target": world.official_class.pk})
    job = accepted.json()
    assert (accepted.status_code, accepted["Location"]) == (202, f"/api/v1/reports/{job['id']}/")
    assert (job["state"], job["file"], job["progress"]) == ("queued", None, 0)
    visitor = world.client("visitor")
    assert_refusal(visitor.get(f"{accepted['Location']}file/"), 409, "not-ready")
    run_job(job["id"])
    done = visitor.get(accepted["Location"]).json()
    assert (done["state"], done["progress"]) == ("done", 100)
    file = visitor.get(done["file"])
    assert (file.status_code, file["Content-Type"]) == (200, "application/pdf")
    assert file.content.startswith(b"%PDF")
    assert file["Content-Disposition"].startswith("attachment; filename=")
    assert visitor.get(done["file"], headers={"If-None-Match": file["ETag"]}).status_code == 304
    assert visitor.get(done["file"], headers={"Accept": "application/pdf"}).status_code == 200


def test_the_same_report_is_the_same_job(world: World) -> None:
    body = {"kind": "running-order", "target": world.open_class.pk}
    assert ask(world, body).json()["id"] == ask(world, body, "office").json()["id"]
    assert Job.objects.count() == 1


def test_a_private_report_is_not_found_by_others(world: World) -> None:
    sheet = world.official_entry.sheets.get()
    job = ask(world, {"kind": "sheet", "target": sheet.pk}, "rider").json()
    run_job(job["id"])
    for role, found in (("rider", True), ("office", True), ("judge", True), ("stranger", False), ("visitor", False)):
        client = world.client(role)
        for part in ("", "file/"):
            response = client.get(f"/api/v1/reports/{job['id']}/{part}")
            if found:
                assert response.status_code == 200
            else:
                assert_refusal(response, 404)
        if not found:
            assert_refusal(client.post(f"/api/v1/reports/{job['id']}/retry/"), 404)


def test_a_right_that_has_gone_takes_the_file_with_it(world: World) -> None:
    sheet = world.official_entry.sheets.get()
    job = ask(world, {"kind": "sheet", "target": sheet.pk}, "rider").json()
    run_job(job["id"])
    world.client("office").post(
        f"/api/v1/classes/{world.official_class.pk}/correction/", {"reason": "a mark"}, format="json"
    )
    assert_refusal(world.client("rider").get(f"/api/v1/reports/{job['id']}/file/"), 404)


@pytest.mark.parametrize("damage", ["gone", "damaged"])
def test_a_file_that_is_gone_or_damaged_is_made_again(world: World, damage: str) -> None:
    job = Job.objects.get(pk=ask(world, {"kind": "results", "target": world.official_class.pk}).json()["id"])
    run_job(job.pk)
    job.refresh_from_db()
    if damage == "gone":
        default_storage.delete(job.file)
    else:
        default_storage.delete(job.file)
        with default_storage.open(job.file, "wb") as kept:
            kept.write(b"%PDF-not what was made")
    visitor = world.client("visitor")
    body = assert_refusal(visitor.get(f"/api/v1/reports/{job.pk}/file/"), 409, "file-gone")
    assert body["retry"] is True
    again = visitor.post(f"/api/v1/reports/{job.pk}/retry/")
    assert (again.status_code, again.json()["state"]) == (202, "queued")
    run_job(job.pk)
    assert visitor.get(f"/api/v1/reports/{job.pk}/file/").status_code == 200


def test_a_failed_report_says_why_and_is_tried_again(world: World) -> None:
    job = Job.objects.get(pk=ask(world, {"kind": "results", "target": world.official_class.pk}).json()["id"])
    Job.objects.filter(pk=job.pk).update(state=Job.State.FAILED, message="The printer's ink is out. Try again.")
    visitor = world.client("visitor")
    shown = visitor.get(f"/api/v1/reports/{job.pk}/").json()
    assert (shown["state"], shown["message"]) == ("failed", "The printer's ink is out. Try again.")
    assert visitor.post(f"/api/v1/reports/{job.pk}/retry/").json()["state"] == "queued"


def test_everyone_lists_the_own_reports(world: World) -> None:
    ask(world, {"kind": "results", "target": world.official_class.pk}, "office")
    ask(world, {"kind": "running-order", "target": world.open_class.pk}, "rider")
    office = world.client("office")
    assert office.get("/api/v1/reports/").json()["count"] == 1
    assert office.get("/api/v1/reports/?kind=sheet").json()["count"] == 0
    assert office.get("/api/v1/reports/?state=queued&kind=results").json()["count"] == 1


@pytest.mark.parametrize(
    "body",
    [
        {"kind": "poster", "target": 1},
        {"kind": "results", "target": 10**12},
        {"kind": "results", "target": "1"},
        {"kind": "results", "target": 1, "options": {"season": 1}},
        {"kind": "season-statement", "target": 1},
        {"kind": "season-statement", "target": 1, "options": {"season": "2027"}},
        {"kind": "season-statement", "target": 1, "options": {"year": 1}},
    ],
    ids=str,
)
def test_a_report_that_cannot_be_made_is_refused(world: World, body: dict[str, Any]) -> None:
    assert_refusal(ask(world, body, "staff"), 400)


@pytest.mark.parametrize(
    ("form", "media_type", "start"),
    [
        ("pdf", "application/pdf", b"%PDF-"),
        ("xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", b"PK"),
        ("csv", "text/csv; charset=utf-8", b"level,place,"),
    ],
)
def test_a_list_of_a_season_is_fetched_as_the_file_it_was_asked_for(world: World, form, media_type, start) -> None:
    client = world.client("visitor")
    body = {"kind": "season-standings", "target": world.season.pk, "options": {"format": form}}
    asked = client.post("/api/v1/reports/", body, format="json")
    assert asked.status_code == 202
    assert asked.json()["options"] == {"edition": 0, "format": form}
    run_job(asked.json()["id"])
    file = client.get(f"/api/v1/reports/{asked.json()['id']}/file/")
    assert file["Content-Type"] == media_type
    assert file.content.startswith(start)
    assert f'not final.{form}"' in file["Content-Disposition"]


@pytest.mark.parametrize(
    "options", [{"format": "exe"}, {"edition": 9}, {"edition": "1"}, {"places": 0}, {"table": 99}, {"of": "placed"}]
)
def test_nonsense_about_a_list_of_a_season(world: World, options) -> None:
    body = {"kind": "season-standings", "target": world.season.pk, "options": options}
    assert_refusal(world.client("staff").post("/api/v1/reports/", body, format="json"), 400)
