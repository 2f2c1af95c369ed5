"""Keying sheets in a real browser: number pad, two people, totals, a network that fails."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from competitions.models import Sheet
from riders.models import User

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

ITEMS = ("1", "2", "3", "4", "G1", "G2")


@pytest.fixture
def address(cls):
    return lambda number="1", seat="C": reverse("desk-sheet", args=[cls.competition.slug, "1", number, seat])


@pytest.fixture
def sheet(open_as, office, address):
    page = open_as(office, address())
    expect(page.locator("#sheet-form[data-ready]")).to_be_visible()
    return page


def focused(page) -> str:
    return page.evaluate("document.activeElement.id")


def keys(page, *typed: str) -> None:
    """Type marks from the number pad, each ended by its Enter key."""
    for text in typed:
        page.keyboard.type(text)
        page.keyboard.press("NumpadEnter")


def saved(page, version: int) -> None:
    expect(page.locator(f'#sheet-form[data-saved="{version}"]')).to_be_visible()


def test_a_whole_sheet_is_keyed_signed_and_saved_without_the_mouse(sheet, cls, address):
    assert focused(sheet) == "mark-1"
    keys(sheet, "7", "65", "10", "6.5", "5", "75")
    assert [sheet.input_value(f"#mark-{item}") for item in ITEMS] == ["7.0", "6.5", "10.0", "6.5", "5.0", "7.5"]
    assert focused(sheet) == "total"
    # 7 + 6.5 x 2 + 10 + 6.5 + 5 + 7.5 x 2 = 56.5 of 80
    expect(sheet.locator("#tally-points")).to_have_text("56.5 of 80 points")
    expect(sheet.locator("#tally-percentage")).to_have_text("70.625 %")
    keys(sheet, "56.5")
    expect(sheet.locator("#total-said")).to_have_text("The paper and our marks agree.")
    sheet.keyboard.press("1")
    sheet.keyboard.press("NumpadEnter")
    assert focused(sheet) == "save-next"
    sheet.keyboard.press("NumpadEnter")
    sheet.wait_for_url(f"**{address('2')}")
    kept = Sheet.objects.get()
    assert kept.marks == {"1": 70, "2": 65, "3": 100, "4": 65, "G1": 50, "G2": 75}
    assert (kept.signed, kept.typed_total) == (True, "56.5")


def test_what_is_no_mark_is_refused_at_once_and_the_place_is_kept(sheet):
    keys(sheet, "7")
    sheet.keyboard.type("10")
    expect(sheet.locator("#fault-2")).to_be_empty()
    sheet.keyboard.type("5")
    expect(sheet.locator("#fault-2")).to_have_text('"105" is not a mark. Enter 10 or less in steps of 0.5.')
    sheet.keyboard.press("NumpadEnter")
    assert focused(sheet) == "mark-2"
    assert sheet.input_value("#mark-2") == "105"
    keys(sheet, "65")  # it is selected, so typing replaces it
    assert sheet.input_value("#mark-2") == "6.5"
    assert focused(sheet) == "mark-3"


def test_the_keys_go_back_to_remarks_to_errors_and_to_the_first_gap(sheet):
    keys(sheet, "7", "", "6")
    sheet.keyboard.press("-")
    assert focused(sheet) == "mark-3"
    sheet.keyboard.press("ArrowUp")
    sheet.keyboard.press("+")
    assert focused(sheet) == "mark-3"
    sheet.keyboard.press("*")
    assert focused(sheet) == "remark-3"
    sheet.keyboard.type("more - bend / less + hurry")
    sheet.keyboard.press("Enter")
    assert focused(sheet) == "mark-4"
    sheet.keyboard.press("/")
    assert focused(sheet) == "errors"
    sheet.keyboard.press("/")
    expect(sheet.locator("#errors-said")).to_have_text("1 error of course: 2 points off every sheet.")
    sheet.keyboard.press("Enter")
    assert focused(sheet) == "mark-4"
    sheet.keyboard.press("g")
    assert focused(sheet) == "mark-2"
    sheet.keyboard.press("t")
    assert focused(sheet) == "total"
    sheet.keyboard.press("Control+s")
    saved(sheet, 1)
    kept = Sheet.objects.select_related("entry").get()
    assert kept.remarks == {"3": "more - bend / less + hurry"}
    assert kept.entry.errors == 1
    assert sheet.input_value("#remark-3") == "more - bend / less + hurry"


def test_the_running_figures_take_off_what_errors_cost(sheet):
    keys(sheet, "7", "7", "7", "7", "7", "7")
    sheet.fill("#errors", "2")
    expect(sheet.locator("#errors-said")).to_contain_text("The next error eliminates.")
    expect(sheet.locator("#tally-points")).to_have_text("50 of 80 points")
    expect(sheet.locator("#tally-percentage")).to_have_text("62.500 %")
    sheet.fill("#errors", "21")
    expect(sheet.locator("#errors-said")).to_have_text("Enter a whole number from 0 to 20.")


@pytest.mark.parametrize(
    ("typed", "sentence", "hint"),
    [
        ("53", "the paper has 1 point more.", "movement 2 (6.5 here, 7.0 on the paper)"),
        ("51.5", "the paper has 0.5 points less.", "movement 1 (6.5 here, 6.0 on the paper)"),
        ("45.5", "the paper has 6.5 points less.", "counted movement 2 (coefficient 2) only once."),
        ("50", "the paper has 2 points less.", "It is what an error of course takes off"),
        ("60.3", "the paper has 8.3 points more.", "No single mark explains it"),
        ("x", "is not a total.", ""),
    ],
)
def test_a_difference_to_the_paper_is_shown_with_where_it_may_come_from(sheet, typed, sentence, hint):
    keys(sheet, *["65"] * 6)
    sheet.keyboard.type(typed)
    expect(sheet.locator("#total-said")).to_contain_text(sentence)
    expect(sheet.locator("#total-said")).to_contain_text(hint)


def test_a_paper_total_before_errors_is_recognised(sheet):
    keys(sheet, *["65"] * 6)
    sheet.fill("#errors", "1")
    sheet.fill("#total", "52")
    expect(sheet.locator("#total-said")).to_contain_text("It is exactly what comes off for errors of course")


def test_two_browsers_on_one_sheet_see_both_values_and_choose(open_as, office, cls, address):
    first = open_as(office, address())
    second = open_as(User.objects.get(username="second"), address())
    expect(second.locator("#presence")).to_contain_text("Ottilie Brandmair has this sheet open as well")
    keys(first, "7", "65", "6")
    first.keyboard.press("Control+s")
    saved(first, 1)
    keys(second, "7", "6", "", "55")
    second.keyboard.press("Control+s")
    clash = second.locator("#clash")
    expect(clash).to_contain_text("Ottilie Brandmair saved this sheet first")
    expect(clash.locator(".clash-row")).to_have_count(3)
    # Both typed movement 2: the keyer has to choose. Movements 3 and 4 only one of them touched: proposed.
    expect(clash.locator(".clash-row.is-open")).to_have_count(1)
    expect(clash.locator('.clash-row.is-open input[value="mine"]')).to_be_focused()
    assert second.input_value("#mark-3") == "6.0"
    assert second.input_value("#mark-4") == "5.5"
    second.keyboard.press("Control+s")
    expect(second.locator("#save-said")).to_contain_text("choose for every field that differs first")
    assert Sheet.objects.get().version == 1
    second.locator('.clash-row.is-open input[value="theirs"]').check()
    assert second.input_value("#mark-2") == "6.5"
    second.get_by_role("button", name="Save with these choices").click()
    saved(second, 2)
    assert Sheet.objects.get().marks == {"1": 70, "2": 65, "3": 60, "4": 55}
    expect(second.locator("#clash")).to_have_count(0)


def test_without_script_the_same_questions_are_asked(open_as, office, cls, address):
    first = open_as(office, address())
    plain = open_as(User.objects.get(username="second"), address(), java_script_enabled=False)
    keys(first, "7")
    first.keyboard.press("Control+s")
    saved(first, 1)
    plain.fill("#mark-1", "6")
    plain.fill("#overall", "kept words")
    plain.click("#save")
    expect(plain.locator("#clash")).to_contain_text("saved this sheet first")
    assert plain.input_value("#mark-1") == "6"
    plain.locator('[name="keep-mark-1"][value="mine"]').check()
    plain.get_by_role("button", name="Save with these choices").click()
    expect(plain.locator(".messages")).to_contain_text("Sheet C of number 1 is saved.")
    kept = Sheet.objects.get()
    assert (kept.marks, kept.overall_remarks) == ({"1": 60}, "kept words")


def test_a_failed_saving_says_so_keeps_everything_and_can_be_repeated(sheet):
    keys(sheet, "7", "65")
    sheet.context.set_offline(True)
    sheet.keyboard.press("Control+s")
    expect(sheet.locator("#notices")).to_contain_text("Not saved: the network did not answer.")
    assert focused(sheet) == "save-again"
    assert sheet.input_value("#mark-2") == "6.5"
    assert not Sheet.objects.exists()
    sheet.context.set_offline(False)
    sheet.keyboard.press("Enter")
    saved(sheet, 1)
    assert Sheet.objects.get().marks == {"1": 70, "2": 65}
    expect(sheet.locator("#notices")).to_be_empty()


def test_what_is_typed_while_the_answer_is_on_its_way_is_not_lost(sheet):
    held = []
    sheet.route("**/1/1/C/", lambda route: held.append(route) if route.request.method == "POST" else route.continue_())
    keys(sheet, "7")
    with sheet.expect_request(lambda request: request.method == "POST"):
        sheet.keyboard.press("Control+Enter")
    keys(sheet, "65")
    held[0].continue_()
    saved(sheet, 1)
    assert [sheet.input_value(f"#mark-{item}") for item in ("1", "2")] == ["7.0", "6.5"]
    expect(sheet.locator("#save-said")).to_contain_text("What was typed since then is not saved yet.")
    sheet.unroute_all()
    sheet.keyboard.press("Control+s")
    saved(sheet, 2)
    assert Sheet.objects.get().marks == {"1": 70, "2": 65}


def test_a_session_that_ended_loses_nothing(sheet, office):
    keys(sheet, "7")
    sheet.context.clear_cookies(name="sessionid")
    sheet.keyboard.press("Control+s")
    expect(sheet.locator("#notices")).to_contain_text("Not saved")
    assert sheet.input_value("#mark-1") == "7.0"
    assert not Sheet.objects.exists()


def test_leaving_with_unsaved_marks_warns_and_they_can_be_put_back(sheet, address):
    keys(sheet, "7", "65")
    asked = []

    def answer(dialog):
        asked.append(dialog.type)
        dialog.accept()

    sheet.on("dialog", answer)
    sheet.reload()
    assert asked == ["beforeunload"]
    assert sheet.input_value("#mark-1") == ""
    expect(sheet.locator("#notices")).to_contain_text("Marks were typed here and not saved.")
    sheet.get_by_role("button", name="Put them back").click()
    assert [sheet.input_value(f"#mark-{item}") for item in ("1", "2")] == ["7.0", "6.5"]
    sheet.keyboard.press("Control+s")
    saved(sheet, 1)
    asked.clear()
    sheet.reload()
    assert asked == []
    expect(sheet.locator("#notices")).to_be_empty()
    assert sheet.input_value("#mark-2") == "6.5"


def test_gaps_are_filled_with_the_mean_and_flagged_when_the_judge_is_gone(sheet):
    keys(sheet, "7", "6", "65", "", "6")
    sheet.locator("#gaps-block summary").click()
    sheet.click("#fill-gaps")
    # the mean of 7, 6, 6.5 and 6 is 6.375, to the half mark 6.5
    assert [sheet.input_value(f"#mark-{item}") for item in ("4", "G2")] == ["6.5", "6.5"]
    sheet.click("#save")
    saved(sheet, 1)
    assert Sheet.objects.get().substitutes == ["4", "G2"]
    expect(sheet.locator("#substitute-4")).to_be_checked()


def test_a_result_without_marks_is_keyed(sheet):
    sheet.locator("#given-block summary").click()
    sheet.select_option("#given_kind", "percentage")
    sheet.fill("#given", "67,273")
    sheet.keyboard.press("Control+s")
    saved(sheet, 1)
    assert Sheet.objects.get().given_result == {"percentage": "67.273"}
