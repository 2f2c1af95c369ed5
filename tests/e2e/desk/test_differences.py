"""The table of differences in a real browser: decided by keyboard, one by one and all at once, by two people."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from competitions.models import CheckDecision, CompetitionClass
from tests.builders import mark_sheet

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

TABLE = "/desk/linden-autumn/1/office/differences/"
WHY = "The judge at B confirms the marks."


@pytest.fixture
def far_apart(cls):
    """C gives 80, 75 and 65 %, B 65 % to all three: two rides are beyond the limit of 5 percentage points."""
    for number, mark in (("1", 80), ("2", 75), ("3", 65)):
        mark_sheet(cls.entries.get(number=number), "C", mark=mark)
        mark_sheet(cls.entries.get(number=number), "B", mark=65)
    return cls


def test_results_become_official_after_each_finding_has_its_reason(open_as, office, far_apart):
    page = open_as(office, reverse("desk-official", args=["linden-autumn", "1"]))
    expect(page.get_by_role("button", name="Make the results official")).to_be_disabled()
    page.get_by_role("link", name="Table of differences").click()
    expect(page.get_by_role("heading", name="To be decided (2)")).to_be_visible()
    first = page.get_by_role("row").filter(has_text="Rider 1")
    expect(first).to_contain_text("▲ highest")
    expect(first).to_contain_text("! beyond 5")
    expect(page.get_by_role("row").filter(has_text="Rider 3")).not_to_contain_text("beyond")
    for left in ("1 finding is left.", "Nothing is left to decide."):
        page.get_by_label("Why it may stand").first.focus()
        page.keyboard.type(WHY)
        page.keyboard.press("Enter")
        expect(page.locator(".messages")).to_contain_text(left)
    expect(page.get_by_role("heading", name="Decided (2)")).to_be_visible()
    expect(page.locator(".change-reason").first).to_contain_text(f"{WHY} Ottilie Brandmair")
    page.get_by_role("link", name="Check and make official").click()
    page.get_by_role("button", name="Make the results official").click()
    expect(page.locator(".messages")).to_contain_text("The results of class 1 are official, revision 1.")
    assert CompetitionClass.objects.get().results_state == "official"


def test_a_finding_that_changed_under_two_people_is_shown_again(open_as, office, far_apart):
    page = open_as(office, TABLE)
    page.get_by_label("Why it may stand").first.fill(WHY)
    mark_sheet(far_apart.entries.get(number="1"), "C", mark=90)
    page.get_by_role("button", name="Let it stand").first.click()
    expect(page.get_by_role("alert")).to_contain_text("The finding has changed since you looked at it.")
    expect(page.locator(".findings")).to_contain_text("C gives 90.000 %")
    expect(page.get_by_label("Why it may stand").first).to_have_value(WHY)
    assert not CheckDecision.objects.exists()
    page.get_by_role("button", name="Let it stand").first.click()
    expect(page.locator(".messages")).to_contain_text("Number 1, seats apart: it stands.")


def test_all_at_once_takes_one_reason(open_as, office, far_apart):
    page = open_as(office, TABLE)
    page.get_by_role("button", name="Let all 2 stand").click()
    assert page.get_by_label("Why all 2 may stand").evaluate("field => field.validity.valueMissing")
    page.get_by_label("Why all 2 may stand").fill(WHY)
    page.get_by_role("button", name="Let all 2 stand").click()
    expect(page.locator(".messages")).to_contain_text("2 findings stand.")
    assert CheckDecision.objects.filter(reason=WHY).count() == 2


def test_what_was_typed_stays_while_the_server_does_not_answer(open_as, office, far_apart):
    page = open_as(office, TABLE)
    page.get_by_label("Why it may stand").first.fill(WHY)
    page.context.set_offline(True)
    page.get_by_role("button", name="Let it stand").first.click()
    expect(page.get_by_role("alert")).to_contain_text("Not sent: the server does not answer.")
    expect(page.get_by_label("Why it may stand").first).to_have_value(WHY)
    page.context.set_offline(False)
    page.get_by_role("button", name="Let it stand").first.dblclick()
    expect(page.locator(".messages")).to_contain_text("Number 1, seats apart: it stands.")
    assert CheckDecision.objects.filter(reason=WHY).count() == 1
