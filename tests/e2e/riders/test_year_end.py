"""The end of a season in a real browser: closed, its lists asked for and saved, reopened; at every width, with axe."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from openpyxl import load_workbook
from playwright.sync_api import expect
from pypdf import PdfReader

from reports.models import Job
from reports.services import run_job
from riders.models import Season, User
from riders.services import workqueue
from riders.services.closing import close_season, reopen_season
from riders.services.ledger import post_scores
from riders.transactions import write_transaction
from tests.builders import make_association, make_season, make_user
from tests.riders.ledger_rows import row

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def no_broker(settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No worker runs beside these tests: they do the jobs themselves."""
    settings.MEDIA_ROOT = tmp_path / "files"
    monkeypatch.setattr(workqueue.current_app, "send_task", lambda *_, **__: None)


@pytest.fixture
def keeper(transactional_db) -> User:
    return make_user("keeper", first_name="Ida", last_name="Moss")


@pytest.fixture
def season(keeper: User) -> Season:
    season = make_season(make_association(keeper=keeper))
    post(*(row(n, key=f"s{n}-{show}", competition=f"show-{show}", percentage=f"{70 - n}.{show}00")
           for n in (1, 2, 3) for show in ((1, 2) if n < 3 else (1,))))  # fmt: skip
    season.refresh_from_db()
    return season


def post(*rows: Any) -> None:
    with write_transaction():
        post_scores(rows, by=None)


def do_jobs() -> None:
    for job in Job.objects.filter(state=Job.State.QUEUED):
        run_job(job.pk)


def saved(page: Any, link: Any) -> tuple[str, bytes]:
    with page.expect_download() as waited:
        link.click()
    return waited.value.suggested_filename, Path(waited.value.path()).read_bytes()


def test_closed_its_lists_saved_corrected_and_reopened(open_as, keeper, season):
    page = open_as(keeper, reverse("season", args=["linden", "2027"]))
    page.get_by_role("link", name="Close the season").click()
    page.get_by_role("button", name="Close the season").click()
    assert page.get_by_label("Why").evaluate("field => field.validity.valueMissing")
    page.get_by_label("Why").focus()
    page.keyboard.type("All results are in.")
    page.keyboard.press("Enter")
    expect(page.locator(".messages")).to_contain_text("Season 2027 is closed. Its final lists are edition 1.")
    expect(page.get_by_text("by Ida Moss: All results are in.")).to_be_visible()

    page.get_by_role("link", name="Lists and certificates").click()
    panel = page.locator("form", has=page.get_by_role("heading", name="Standings"))
    panel.get_by_label("As").select_option("xlsx")
    panel.get_by_role("button", name="Have the standings made").click()
    waiting = page.get_by_role("listitem").filter(has_text="Standings of a season, edition 1, XLSX")
    expect(waiting).to_contain_text("waiting")
    do_jobs()
    expect(waiting).to_contain_text("ready")
    name, content = saved(page, waiting.get_by_role("link"))
    assert name == "Linden Dressage Association, Season 2027, standings, edition 1.xlsx"
    assert [cell.value for cell in load_workbook(io.BytesIO(content))["Novice"][2]][:4] == [
        1,
        None,
        "Rider 1",
        "Horse 1",
    ]

    page.get_by_role("button", name="Have the certificates made").click()
    do_jobs()
    made = page.get_by_role("listitem").filter(has_text="Certificates for the placed")
    expect(made).to_contain_text("ready")
    file = page.request.get(made.get_by_role("link").get_attribute("href"))
    assert len(PdfReader(io.BytesIO(file.body())).pages) == 2

    post(row(3, key="s3-2", competition="show-2", percentage="75.000"))
    page.goto(reverse("season", args=["linden", "2027"]))
    expect(page.get_by_text("1 score has changed since it was closed (1 added).")).to_be_visible()
    expect(page.locator("tr", has_text="Rider 3")).to_contain_text("1 of 2 scores")
    page.get_by_role("link", name="Year-end: lists, history, reopening").click()
    expect(page.get_by_role("listitem").filter(has_text="Certificates for the placed")).to_contain_text("ready")
    page.get_by_label("Why").fill("A score came late.")
    page.get_by_role("button", name="Reopen the season").click()
    expect(page.locator(".messages")).to_contain_text("Season 2027 is open again.")
    page.goto(reverse("season", args=["linden", "2027"]))
    expect(page.locator("tr", has_text="Rider 3")).not_to_contain_text("1 of 2 scores")


def test_what_was_typed_stays_when_the_standings_have_moved(open_as, keeper, season):
    page = open_as(keeper, reverse("season-closing", args=["linden", "2027"]))
    page.get_by_label("Why").fill("All results are in.")
    post(row(3, key="s3-2", competition="show-2", percentage="75.000"))
    page.get_by_role("button", name="Close the season").click()
    expect(page.get_by_role("alert")).to_contain_text("have changed since you looked at them")
    expect(page.get_by_label("Why")).to_have_value("All results are in.")
    page.get_by_role("button", name="Close the season").click()
    expect(page.locator(".messages")).to_contain_text("edition 1")


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_no_page_is_wider_than_the_screen_and_axe_finds_nothing(open_as, keeper, season, width):
    close_season(season, expected_version=season.version, by=keeper, reason="All results are in.")
    reopen_season(season, expected_version=season.version, by=keeper, reason="A score came late.")
    close_season(season, expected_version=season.version, by=keeper, reason="Corrected.")
    post(row(3, key="s3-2", competition="show-2", percentage="75.000"), row(1, key="s1-1", competition="show-1"))
    page = open_as(
        keeper, reverse("season-documents", args=["linden", "2027"]), viewport={"width": width, "height": 900}
    )
    page.get_by_role("button", name="Have the standings made").click()
    do_jobs()
    page.get_by_role("button", name="Have the qualified list made").click()
    faults = {}
    for name in ("season", "season-closing", "season-documents"):
        page.goto(reverse(name, args=["linden", "2027"]))
        too_wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        found = Axe().run(page).response["violations"]
        said = [f"{fault['id']}: {node['html'][:120]}" for fault in found for node in fault["nodes"][:3]]
        if too_wide or said:
            faults[name] = [*(["wider than the screen"] if too_wide else []), *said]
    assert faults == {}
