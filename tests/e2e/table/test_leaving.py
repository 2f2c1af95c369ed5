"""Logging out takes the sheets from the device; what has not arrived stays for the account that wrote it alone."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from competitions.models import Sheet
from tests.builders import make_user, mark_sheet
from tests.e2e.table.conftest import log_in

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

ARRIVED = "#state[data-waiting='0'][data-unkept='0'][data-kind='done']"
READY = "All has arrived. This device works without network."
KEPT = """async () => {
  const database = await new Promise((resolve) => {
    indexedDB.open("markbook-table", 1).onsuccess = (e) => resolve(e.target.result);
  });
  const found = {};
  for (const name of database.objectStoreNames) {
    found[name] = await new Promise((resolve) => {
      database.transaction(name).objectStore(name).getAll().onsuccess = (e) => resolve(e.target.result);
    });
  }
  database.close();
  return found;
}"""
CACHED = """async () => {
  const texts = [];
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) texts.push(await (await cache.match(request)).text());
  }
  return texts.join("\\n");
}"""


@pytest.fixture
def address(cls):
    return reverse("table-sheet", args=[cls.competition.slug, "1", "1", "C"])


@pytest.fixture
def sheet(open_as, judge, cls, address):
    page = open_as(judge, address)
    expect(page.locator("#state")).to_have_text(READY)
    return page


def write(page, *typed: str) -> None:
    for text in typed:
        page.keyboard.type(text)
        page.keyboard.press("Enter")


def refuse(page) -> None:
    page.context.route("**/table/changes/", lambda route: route.abort())


def log_out(page) -> None:
    page.goto(reverse("me"))
    page.get_by_role("button", name="Log out").click()


def logged_out(page) -> None:
    expect(page.get_by_role("link", name="Log in")).to_be_visible()


def rows(page) -> dict[str, int]:
    return {name: len(found) for name, found in page.evaluate(KEPT).items()}


EMPTY = {"days": 0, "sheets": 0, "entries": 0, "queue": 0, "settings": 0}


def test_logging_out_takes_every_sheet_from_the_device(sheet, cls, address):
    rider = cls.entries.get(number="1").pair.rider.name
    write(sheet, "7", "65")
    expect(sheet.locator(ARRIVED)).to_be_visible()
    assert rows(sheet)["days"] == 1
    log_out(sheet)
    logged_out(sheet)
    assert rows(sheet) == EMPTY
    assert rider not in sheet.evaluate(CACHED)
    sheet.context.set_offline(True)
    sheet.goto(address)
    expect(sheet.locator("#table")).to_contain_text("This is not kept on this device")
    assert rider not in sheet.content()


def test_a_page_that_stands_open_beside_it_shows_nothing_any_more(sheet, cls, address):
    rider = cls.entries.get(number="1").pair.rider.name
    other = sheet.context.new_page()
    log_out(other)
    logged_out(other)
    expect(sheet.locator("#table")).to_contain_text("You are logged out. Log in to open your sheets.")
    assert rider not in sheet.content()
    assert rows(other) == EMPTY


def test_what_has_not_arrived_is_named_and_sent_first(sheet, address):
    refuse(sheet)
    write(sheet, "7", "65")
    log_out(sheet)
    question = sheet.get_by_role("dialog", name="Not everything has arrived")
    expect(question).to_contain_text("2 changes to your sheets are kept on this device only.")
    send = question.get_by_role("button", name="Send first, then log out")
    send.click()
    expect(question.get_by_role("status")).to_contain_text("The server does not answer, so nothing was sent.")
    assert rows(sheet)["queue"] == 2
    sheet.context.unroute("**/table/changes/")
    send.click()
    logged_out(sheet)
    assert Sheet.objects.get().marks == {"1": 70, "2": 65}
    assert rows(sheet) == EMPTY


def test_what_is_kept_is_neither_seen_nor_sent_by_another_account(sheet, judge, cls, address, live_server):
    rider = cls.entries.get(number="1").pair.rider.name
    refuse(sheet)
    write(sheet, "7", "65")
    log_out(sheet)
    sheet.get_by_role("button", name="Log out and keep on this device").click()
    logged_out(sheet)
    assert rows(sheet) == EMPTY | {"queue": 2}
    sheet.context.unroute("**/table/changes/")
    log_in(sheet.context, make_user("another"), live_server.url)
    sheet.goto(address)
    expect(sheet.locator("#table")).to_contain_text("You judge at no seat yet.")
    expect(sheet.locator("#state")).to_contain_text("All has arrived.")
    assert rider not in sheet.content()
    assert not Sheet.objects.exists()
    log_out(sheet)
    logged_out(sheet)
    assert rows(sheet) == EMPTY | {"queue": 2}
    log_in(sheet.context, judge, live_server.url)
    sheet.goto(address)
    expect(sheet.locator(ARRIVED)).to_be_visible()
    assert (Sheet.objects.get().marks, Sheet.objects.get().changed_by) == ({"1": 70, "2": 65}, judge)


def test_what_differs_is_decided_before_logging_out_or_stays(sheet, cls, address, office):
    refuse(sheet)
    write(sheet, "7", "65")
    mark_sheet(cls.entries.get(number="1"), "C", marks={"1": 60}, by=office)
    log_out(sheet)
    sheet.context.unroute("**/table/changes/")
    question = sheet.get_by_role("dialog")
    question.get_by_role("button", name="Send first, then log out").click()
    expect(question.get_by_role("status")).to_contain_text("1 change needs you to decide at the judge's table.")
    question.get_by_role("button", name="Stay logged in").click()
    expect(question).to_have_count(0)
    assert rows(sheet)["queue"] == 1
    sheet.goto(address)
    expect(sheet.locator(".t-difference")).to_have_count(1)


def test_without_network_one_stays_logged_in_and_loses_nothing(sheet, address):
    write(sheet, "7")
    expect(sheet.locator(ARRIVED)).to_be_visible()
    sheet.goto(reverse("me"))
    sheet.context.set_offline(True)
    sheet.get_by_role("button", name="Log out").click()
    expect(sheet.get_by_role("dialog")).to_contain_text("The server does not answer, so you are still logged in.")
    assert rows(sheet)["sheets"] == 1
