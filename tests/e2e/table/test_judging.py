"""A judge's own pages in a real browser: accessible and without sideways scrolling, and a share made and taken back."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import expect

from competitions.services.results import make_official
from tests.builders import make_class, make_user, mark_sheet

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def official(cls, judge):
    for entry in cls.entries.all():
        mark_sheet(entry, "C", mark=70)
        mark_sheet(entry, "B", mark=65)
    make_official(cls, by=None, findings_reason="looked at")
    make_class(cls.competition, number="2", entries=2, judges={"C": judge.judge})
    return cls


def assert_fit(page, width: int) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_from_the_day_to_the_comparison_and_a_link_for_a_colleague(open_as, official, judge, width):
    page = open_as(judge, reverse("table"), viewport={"width": width, "height": 800})
    page.get_by_role("link", name="My judging").click()
    expect(page.get_by_role("heading", name="My judging")).to_be_visible()
    assert_fit(page, width)
    page.get_by_role("link", name="C in class 1").click()
    page.get_by_role("button", name="Make a link").click()
    link = page.get_by_label("The link").inner_text()
    assert_fit(page, width)
    other = open_as(make_user("colleague"), link, viewport={"width": width, "height": 800})
    expect(other.get_by_role("heading", name="Marks of Ingvild Solstrand")).to_be_visible()
    assert_fit(other, width)
    page.get_by_role("button", name="Take back").click()
    expect(page.locator("#sharing")).to_contain_text("Nobody, not the office either.")
    assert other.reload().status == 404
