"""A spoken commentary becomes remarks at the judge's table, in a real browser."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import expect

from competitions.models import Sheet, SheetRevision
from tests.builders import mark_sheet

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
ARRIVED = "#state[data-waiting='0'][data-unkept='0'][data-kind='done']"
SPOKEN = """WEBVTT

00:00:01.000 --> 00:00:02.000
Good morning.

00:00:05.000 --> 00:00:07.500
Straight entry, halt not square.

00:00:20.000 --> 00:00:23.000
The circle is round and in good balance.

00:00:30.000 --> 00:00:31.000
Hm.

00:01:30.000 --> 00:01:34.000
Overall a pleasing pair & a good test.
"""


@pytest.fixture
def address(cls):
    return lambda number="1", seat="C": reverse("table-commentary", args=[cls.competition.slug, "1", number, seat])


def give(page, text: str = SPOKEN) -> None:
    page.get_by_label("Or the text itself").fill(text)
    page.get_by_role("button", name="Lay it on the movements").click()
    expect(page.locator(".c-places")).to_be_visible()


def assert_accessible(page) -> None:
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def test_from_the_sheet_to_remarks_by_keyboard(open_as, judge, address, cls):
    page = open_as(judge, reverse("table-sheet", args=[cls.competition.slug, "1", "1", "C"]))
    page.get_by_role("link", name="Commentary").click()
    assert_accessible(page)
    page.set_input_files(
        "#spoken-file",
        {"name": "ride.vtt", "mimeType": "text/vtt", "buffer": b"\xef\xbb\xbf" + SPOKEN.replace("\n", "\r\n").encode()},
    )
    expect(page.get_by_label("Or the text itself")).to_have_value(SPOKEN)
    expect(page.get_by_role("button", name="Lay it on the movements")).to_be_focused()
    page.keyboard.press("Enter")
    first = page.get_by_role("region", name="movement 1", exact=True)
    expect(first.locator(".c-sentence")).to_contain_text("Straight entry, halt not square.")
    assert_accessible(page)
    page.locator(".c-words", has_text="Hm.").click()
    page.keyboard.press("s")
    expect(page.locator(".t-said")).to_contain_text("nothing to split")
    page.get_by_role("button", name="Leave out").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".t-said")).to_contain_text("“Hm.” is left out")
    page.locator(".c-words", has_text="Straight entry").click()
    page.keyboard.press("s")
    page.get_by_role("button", name="Second part begins with halt").click()
    page.keyboard.press("ArrowRight")
    expect(page.locator(".t-said")).to_contain_text("Now on 2")
    page.keyboard.press("z")
    expect(first.locator(".c-sentence")).to_have_count(2)
    page.keyboard.press("e")
    page.keyboard.press("Control+a")
    page.keyboard.type("halt a little wide")
    page.keyboard.press("Enter")
    assert_accessible(page)
    page.get_by_label("The dictation begins at this moment").fill("a while")
    page.keyboard.press("Tab")
    expect(page.locator(".form-errors")).to_contain_text("“a while” is no moment of a recording.")
    page.get_by_label("The dictation begins at this moment").fill("1:00")
    page.keyboard.press("Tab")
    expect(page.locator(".form-errors")).to_have_count(0)
    page.get_by_role("button", name="Make remarks of it").click()
    expect(page.locator(".t-said")).to_contain_text("The commentary is on the sheet")
    expect(page.locator(ARRIVED)).to_be_visible()
    sheet = Sheet.objects.get()
    assert sheet.remarks["1"] == "Straight entry, halt a little wide"
    assert sheet.overall_remarks == "Good morning. Overall a pleasing pair & a good test."
    assert (sheet.remark_times["1"], sheet.overall_time) == (65_000, 150_000)
    assert SheetRevision.objects.get().source == "table"


def test_a_remark_that_stands_there_is_kept_unless_the_judge_says_otherwise(open_as, judge, address, cls):
    mark_sheet(cls.entries.get(number="1"), "C", remarks={"1": "kept words"}, overall_remarks="old words")
    Sheet.objects.update(remark_times={"1": 700}, overall_time=800)
    page = open_as(judge, address(), **PHONE)
    give(page)
    first = page.get_by_role("region", name="movement 1", exact=True)
    expect(first).to_contain_text("On the sheet now: kept words")
    expect(first.locator(".c-will")).to_contain_text("kept words; Straight entry, halt not square.")
    whole = page.get_by_role("region", name="The ride as a whole")
    whole.get_by_label("Put this in its place").check()
    expect(whole.locator(".c-will")).not_to_contain_text("old words")
    assert_accessible(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.get_by_role("button", name="Make remarks of it").tap()
    expect(page.locator(ARRIVED)).to_be_visible()
    sheet = Sheet.objects.get()
    assert sheet.remarks["1"] == "kept words; Straight entry, halt not square."
    assert "old words" not in sheet.overall_remarks
    assert (sheet.remark_times["1"], sheet.overall_time) == (700, 90_000)
    assert len(sheet.marks) == 6


def test_all_is_kept_while_the_network_is_gone(open_as, judge, address):
    page = open_as(judge, address())
    expect(page.locator("#table[data-ready]")).to_be_visible()
    page.context.set_offline(True)
    page.get_by_label("Or the text itself").fill(SPOKEN)
    page.get_by_role("button", name="Lay it on the movements").click()
    expect(page.locator(".form-errors")).to_contain_text("network is gone")
    page.context.set_offline(False)
    page.get_by_role("button", name="Lay it on the movements").click()
    expect(page.locator(".c-places")).to_be_visible()
    page.locator(".c-words", has_text="Hm.").click()
    page.keyboard.press("Delete")
    page.wait_for_function("navigator.serviceWorker.ready.then(() => true)")
    page.context.set_offline(True)
    page.reload()
    expect(page.locator(".c-words", has_text="The circle is round")).to_be_visible()
    expect(page.locator(".c-words", has_text="Hm.")).to_have_count(0)
    page.get_by_role("button", name="Make remarks of it").click()
    expect(page.locator("#state")).to_contain_text("No network")
    assert not Sheet.objects.exists()
    page.context.set_offline(False)
    expect(page.locator(ARRIVED)).to_be_visible()
    assert Sheet.objects.get().remarks


def test_what_cannot_be_read_is_named_by_line_and_stays_in_the_field(open_as, judge, address):
    page = open_as(judge, address())
    broken = "WEBVTT\n\n00:09.000 --> 00:04.000\nEntry.\n"
    page.get_by_label("Or the text itself").fill(broken)
    page.get_by_role("button", name="Lay it on the movements").click()
    expect(page.locator(".form-errors")).to_contain_text('Line 3, "00:09.000 --> 00:04.000", ends before it starts.')
    expect(page.get_by_label("Or the text itself")).to_have_value(broken)
    expect(page.get_by_label("Or the text itself")).to_be_focused()
    page.set_input_files("#spoken-file", {"name": "old.txt", "mimeType": "text/plain", "buffer": b"caf\xe9"})
    expect(page.locator(".form-errors")).to_contain_text("old.txt is not UTF-8 text.")
    expect(page.get_by_label("Or the text itself")).to_have_value(broken)
    assert_accessible(page)


def test_uncertain_sentences_are_walked_through_with_one_key(open_as, judge, address):
    page = open_as(judge, address())
    give(page, "Hm.\nWell now.\nThe circle is round.\nSo so.\nOverall a pleasing pair.")
    doubts = page.get_by_role("region", name="Uncertain sentences")
    expect(doubts).to_contain_text("uncertain")
    count = page.locator(".c-sentence.is-doubtful").count()
    assert count
    for _ in range(count):
        page.keyboard.press("u")
        page.keyboard.press("Enter")
    expect(doubts).to_contain_text("No sentence is uncertain.")


def test_a_signed_sheet_is_left_alone(open_as, judge, address, cls):
    mark_sheet(cls.entries.get(number="1"), "C", signed=True)
    page = open_as(judge, address())
    expect(page.locator(".notice")).to_contain_text("The sheet is signed and locked.")
    expect(page.get_by_role("button", name="Lay it on the movements")).to_be_disabled()
