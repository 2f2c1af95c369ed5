"""Never lose a mark: the network cut, the tab killed, the session ended; then every mark is counted in the database."""

from __future__ import annotations

import pytest
from django.contrib.sessions.models import Session
from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler
from django.test.testcases import LiveServerThread
from django.urls import reverse
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import expect
from pytest_django.live_server_helper import LiveServer

from competitions.models import Sheet, SheetRevision, TableChange
from tests.builders import mark_sheet
from tests.e2e.conftest import CHROMIUM
from tests.e2e.table.conftest import log_in

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

ITEMS = ("1", "2", "3", "4", "G1", "G2")
ARRIVED = "#state[data-waiting='0'][data-unkept='0'][data-kind='done']"
READY = "All has arrived. This device works without network."


@pytest.fixture
def address(cls):
    return lambda number="1", seat="C": reverse("table-sheet", args=[cls.competition.slug, "1", number, seat])


@pytest.fixture
def day(open_as, judge, cls):
    """The day's list, opened with the network; the device says that it is ready."""
    page = open_as(judge, reverse("table"))
    expect(page.locator("#state")).to_have_text(READY)
    return page


def write(page, *typed: str) -> None:
    for text in typed:
        page.keyboard.type(text)
        page.keyboard.press("Enter")


def kept(page, waiting: int) -> None:
    expect(page.locator(f"#state[data-waiting='{waiting}'][data-unkept='0']")).to_be_visible()


def open_sheet(page, address: str) -> None:
    page.goto(address)
    expect(page.locator(".t-sheet[data-ready]")).to_be_visible()


def test_three_whole_sheets_without_network_arrive_once_and_in_order(day, cls, address):
    day.context.set_offline(True)
    for number in "123":
        open_sheet(day, address(number))
        write(day, "7", "65", "8", "5", "6", number)
        day.keyboard.press("s")
        expect(day.locator(".t-finish")).to_contain_text("The signature is kept here and not arrived yet.")
    kept(day, 21)
    expect(day.locator("#state")).to_contain_text("No network. 21 changes are kept here and sent when it is back.")
    assert not Sheet.objects.exists()
    day.context.set_offline(False)
    expect(day.locator(ARRIVED)).to_be_visible()
    for number in "123":
        sheet = Sheet.objects.get(entry__number=number)
        assert sheet.marks == {"1": 70, "2": 65, "3": 80, "4": 50, "G1": 60, "G2": 10 * int(number)}
        assert (sheet.signed, sheet.version) == (True, 1)
    fields = list(TableChange.objects.order_by("id").values_list("entry__number", "field"))
    assert fields == [(number, name) for number in "123" for name in (*(f"mark.{item}" for item in ITEMS), "signed")]


def test_a_killed_tab_loses_at_most_the_word_in_hand(day, address):
    day.context.set_offline(True)
    open_sheet(day, address())
    write(day, "7", "65")
    day.keyboard.type("6")
    day.keyboard.press("r")
    day.keyboard.type("more bend and ")
    kept(day, 4)
    context = day.context
    day.close(run_before_unload=False)
    again = context.new_page()
    open_sheet(again, address())
    expect(again.locator(".t-list-mark").nth(2)).to_have_text("6.0")
    assert again.locator(".t-list-remark").nth(2).inner_text() == "more bend and"
    context.set_offline(False)
    expect(again.locator(ARRIVED)).to_be_visible()
    sheet = Sheet.objects.get()
    assert (sheet.marks, sheet.remarks) == ({"1": 70, "2": 65, "3": 60}, {"3": "more bend and"})


def test_a_killed_browser_keeps_everything(playwright, live_server, judge, cls, address, tmp_path):
    """The whole browser is ended by the system while offline; another one with the same profile goes on."""
    options = {"executable_path": CHROMIUM, "args": ["--no-sandbox", "--disable-gpu"], "base_url": live_server.url}
    first = playwright.chromium.launch_persistent_context(str(tmp_path / "profile"), **options)
    log_in(first, judge, live_server.url)
    page = first.new_page()
    page.goto(reverse("table"))
    expect(page.locator("#state")).to_have_text(READY)
    first.set_offline(True)
    open_sheet(page, address())
    write(page, "7", "65", "8")
    kept(page, 3)
    with pytest.raises(PlaywrightError, match="closed"):
        first.new_cdp_session(page).send("Browser.crash")
    second = playwright.chromium.launch_persistent_context(str(tmp_path / "profile"), **options)
    second.set_offline(True)
    page = second.new_page()
    open_sheet(page, address())
    expect(page.locator(".t-list-mark").nth(2)).to_have_text("8.0")
    second.set_offline(False)
    log_in(second, judge, live_server.url)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.locator(ARRIVED)).to_be_visible()
    assert Sheet.objects.get().marks == {"1": 70, "2": 65, "3": 80}
    second.close()


def test_an_answer_that_is_lost_is_asked_for_again_and_nothing_is_written_twice(day, cls, address, office):
    open_sheet(day, address())
    lost = []

    def carry_out_and_lose(route):
        if not lost:
            lost.append(route.fetch())
            route.abort()
        else:
            route.continue_()

    day.route("**/table/changes/", carry_out_and_lose)
    write(day, "7")
    expect(day.locator(ARRIVED)).to_be_visible()
    assert lost[0].ok
    assert Sheet.objects.get().version == 1
    assert SheetRevision.objects.count() == 1


def test_what_is_corrected_while_the_answer_is_on_its_way_arrives_as_well(day, address):
    open_sheet(day, address())
    held = []
    day.route("**/table/changes/", lambda route: held.append(route) if not held else route.continue_())
    with day.expect_request("**/table/changes/"):
        write(day, "7")
    day.keyboard.press("ArrowUp")
    write(day, "75")
    held[0].continue_()
    expect(day.locator(ARRIVED)).to_be_visible()
    assert Sheet.objects.get().marks == {"1": 75}
    expect(day.locator(".t-list-mark").first).to_have_text("7.5")


def test_what_the_office_keyed_meanwhile_stands_beside_and_is_never_overwritten(day, cls, address, office):
    day.context.set_offline(True)
    open_sheet(day, address())
    write(day, "7", "65", "8", "5", "6", "7")
    day.keyboard.press("s")
    kept(day, 7)
    mark_sheet(cls.entries.get(number="1"), "C", marks={"2": 60, "3": 75, "4": 50}, by=office)
    day.context.set_offline(False)
    found = day.locator(".t-difference")
    expect(found).to_have_count(2)
    expect(found.nth(0)).to_contain_text("Mark of movement 2")
    expect(found.nth(0)).to_contain_text("6.5")
    expect(found.nth(0)).to_contain_text("Ottilie Brandmair")
    expect(found.nth(0)).to_contain_text("6.0")
    sheet = Sheet.objects.get()
    assert (sheet.marks, sheet.signed) == ({"1": 70, "2": 60, "3": 75, "4": 50, "G1": 60, "G2": 70}, False)
    found.nth(0).get_by_role("button", name="Keep mine").click()
    day.locator(".t-difference").first.get_by_role("button", name="Take theirs").click()
    expect(day.locator(".t-difference")).to_have_count(0)
    day.keyboard.press("f")
    day.get_by_role("button", name="Sign and lock").click()
    expect(day.locator(ARRIVED)).to_be_visible()
    sheet.refresh_from_db()
    assert (sheet.marks["2"], sheet.marks["3"], sheet.signed) == (65, 75, True)


def test_a_session_that_ends_loses_nothing(day, judge, address, live_server):
    open_sheet(day, address())
    Session.objects.all().delete()
    write(day, "7", "65")
    expect(day.locator("#state")).to_contain_text("You are logged out.")
    write(day, "8")
    kept(day, 3)
    assert not Sheet.objects.exists()
    log_in(day.context, judge, live_server.url)
    day.goto(address())
    expect(day.locator(ARRIVED)).to_be_visible()
    assert Sheet.objects.get().marks == {"1": 70, "2": 65, "3": 80}


def test_logging_in_again_by_the_page_itself(day, judge, address):
    open_sheet(day, address())
    Session.objects.all().delete()
    write(day, "7")
    day.get_by_role("link", name="Log in again").click()
    day.get_by_label("User name").fill("judge")
    day.get_by_label("Password").fill("a pass-phrase for tests")
    day.get_by_role("button", name="Log in").click()
    expect(day.locator(".t-sheet[data-ready]")).to_be_visible()
    expect(day.locator(ARRIVED)).to_be_visible()
    assert Sheet.objects.get().marks == {"1": 70}


def test_another_person_in_this_browser_sends_nothing_of_the_judge(day, office, judge, address, live_server):
    open_sheet(day, address())
    log_in(day.context, office, live_server.url)
    write(day, "7")
    expect(day.locator("#state")).to_contain_text("This browser is logged in as Ottilie Brandmair.")
    assert not Sheet.objects.exists()
    log_in(day.context, judge, live_server.url)
    day.goto(address())
    expect(day.locator(ARRIVED)).to_be_visible()
    assert Sheet.objects.get().changed_by == judge


def test_a_clock_that_is_wrong_changes_no_order(open_as, judge, cls, address):
    page = open_as(judge, address())
    expect(page.locator("#state")).to_have_text(READY)
    page.context.set_offline(True)
    page.clock.set_fixed_time("2031-01-01T00:00:00Z")
    write(page, "7")
    page.clock.set_fixed_time("1999-01-01T00:00:00Z")
    write(page, "65")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    write(page, "5")
    page.context.set_offline(False)
    expect(page.locator(ARRIVED)).to_be_visible()
    assert Sheet.objects.get().marks == {"1": 50, "2": 65}


def test_a_device_that_is_full_says_so_and_still_sends(open_as, judge, cls, address):
    page = open_as(judge, reverse("me"))
    session = page.context.new_cdp_session(page)
    session.send("Storage.overrideQuotaForOrigin", {"origin": page.evaluate("location.origin"), "quotaSize": 1})
    page.goto(address())
    expect(page.locator(".t-sheet[data-ready]")).to_be_visible()
    page.context.set_offline(True)
    write(page, "7")
    said = "Not kept on this device: its storage is full. 1 change is only on this screen until sent."
    expect(page.locator("#state")).to_have_text(said)
    page.context.set_offline(False)
    expect(page.locator("#state[data-waiting='0']")).to_be_visible()
    assert Sheet.objects.get().marks == {"1": 70}


class Returning(ThreadedWSGIServer):
    """A server that may take the place of one that has just gone."""

    def __init__(self, *args, **options):
        super().__init__(*args, **options | {"allow_reuse_address": True})


def test_a_server_that_is_restarted_in_the_middle_of_a_sheet(browser, judge, cls, address, monkeypatch):
    # A server for tests that is stopped still answers on connections that are open; a real one is gone, and comes back.
    monkeypatch.setattr(WSGIRequestHandler, "protocol_version", "HTTP/1.0")
    monkeypatch.setattr(LiveServerThread, "server_class", Returning)
    first = LiveServer("localhost")
    place = first.url.removeprefix("http://")
    context = browser.new_context(base_url=first.url)
    log_in(context, judge, first.url)
    page = context.new_page()
    page.goto(address())
    expect(page.locator("#state")).to_have_text(READY)
    write(page, "7")
    expect(page.locator(ARRIVED)).to_be_visible()
    first.stop()
    write(page, "65", "8")
    expect(page.locator("#state")).to_contain_text("No network. 2 changes are kept here")
    second = LiveServer(place)
    expect(page.locator(ARRIVED)).to_be_visible(timeout=40000)
    assert Sheet.objects.get().marks == {"1": 70, "2": 65, "3": 80}
    context.close()
    second.stop()


def test_two_pages_of_one_browser_show_the_same(day, address):
    open_sheet(day, address())
    second = day.context.new_page()
    open_sheet(second, address())
    write(day, "7")
    expect(second.locator(".t-list-mark").first).to_have_text("7.0")
    second.keyboard.press("ArrowDown")
    write(second, "65")
    expect(day.locator(".t-list-mark").nth(1)).to_have_text("6.5")
    expect(day.locator(ARRIVED)).to_be_visible()
    assert Sheet.objects.get().marks == {"1": 70, "2": 65}


def test_a_server_in_trouble_is_not_called_a_network_that_is_gone(open_as, judge, address):
    page = open_as(judge, reverse("me"))
    page.route("**/table/day/*/*/data/", lambda route: route.fulfill(status=500, body="no"))
    page.goto(reverse("table"))
    expect(page.locator("#state")).to_contain_text("The server answered 500.")
    expect(page.locator("#state")).not_to_contain_text("No network")


def test_a_sheet_that_the_server_stumbles_over_does_not_keep_the_others_back(day, cls, address):
    """The day is sent sheet by sheet as soon as sending it at once has failed twice."""
    stumbles = cls.entries.get(number="1").pk

    def stumble(route):
        if f'"entry":{stumbles},' in route.request.post_data:
            route.fulfill(status=500, body="no")
        else:
            route.continue_()

    day.context.set_offline(True)
    for number in "123":
        open_sheet(day, address(number))
        write(day, "7", "65")
    kept(day, 6)
    day.route("**/table/changes/", stumble)
    day.context.set_offline(False)
    expect(day.locator("#state[data-waiting='2']")).to_be_visible(timeout=40000)
    expect(day.locator("#state")).to_contain_text("The server answered 500. 2 changes are kept here")
    assert [sheet.entry.number for sheet in Sheet.objects.order_by("entry__number")] == ["2", "3"]
    day.unroute("**/table/changes/")
    expect(day.locator(ARRIVED)).to_be_visible(timeout=40000)
    assert Sheet.objects.count() == 3


def test_a_signature_given_while_the_answer_is_on_its_way_waits_for_what_differs(day, cls, address, office):
    """On a slow network the judge has signed before it is known that the office keyed something else."""
    open_sheet(day, address())
    mark_sheet(cls.entries.get(number="1"), "C", marks={"1": 60}, by=office)
    on_the_way = []
    day.route("**/table/changes/", lambda route: on_the_way.append(route) if not on_the_way else route.continue_())
    with day.expect_request("**/table/changes/"):
        write(day, "7")
    write(day, "65", "8", "5", "6", "7")
    day.keyboard.press("s")
    expect(day.locator(".t-finish")).to_contain_text("Signed and locked")
    on_the_way[0].continue_()
    expect(day.locator(".t-difference")).to_have_count(1)
    expect(day.locator("#state[data-waiting='1']")).to_be_visible()
    sheet = Sheet.objects.get()
    assert (sheet.marks["1"], sheet.marks["G2"], sheet.signed) == (60, 70, False)
    day.get_by_role("button", name="Keep mine").click()
    day.locator("#sign").click()
    expect(day.locator(ARRIVED)).to_be_visible()
    sheet.refresh_from_db()
    assert (sheet.marks["1"], sheet.signed) == (70, True)
