"""The class desk and the running order in a real browser, at every width, by keyboard, and checked with axe."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import expect

from competitions.services.results import make_official
from tests.builders import mark_sheet

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

PAGES = {
    "desk": [],
    "desk-competition-new": [],
    "desk-competition-import": [],
    "desk-documents": [],
    "desk-competition": ["linden-autumn"],
    "desk-competition-edit": ["linden-autumn"],
    "desk-colleagues": ["linden-autumn"],
    "desk-competition-history": ["linden-autumn"],
    "desk-class-new": ["linden-autumn"],
    "desk-import": ["linden-autumn", "marks"],
    "desk-class": ["linden-autumn", "1"],
    "desk-class-edit": ["linden-autumn", "1"],
    "desk-order": ["linden-autumn", "1"],
    "desk-entry-new": ["linden-autumn", "1"],
    "desk-differences": ["linden-autumn", "1"],
    "desk-official": ["linden-autumn", "1"],
    "desk-results-history": ["linden-autumn", "1"],
    "desk-entry": ["linden-autumn", "1", "1"],
    "desk-entry-edit": ["linden-autumn", "1", "1"],
    "desk-sheet": ["linden-autumn", "1", "1", "C"],
    "desk-sheet-history": ["linden-autumn", "1", "1", "C"],
}


@pytest.fixture
def ridden(cls):
    """Some sheets are in, one with gaps, one unsigned, one with another total; then all, and official once."""
    for number, mark in (("1", 70), ("2", 65), ("3", 60)):
        for seat in "CB":
            mark_sheet(cls.entries.get(number=number), seat, mark=mark, typed_total="50", remarks={"1": "straight"})
    make_official(cls, by=None, findings_reason="looked at")
    return cls


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_no_page_is_wider_than_the_screen_and_axe_finds_nothing(open_as, office, ridden, width):
    page = open_as(office, reverse("desk"), viewport={"width": width, "height": 900})
    faults = {}
    for name, arguments in PAGES.items():
        page.goto(reverse(name, args=arguments))
        too_wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        found = Axe().run(page).response["violations"]
        said = [f"{fault['id']}: {node['html'][:120]}" for fault in found for node in fault["nodes"][:3]]
        if too_wide or said:
            faults[name] = [*(["wider than the screen"] if too_wide else []), *said]
    assert faults == {}


def test_the_places_change_by_themselves_after_a_saving(open_as, office, cls):
    page = open_as(office, reverse("desk-class", args=["linden-autumn", "1"]))
    expect(page.locator("#live")).to_contain_text("0 of 6 sheets in")
    page.locator("#ring-next").focus()
    for seat in "CB":
        mark_sheet(cls.entries.get(number="2"), seat, mark=70)
    expect(page.locator("#live")).to_contain_text("2 of 6 sheets in")
    expect(page.locator("#live")).to_contain_text("70.000")
    assert page.evaluate("document.activeElement.id") == "ring-next"


def test_a_lost_connection_is_said_and_found_again(open_as, office, cls):
    page = open_as(office, reverse("desk-class", args=["linden-autumn", "1"]))
    page.context.set_offline(True)
    expect(page.locator("#live-said")).to_contain_text("No answer from the server", timeout=30000)
    mark_sheet(cls.entries.get(number="2"), "C", mark=70)
    page.context.set_offline(False)
    expect(page.locator("#live")).to_contain_text("1 of 6 sheets in", timeout=30000)
    expect(page.locator("#live-said")).to_be_empty()


def test_rides_are_moved_by_keyboard_and_saved(open_as, office, cls):
    page = open_as(office, reverse("desk-order", args=["linden-autumn", "1"]))
    rows = page.locator(".order-row")
    rows.nth(2).get_by_role("button", name="Up").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#order-said")).to_have_text("Number 3 rides at place 2 of 3. Not saved yet.")
    page.keyboard.press("Alt+ArrowUp")
    assert [rows.nth(i).locator(".order-number").inner_text() for i in range(3)] == ["3", "1", "2"]
    page.get_by_role("button", name="Save this order").click()
    expect(page.locator(".messages")).to_contain_text("The running order is saved")
    assert list(cls.entries.order_by("order").values_list("number", flat=True)) == ["3", "1", "2"]


def test_rides_are_moved_by_dragging(open_as, office, cls):
    page = open_as(office, reverse("desk-order", args=["linden-autumn", "1"]))
    rows = page.locator(".order-row")
    rows.nth(2).locator(".order-name").drag_to(rows.nth(0).locator(".order-name"), target_position={"x": 5, "y": 2})
    expect(rows.nth(0).locator(".order-number")).to_have_text("3")
    page.get_by_role("button", name="Save this order").click()
    expect(page.locator(".messages")).to_contain_text("The running order is saved")
    assert list(cls.entries.order_by("order").values_list("number", flat=True)) == ["3", "1", "2"]


def test_nobody_needs_a_mouse_to_go_through_the_class_desk(open_as, office, cls):
    page = open_as(office, reverse("desk-class", args=["linden-autumn", "1"]))
    page.locator("#ring-next").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".ring-now")).to_contain_text("Rider 1")
    page.locator("#content").press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")
