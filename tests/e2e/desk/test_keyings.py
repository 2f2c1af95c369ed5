"""Keying a sheet twice in a real browser: blind, from the number pad, decided side by side, at every width."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import expect

from competitions.models import KeyingDecision, SecondKeying
from competitions.services.classes import update_class
from riders.models import User
from tests.builders import mark_sheet

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

ITEMS = ("1", "2", "3", "4", "G1", "G2")
LIST = "/desk/linden-autumn/1/office/keyings/"


@pytest.fixture
def once(cls, office):
    """Sheet C of number 1 and 2 keyed once by the office: every mark 6.5, the total of the paper 52, signed."""
    update_class(cls, expected_version=None, by=None, second_keying="all")
    marks = dict.fromkeys(ITEMS, 65)
    for number in ("1", "2"):
        mark_sheet(cls.entries.get(number=number), by=office, marks=marks, typed_total="52", signed=True)
    return cls


def keys(page, *typed: str) -> None:
    for text in typed:
        page.keyboard.type(text)
        page.keyboard.press("NumpadEnter")


def address(name: str, number: str) -> str:
    return reverse(name, args=["linden-autumn", "1", number, "C"])


def key_sheet(page, *marks: str, total: str = "52") -> None:
    expect(page.locator("#sheet-form[data-ready]")).to_be_visible()
    keys(page, *marks, total)
    page.keyboard.press("1")  # signed
    page.keyboard.press("NumpadEnter")
    page.keyboard.press("NumpadEnter")


def test_the_pile_is_keyed_again_and_decided_without_the_mouse(open_as, once):
    page = open_as(User.objects.get(username="second"), LIST)
    expect(page.get_by_role("link", name="Key the next one")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{address('desk-key-again', '1')}")
    assert [page.input_value(f"#mark-{item}") for item in ITEMS] == [""] * 6
    key_sheet(page, *["65"] * 6)
    page.wait_for_url(f"**{address('desk-key-again', '2')}")
    expect(page.locator(".messages")).to_contain_text("Sheet C of number 1: Both keyings agree: the sheet is final.")
    key_sheet(page, "7", "65", "65", "6", "65", "65")
    page.wait_for_url(f"**{address('desk-keyings-compared', '2')}")
    expect(page.locator("#settle[data-ready]")).to_be_visible()
    page.keyboard.press("2")
    keys(page, "1")  # the first of the offered reasons
    page.keyboard.press("3")
    keys(page, "55", "the 5 is clear")
    assert page.evaluate("document.activeElement.id") == "settle-save"
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{LIST}")
    expect(page.locator(".messages")).to_contain_text("Sheet C of number 2: the sheet is final.")
    decided = KeyingDecision.objects.order_by("pk").values_list("field", "value", "reason")
    assert list(decided) == [("mark.1", "7.0", "the paper is clear"), ("mark.4", "5.5", "the 5 is clear")]
    sheet = once.entries.get(number="2").sheets.get()
    assert (sheet.marks["1"], sheet.marks["4"]) == (70, 55)


def test_what_was_keyed_again_survives_a_network_that_is_gone_and_a_reload(open_as, once):
    page = open_as(User.objects.get(username="second"), address("desk-key-again", "1"))
    expect(page.locator("#sheet-form[data-ready]")).to_be_visible()
    keys(page, *["65"] * 6, "52")
    page.context.set_offline(True)
    page.locator("#save-next").click()
    expect(page.get_by_role("alert")).to_contain_text("Not saved: the network did not answer.")
    page.context.set_offline(False)
    page.once("dialog", lambda dialog: dialog.accept())
    page.reload()
    page.get_by_role("button", name="Put them back").click()
    assert page.input_value("#mark-4") == "6.5"
    page.locator("#signed").check()
    page.locator("#save-next").click()
    page.wait_for_url(f"**{address('desk-key-again', '2')}")
    assert SecondKeying.objects.get().read["mark.4"] == "6.5"


def test_of_two_second_keyers_the_later_is_told_while_typing(open_as, once):
    page = open_as(User.objects.get(username="second"), address("desk-key-again", "1"))
    staff = User.objects.create_user(username="thea", is_staff=True)
    other = open_as(staff, address("desk-key-again", "1"))
    expect(other.locator("#presence")).to_contain_text("Casper Wendt has this sheet open as well")
    key_sheet(page, *["65"] * 6)
    page.wait_for_url(f"**{address('desk-key-again', '2')}")
    key_sheet(other, *["7"] * 6)
    expect(other.get_by_role("alert")).to_contain_text("Casper Wendt has keyed this sheet a second time meanwhile")
    assert SecondKeying.objects.count() == 1


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_the_pages_hold_at_every_width_and_axe_finds_nothing(open_as, once, office, width):
    page = open_as(
        User.objects.get(username="second"), address("desk-key-again", "1"), viewport={"width": width, "height": 800}
    )
    expect(page.locator("#sheet-form[data-ready]")).to_be_visible()
    check(page)
    key_sheet(page, "7", *["65"] * 5, total="53")
    page.wait_for_url(f"**{address('desk-keyings-compared', '1')}")
    check(page)
    page.goto(LIST)
    check(page)
    update_class(once, expected_version=None, by=None, second_keying="chosen")
    page.reload()
    check(page)


def check(page) -> None:
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
