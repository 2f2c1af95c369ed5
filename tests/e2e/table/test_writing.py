"""Writing a sheet at the judge's table in a real browser: by touch, by keyboard, with the server there."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import expect

from competitions.models import Sheet, SheetRevision
from competitions.services.results import make_official
from riders.models import User
from tests.builders import mark_sheet

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

ITEMS = ("1", "2", "3", "4", "G1", "G2")
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
ARRIVED = "#state[data-waiting='0'][data-unkept='0'][data-kind='done']"


@pytest.fixture
def address(cls):
    return lambda number="1", seat="C": reverse("table-sheet", args=[cls.competition.slug, "1", number, seat])


@pytest.fixture
def sheet(open_as, judge, address):
    page = open_as(judge, address(), **PHONE)
    expect(page.locator(".t-sheet[data-ready]")).to_be_visible()
    return page


def touch(page, whole: int, tenth: int | None = None) -> None:
    page.locator(f'.t-wholes [data-whole="{whole}"]').tap()
    if tenth is not None:
        page.locator(f'.t-halves [data-tenth="{tenth}"]').tap()


def arrived(page) -> None:
    expect(page.locator(ARRIVED)).to_be_visible()


def test_a_sheet_is_written_by_touch_signed_and_locked(sheet, judge):
    for whole, tenth in ((7, 0), (6, 5), (10, None), (0, 5), (5, 5)):
        touch(sheet, whole, tenth)
    expect(sheet.locator(".t-where")).to_contain_text("6 of 6, collective mark")
    touch(sheet, 7, 5)
    expect(sheet.locator(".t-finish")).to_contain_text("Every movement has its mark.")
    sheet.get_by_role("button", name="Sign and lock").tap()
    expect(sheet.locator(".t-finish")).to_contain_text("Signed and locked")
    arrived(sheet)
    kept = Sheet.objects.get()
    assert kept.marks == {"1": 70, "2": 65, "3": 100, "4": 5, "G1": 55, "G2": 75}
    assert (kept.signed, kept.changed_by) == (True, judge)
    assert set(SheetRevision.objects.values_list("source", flat=True)) == {"table"}
    sheet.locator(".t-list-go").first.tap()
    expect(sheet.locator(".t-key").first).to_be_disabled()
    sheet.locator("#table").get_by_role("button", name="Finish").or_(sheet.get_by_role("button", name="Next")).tap()


def test_a_touched_whole_is_kept_before_the_half_is_touched(sheet):
    touch(sheet, 6)
    expect(sheet.locator(".t-mark")).to_have_text("6.0")
    expect(sheet.locator(".t-where")).to_contain_text("1 of 6")
    arrived(sheet)
    assert Sheet.objects.get().marks == {"1": 60}
    touch(sheet, 7, 5)
    arrived(sheet)
    assert Sheet.objects.get().marks == {"1": 75}


def test_everything_goes_by_keyboard(open_as, judge, address, cls):
    page = open_as(judge, address())
    expect(page.locator(".t-sheet[data-ready]")).to_be_visible()
    press = page.keyboard.press
    for typed in ("7", "65", "10"):
        page.keyboard.type(typed)
        press("Enter")
    press("ArrowUp")
    expect(page.locator(".t-mark")).to_have_text("10.0")
    press("r")
    page.keyboard.type("more - bend, 5 steps late")
    press("Enter")
    expect(page.locator(".t-where")).to_contain_text("4 of 6")
    page.keyboard.type("105")
    expect(page.locator(".t-fault")).to_have_text('"105" is not a mark. Enter 10 or less in steps of 0.5.')
    press("Enter")
    expect(page.locator(".t-where")).to_contain_text("4 of 6")
    press("e")
    expect(page.locator(".t-said")).to_have_text("1 error of course: 2 points off every sheet.")
    for typed in ("6.5", "5", "75"):
        page.keyboard.type(typed)
        press("Enter")
    expect(page.locator(".t-finish")).to_be_visible()
    press("o")
    page.keyboard.type("A pleasant pair.")
    press("Escape")
    press("s")
    expect(page.locator(".t-finish")).to_contain_text("Signed and locked")
    arrived(page)
    kept = Sheet.objects.select_related("entry").get()
    assert kept.marks == {"1": 70, "2": 65, "3": 100, "4": 65, "G1": 50, "G2": 75}
    assert (kept.remarks, kept.overall_remarks) == ({"3": "more - bend, 5 steps late"}, "A pleasant pair.")
    assert (kept.signed, kept.entry.errors) == (True, 1)


def test_gaps_are_shown_before_signing_and_lead_back(sheet):
    touch(sheet, 7, 0)
    sheet.keyboard.press("f")
    expect(sheet.locator(".t-finish .t-fault")).to_have_text("5 marks are missing:")
    sheet.locator(".t-gaps").get_by_role("button", name="movement 3").tap()
    expect(sheet.locator(".t-where")).to_contain_text("3 of 6")
    assert not Sheet.objects.filter(signed=True).exists()


def test_own_phrases_are_offered_for_the_movement_and_as_one_types(open_as, judge, address, cls):
    for number, remark in (("2", "more bend"), ("3", "more bend, keep the rhythm")):
        mark_sheet(cls.entries.get(number=number), "C", marks={"1": 65}, remarks={"1": remark})
    mark_sheet(cls.entries.get(number="3"), "B", marks={"1": 65}, remarks={"1": "somebody else wrote this"})
    page = open_as(judge, address(), **PHONE)
    offered = page.locator(".t-phrase")
    expect(offered).to_have_text(["more bend", "keep the rhythm"])
    offered.first.tap()
    page.locator("#remark").focus()
    page.keyboard.press("End")
    page.keyboard.type(", ke")
    expect(offered).to_have_text(["keep the rhythm"])
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert page.input_value("#remark") == "more bend, keep the rhythm"
    touch(page, 7, 0)
    page.locator("#remark").focus()
    page.keyboard.type("a new phrase")
    page.keyboard.press("Enter")
    arrived(page)
    assert Sheet.objects.get(entry__number="1").remarks == {"1": "more bend, keep the rhythm", "2": "a new phrase"}
    page.goto(address("2"))
    page.locator("#remark").focus()
    page.keyboard.type("a n")
    expect(offered).to_have_text(["a new phrase"])


def test_an_error_of_course_is_one_touch_and_can_be_taken_back(sheet, cls):
    sheet.get_by_role("button", name="Error of course").tap()
    expect(sheet.locator(".t-said")).to_have_text("1 error of course: 2 points off every sheet.")
    arrived(sheet)
    assert cls.entries.get(number="1").errors == 1
    sheet.get_by_role("button", name="Take it back").tap()
    arrived(sheet)
    assert cls.entries.get(number="1").errors == 0


def test_a_seat_that_does_not_preside_tells_the_office(open_as, cls, judge, address):
    seat = cls.seats.get(seat="B")
    seat.judge = judge.judge
    seat.save()
    page = open_as(judge, address(seat="B"), **PHONE)
    page.get_by_role("button", name="Error of course").tap()
    expect(page.locator(".t-said")).to_contain_text("Told to the office: error of course at movement 1.")
    arrived(page)
    entry = cls.entries.get(number="1")
    assert (entry.errors, entry.changes.latest("id").reason) == (
        0,
        "Seat B tells the office: error of course at movement 1",
    )


def test_the_running_percentage_is_there_only_for_who_wants_it(sheet):
    touch(sheet, 7, 0)
    expect(sheet.locator(".t-running")).to_be_hidden()
    sheet.get_by_label("Show the running percentage").check()
    expect(sheet.locator(".t-running")).to_have_text("70.000 % so far")
    sheet.reload()
    expect(sheet.locator(".t-running")).to_have_text("70.000 % so far")


def test_the_list_says_what_is_to_finish(open_as, judge, cls):
    mark_sheet(cls.entries.get(number="2"), "C", marks={"1": 70, "2": 65})
    mark_sheet(cls.entries.get(number="3"), "C", signed=True)
    page = open_as(judge, reverse("table"))
    expect(page.get_by_role("region", name="Sheets to finish")).to_contain_text("2 of 6 marks")
    rides = page.get_by_role("region", name="Class 1, seat C").locator(".t-ride")
    expect(rides).to_have_count(3)
    expect(rides.nth(0)).to_contain_text("Not begun")
    expect(rides.nth(2)).to_contain_text("Signed")
    rides.nth(0).get_by_role("link").click()
    expect(page.locator(".t-who")).to_contain_text("Rider 1")
    page.get_by_role("link", name="All sheets").click()
    expect(page.get_by_role("region", name="Class 1, seat C")).to_be_visible()
    page.go_back()
    expect(page.locator(".t-who")).to_contain_text("Rider 1")


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_no_page_is_wider_than_the_screen_and_axe_finds_nothing(open_as, judge, office, cls, address, width):
    for number in "123":
        for seat, mark in (("C", 70), ("B", 65)):
            mark_sheet(cls.entries.get(number=number), seat, mark=mark, remarks={"1": "straight"})
    page = open_as(judge, reverse("table"), viewport={"width": width, "height": 800})
    faults = {}

    def look(name: str) -> None:
        too_wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        found = Axe().run(page).response["violations"]
        said = [f"{fault['id']}: {node['html'][:160]}" for fault in found for node in fault["nodes"][:3]]
        if too_wide or said:
            faults[name] = [*(["wider than the screen"] if too_wide else []), *said]

    expect(page.locator(".t-ride").first).to_be_visible()
    look("day")
    page.goto(address())
    expect(page.locator(".t-sheet[data-ready]")).to_be_visible()
    look("finish")
    page.locator(".t-list-go").nth(1).click()
    page.get_by_label("Show the running percentage").check()
    look("sheet")
    page.context.set_offline(True)
    page.locator('.t-wholes [data-whole="8"]').click()
    page.locator('.t-halves [data-tenth="0"]').click()
    entry = cls.entries.get(number="1")
    mark_sheet(entry, "C", marks={"2": 60}, by=User.objects.get(username="office"))
    page.context.set_offline(False)
    expect(page.locator(".t-differences")).to_be_visible()
    look("differences")
    make_official(cls, by=None, findings_reason="looked at")
    page.goto(reverse("table-panel", args=[cls.competition.slug, "1", "C"]))
    expect(page.get_by_role("heading", name="By movement")).to_be_visible()
    look("panel")
    assert faults == {}


@pytest.mark.parametrize(("width", "height"), [(360, 740), (768, 1024), (1280, 800)])
def test_everything_is_large_enough_for_a_glove(open_as, judge, cls, address, width, height):
    """44 px either way (target size of WCAG 2.1, 2.5.5); a box counts with the words that tick it."""
    mark_sheet(cls.entries.get(number="2"), "C", marks={"1": 70}, remarks={"1": "straight"})
    page = open_as(judge, reverse("table"), viewport={"width": width, "height": height}, has_touch=True)
    expect(page.locator(".t-ride").first).to_be_visible()
    assert page.evaluate(SMALL) == []
    page.goto(address("2"))
    expect(page.locator(".t-sheet[data-ready]")).to_be_visible()
    assert page.evaluate(SMALL) == []
    page.keyboard.press("f")
    assert page.evaluate(SMALL) == []


SMALL = """() => ["a", "button", "summary", "textarea", "label:has(input)", "input"]
  .flatMap((kind) => [...document.querySelectorAll(`main ${kind}`)])
  .filter((found) => found.checkVisibility() && !found.closest("label")?.contains(found.closest("input")))
  .map((found) => [found.tagName, found.textContent, found.getBoundingClientRect()])
  .filter(([, , box]) => box.width > 1 && (box.width < 43.5 || box.height < 43.5))
  .map(([tag, words, box]) => `${tag} ${words}: ${Math.round(box.width)} x ${Math.round(box.height)}`)"""


def test_a_whole_mark_is_in_reach_of_one_thumb_on_a_phone(open_as, judge, address):
    """On the screen of a small phone with its bars, everything for a mark stays in sight from mark to mark."""
    page = open_as(judge, address(), viewport={"width": 360, "height": 640}, has_touch=True)
    expect(page.locator(".t-sheet[data-ready]")).to_be_visible()
    for _ in range(3):
        touch(page, 7, 5)
        said = page.locator("#state").bounding_box()
        for name in (".t-card:visible", ".t-remark", ".t-wholes", ".t-halves", ".t-moves"):
            box = page.locator(name).bounding_box()
            assert box["y"] >= said["y"] + said["height"], name
            assert box["y"] + box["height"] <= 640, name


def test_a_mark_that_was_refused_is_decided_on_before_signing(open_as, judge, cls, address):
    page = open_as(judge, address())
    expect(page.locator(".t-sheet[data-ready]")).to_be_visible()
    refused = []

    def refuse(route):
        answer = route.fetch()
        found = answer.json()
        if not refused:
            found["answers"] = [found["answers"][0] | {"outcome": "refused", "why": "It is not on its scale."}]
            refused.append(found)
        route.fulfill(response=answer, json=found)

    page.route("**/table/changes/", refuse)
    page.keyboard.type("7")
    page.keyboard.press("Enter")
    expect(page.locator(".t-difference")).to_contain_text("Not taken, and still kept here.")
    page.keyboard.press("f")
    page.locator("#sign").click()
    expect(page.locator(".t-said")).to_have_text("Decide first what differs, then sign.")
    assert not Sheet.objects.filter(signed=True).exists()
