"""A volunteer writes a rule in a real browser: from nothing to the season's standings, by keyboard, at every width."""

from __future__ import annotations

import json

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Page, expect

from riders.models import Scheme, SchemeDraft
from riders.services.scheme_drafts import keep_draft, open_draft
from riders.services.scheme_versions import save_version
from tests.builders import qualifying_scheme

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]


def add(page: Page, path: str, button: str) -> None:
    """Press a button of the list at a place of the document, which may have to be unfolded first."""
    block = page.locator(f'[data-path="{path}"]')
    adders = block.locator("> .adders")
    if adders.evaluate("adders => adders.tagName === 'DETAILS' && !adders.open"):
        adders.locator("summary").click()
    adders.get_by_role("button", name=button, exact=False).first.click()


def field(page: Page, path: str):
    return page.locator(f'#blocks [name="{path}"]')


def test_a_rule_from_nothing_to_the_standings_of_the_season(open_as, keeper, season):
    page = open_as(keeper, reverse("schemes", args=["linden"]))
    page.get_by_label("Title").fill("Rider of the year")
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Rider of the year")
    beside = page.locator("#beside")
    expect(beside).to_contain_text("Each pair is ranked, in one table.")

    add(page, "group_by", "Add a field")
    field(page, "group_by[0]").select_option("level")
    expect(beside).to_contain_text("in one table for each level")
    add(page, "eligible", "Add a condition")
    field(page, "eligible[0].field").select_option("status")
    expect(beside).to_contain_text("1 problem")
    field(page, "eligible[0].is").fill("completed")
    expect(beside).to_contain_text("A score counts only if its status is completed.")
    expect(beside).to_contain_text("No problem")
    add(page, "require", "Add a requirement")
    field(page, "require[0].at_least").fill("3")
    expect(beside).to_contain_text("To qualify, a pair needs at least 3 scores.")
    page.get_by_role("button", name="Count only the best or the last").click()
    field(page, "value.take.best").fill("3")
    expect(beside).to_contain_text("Of the scores the best 3 count.")
    field(page, "value.aggregate").select_option("median")
    expect(beside).to_contain_text("The value is the median of the scores that count.")

    page.get_by_role("link", name="What it does to Season 2027").click()
    effect = page.locator("#effect")
    expect(effect).to_contain_text("8 qualify now, 8 would")
    expect(effect.get_by_role("link", name="8 change value")).to_be_visible()
    field(page, "value.aggregate").select_option("mean")
    expect(effect).to_contain_text("Work the effect out again")

    page.get_by_label("Why the rule is made").fill("the meeting wanted one")
    page.get_by_role("button", name="Save as version 1").click()
    expect(page.locator(".message")).to_contain_text("Version 1 of Rider of the year is saved")
    page.get_by_role("link", name="What this version would do to it").click()
    expect(page.locator("table.effect tbody tr")).to_have_count(8)
    page.locator("table.effect a").first.click()
    expect(page.locator(".season-scores table")).to_be_visible()
    page.go_back()
    page.go_back()
    page.get_by_label("Reason for counting Season 2027 by this version").fill("decided on 1 February")
    page.get_by_role("button", name="Count Season 2027 by version 1").click()
    expect(page.locator(".message")).to_contain_text("counts by Rider of the year (version 1) now")
    expect(page.locator("table.standings").first).to_be_visible()
    season.refresh_from_db()
    assert season.scheme.key == "rider-of-the-year"
    assert Scheme.objects.get(key="rider-of-the-year").document["value"] == {
        "aggregate": "mean", "take": {"best": 3},
    }  # fmt: skip


def test_nothing_typed_is_lost_by_buttons_and_the_focus_stays(open_as, keeper, season):
    draft = open_draft(season.scheme, association=season.association, by=keeper)
    page = open_as(keeper, reverse("scheme-draft", args=["linden", draft.pk]))
    field(page, "title").fill("Typed and not left")
    page.locator('button[value="down eligible[0]"]').focus()
    page.keyboard.press("Enter")
    expect(page.locator('[data-path="eligible[0]"] select').first).to_have_value("status")
    expect(field(page, "title")).to_have_value("Typed and not left")
    expect(page.locator(":focus")).to_have_attribute("value", "up eligible[1]")
    page.keyboard.press("Enter")
    expect(page.locator('[data-path="eligible[0]"] select').first).to_have_value("hors_concours")
    field(page, "title").press("Enter")
    expect(page.locator("#beside")).to_contain_text("Kept at")
    draft.refresh_from_db()
    assert draft.document == qualifying_scheme(title="Typed and not left")


def test_a_server_that_does_not_answer_loses_nothing(open_as, keeper, season):
    draft = open_draft(season.scheme, association=season.association, by=keeper)
    page = open_as(keeper, reverse("scheme-draft", args=["linden", draft.pk]))
    page.route("**/drafts/**", lambda route: route.abort())
    field(page, "title").fill("While it was away")
    expect(page.locator("#lost")).to_contain_text("not kept yet")
    page.unroute("**/drafts/**")
    expect(page.locator("#lost")).to_be_hidden(timeout=15_000)
    draft.refresh_from_db()
    assert draft.document["title"] == "While it was away"


def test_two_windows_are_told_of_each_other(open_as, keeper, season):
    draft = open_draft(season.scheme, association=season.association, by=keeper)
    page = open_as(keeper, reverse("scheme-draft", args=["linden", draft.pk]))
    keep_draft(draft, qualifying_scheme(title="From elsewhere"), seen=1)
    field(page, "title").fill("From here")
    expect(page.get_by_role("heading", level=1)).to_have_text("This draft is open twice")
    assert Axe().run(page).response["violations"] == []
    page.get_by_role("button", name="Keep what stands in this window").click()
    expect(field(page, "title")).to_have_value("From here")
    assert SchemeDraft.objects.get().document["title"] == "From here"


def test_the_second_of_two_to_save_sees_both(open_as, keeper, season):
    draft = open_draft(season.scheme, association=season.association, by=keeper)
    page = open_as(keeper, reverse("scheme-draft", args=["linden", draft.pk]), viewport={"width": 360, "height": 800})
    save_version(
        qualifying_scheme(decimals=1), association=season.association, based_on=1, by=keeper, reason="one decimal"
    )
    field(page, "decimals").fill("2")
    page.get_by_label("Why the rule is changed").fill("two decimals")
    page.get_by_role("button", name="Save as version 2").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Someone else has saved this rule")
    expect(page.locator("table.beside").last).to_contain_text("to 1 decimal;")
    expect(page.locator("table.beside").last).to_contain_text("to 2 decimals;")
    assert Axe().run(page).response["violations"] == []
    assert not page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
    page.get_by_role("button", name="Go on with mine").click()
    page.get_by_label("Why the rule is changed").fill("two decimals")
    page.get_by_role("button", name="Save as version 3").click()
    expect(page.locator(".message")).to_contain_text("Version 3")


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_no_page_is_wider_than_the_screen_and_axe_finds_nothing(open_as, keeper, season, width):
    wide = json.loads(
        json.dumps(
            qualifying_scheme(
                score=[
                    {"places_by_starters": {"1-4": {"1": "6"}, "5+": {"1": "8", "*": "1"}}, "shared": "mean"},
                    {"when": [{"any": [{"field": "level", "in": ["novice"]}]}], "then": [{"multiply": "2"}]},
                ],
                eligible=[{"field": "percentage", "at_least_by": {"level": {"novice": "60", "*": "55"}}}],
                threshold={"level": {"novice": {"division": {"open": "60"}}}},
                decimals="many",
                strange=[1],
            )
        )
    )
    draft = keep_draft(open_draft(season.scheme, association=season.association, by=keeper), wide, seen=1)
    later = save_version(
        qualifying_scheme(decimals=1), association=season.association, based_on=1, by=keeper, reason="one decimal"
    )
    addresses = [
        reverse("schemes", args=["linden"]),
        reverse("scheme-version", args=["linden", season.scheme_id]),
        reverse("scheme-compare", args=["linden", season.scheme_id]) + f"?with={later.pk}",
        reverse("scheme-version-effect", args=["linden", later.pk, season.pk]),
        reverse("scheme-version-effect", args=["linden", later.pk, season.pk]) + "?unit=R1/H1",
        reverse("scheme-draft", args=["linden", draft.pk]),
        reverse("scheme-draft-effect", args=["linden", draft.pk, season.pk]),
    ]
    page = open_as(keeper, reverse("schemes", args=["linden"]), viewport={"width": width, "height": 900})
    faults = {}
    for address in addresses:
        page.goto(address)
        too_wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        found = Axe().run(page).response["violations"]
        said = [f"{fault['id']}: {node['html'][:120]}" for fault in found for node in fault["nodes"][:3]]
        if too_wide or said:
            faults[address] = [*(["wider than the screen"] if too_wide else []), *said]
    assert faults == {}
