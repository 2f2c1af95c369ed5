"""Championships, parts of a test and marks in tenths in a real browser, at every width and checked with axe."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import expect

from competitions.models import Championship, Sheet
from competitions.services.documents import save_test
from competitions.services.team_rules import set_team_rules
from tests.builders import make_championship, make_class, make_pair, make_rule_set, make_test_document, mark_sheet

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def freestyle(cls):
    """Class 2: four technical movements in halves, two artistic items in tenths; teams of two count."""
    document = make_test_document(id="free", title="Linden Freestyle")
    for item in document["items"][-2:]:
        item |= {"part": "artistic", "mark": {"min": "0", "max": "10", "step": "0.1"}}
    rules = make_rule_set(id="free", parts={"technical": "1", "artistic": "1"}, ties=[])
    found = make_class(
        cls.competition, number="2", title="Freestyle", seats="CB", entries=3, test=save_test(document), rule_set=rules
    )
    found.entries.update(team="Green")
    return found


@pytest.fixture
def championship(cls, freestyle) -> Championship:
    for found in (cls, freestyle):
        for number, mark in (("1", 70), ("2", 65), ("3", 60)):
            for seat in "CB":
                mark_sheet(found.entries.get(number=number), seat, mark=mark)
    set_team_rules(freestyle, {"counting": 2, "method": "sum"}, by=None)
    members = {make_pair(n).key: "Green" for n in (1, 2, 3)}
    rules = {"method": "mean", "decimals": 3, "ties": [{"by": "part", "class": 2, "part": "artistic"}]}
    teams = {"from": "units", "method": "sum", "counting": 2, "members": members}
    return make_championship(cls.competition, classes=[cls, freestyle], rules=rules | {"teams": teams})


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_no_page_is_wider_than_the_screen_and_axe_finds_nothing(open_as, office, championship, width):
    addresses = [
        reverse("desk-championship-new", args=["linden-autumn"]),
        reverse("desk-championship", args=["linden-autumn", "small-tour"]),
        reverse("desk-competition", args=["linden-autumn"]),
        reverse("championship", args=["linden-autumn", "small-tour"]),
        reverse("competition", args=["linden-autumn"]),
        reverse("board", args=["linden-autumn", "2"]),
        reverse("entry-result", args=["linden-autumn", "2", "1"]),
    ]
    page = open_as(office, addresses[0], viewport={"width": width, "height": 900})
    faults = {}
    for address in addresses:
        page.goto(address)
        page.evaluate("document.querySelectorAll('details').forEach((details) => { details.open = true; })")
        too_wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        found = Axe().run(page).response["violations"]
        said = [f"{fault['id']}: {node['html'][:120]}" for fault in found for node in fault["nodes"][:3]]
        if too_wide or said:
            faults[address] = [*(["wider than the screen"] if too_wide else []), *said]
    assert faults == {}


def test_the_rule_is_told_while_it_is_typed_and_saved_at_the_first_click(open_as, office, freestyle):
    page = open_as(office, reverse("desk-championship-new", args=["linden-autumn"]))
    page.get_by_label("Title").fill("Small tour")
    page.get_by_label("Short name").fill("small-tour")
    page.locator("#id_classes-0-number").select_option("1")
    page.locator("#id_classes-1-number").select_option("2")
    expect(page.locator("#rule")).to_contain_text("The mean of the total in Class 1 and Class 2 decides, to 3 decimals")
    page.get_by_label("How the classes are put together").select_option("last-class-decides")
    expect(page.locator("#rule")).to_contain_text("The total in Class 2 alone decides")
    page.get_by_role("button", name="Set up", exact=True).click()
    expect(page.locator(".messages")).to_contain_text("Small tour is saved.")
    assert Championship.objects.get().document["method"] == "last-class-decides"


def test_an_open_working_stays_open_when_new_results_come_in(open_as, office, freestyle, championship):
    page = open_as(office, reverse("championship", args=["linden-autumn", "small-tour"]))
    first = page.locator("#working-1")
    first.locator("summary").click()
    expect(first.locator("li").first).to_contain_text("Class 1: number 1, 70.000 %")
    mark_sheet(freestyle.entries.get(number="1"), "C", mark=80)
    expect(page.locator("#board")).to_contain_text("72.500", timeout=30000)
    expect(first.locator("li").first).to_be_visible()


def test_tenths_are_keyed_from_the_number_pad_where_the_item_takes_them(open_as, office, freestyle):
    page = open_as(office, reverse("desk-sheet", args=["linden-autumn", "2", "1", "C"]))
    expect(page.locator("#sheet-form[data-ready]")).to_be_visible()
    for typed in ("7", "65", "10", "6.5", "73", "8"):
        page.keyboard.type(typed)
        page.keyboard.press("NumpadEnter")
    items = ("1", "2", "3", "4", "G1", "G2")
    assert [page.input_value(f"#mark-{item}") for item in items] == ["7.0", "6.5", "10.0", "6.5", "7.3", "8.0"]
    # technical 7 + 6.5 x 2 + 10 + 6.5 = 36.5 of 50 = 73 %; artistic 7.3 + 8 x 2 = 23.3 of 30 = 77.667 %
    expect(page.locator("#tally-percentage")).to_have_text("75.334 %")
    page.locator("#mark-1").fill("73")
    expect(page.locator("#fault-1")).to_contain_text('"73" is not a mark. Enter 10 or less in steps of 0.5.')
    page.locator("#mark-1").fill("7")
    page.locator("#mark-G2").fill("81")
    page.keyboard.press("NumpadEnter")
    page.locator("#save").click()
    expect(page.locator('#sheet-form[data-saved="1"]')).to_be_visible()
    kept = Sheet.objects.get()
    assert (kept.marks["1"], kept.marks["G1"], kept.marks["G2"]) == (70, 73, 81)
