"""Keying a sheet: what is typed, what is refused, two people on one sheet."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from competitions.models import Sheet
from competitions.services.entries import set_outcome
from competitions.services.results import make_official, start_correction
from tests.builders import mark_sheet
from tests.competitions.desk.sheetdata import fields

pytestmark = pytest.mark.django_db

JSON = {"Accept": "application/json"}


@pytest.fixture
def url(competition, cls):
    return reverse("desk-sheet", args=[competition.slug, "1", "1", "C"])


@pytest.fixture
def entry(cls):
    return cls.entries.get(number="1")


def sheet_of(entry, seat: str = "C") -> Sheet:
    return entry.sheets.get(seat__seat=seat)


def test_typed_marks_are_read_as_a_keyer_means_them(desk, url, entry):
    response = desk.post(url, fields(mark_1="7", mark_2="65", mark_3="10", mark_4="6,5", mark_G1="05", mark_G2=" 0 "))
    assert response["Location"] == url
    assert sheet_of(entry).marks == {"1": 70, "2": 65, "3": 100, "4": 65, "G1": 5, "G2": 0}


@pytest.mark.parametrize("typed", ["105", "11", "6.3", "-1", "abc", "6.55", "1e1", "\u0667", "7 7", "10.5"])
def test_what_is_no_mark_is_refused_and_stays_in_its_field(desk, url, entry, typed):
    response = desk.post(url, fields(mark_2=typed, remark_3="kept", total="186.5"))
    page = response.content.decode()
    assert response.status_code == 422
    assert "Movement 2: " in page
    assert f'name="mark-2" value="{typed}"' in page
    assert 'value="kept"' in page
    assert 'value="186.5"' in page
    assert not entry.sheets.exists()


def test_every_fault_is_named_at_once_with_its_field(desk, url):
    response = desk.post(url, fields(mark_1="105", mark_4="x", errors="many", total="a lot"), headers=JSON)
    assert response.status_code == 422
    named = {problem["field"]: problem["sentence"] for problem in response.json()["problems"]}
    assert set(named) == {"mark-1", "mark-4", "errors", "total"}
    assert named["mark-1"] == 'Movement 1: "105" is not a mark. Enter 10 or less in steps of 0.5.'
    assert named["errors"] == '"many" is not a number of errors of course. Enter a whole number from 0 to 20.'


def test_saving_answers_with_what_stands_and_where_to_go(desk, url, entry):
    answer = desk.post(url, fields("65", mark_3="", then="ride"), headers=JSON).json()
    assert answer["version"] == 1
    assert answer["missing"] == ["3"]
    assert answer["values"]["mark-1"] == "6.5"
    assert answer["message"] == "Saved. 1 gap is left."
    assert answer["next"].endswith("/1/2/C/")
    full = desk.post(url, fields("65", version=1), headers=JSON).json()
    # 4 movements (one with coefficient 2) and two collective marks (one with coefficient 2): 8 x 6.5 of 80
    assert (full["points"], full["percentage"], full["message"]) == ("52", "65.000", "Saved. 52 points, 65.000 %.")


def test_a_gap_stays_a_gap_and_a_mark_can_be_taken_away(desk, url, entry):
    desk.post(url, fields("7"))
    desk.post(url, fields("7", version=1, mark_2=""))
    assert "2" not in sheet_of(entry).marks


def test_remarks_total_and_signature_are_kept(desk, url, entry):
    desk.post(url, fields(remark_1="straight, square halt", overall="a promising pair", total="52,0", signed="1"))
    sheet = sheet_of(entry)
    assert sheet.remarks == {"1": "straight, square halt"}
    assert (sheet.overall_remarks, sheet.typed_total, sheet.signed) == ("a promising pair", "52.0", True)
    desk.post(url, fields(version=1))
    sheet.refresh_from_db()
    assert (sheet.remarks, sheet.typed_total, sheet.signed) == ({}, "", False)


@pytest.mark.parametrize(("kind", "typed", "kept"), [("points", "52,5", "52.5"), ("percentage", "67.273", "67.273")])
def test_a_sheet_known_only_by_its_result_is_keyed_as_such(desk, url, entry, kind, typed, kept):
    answer = desk.post(url, fields("", given_kind=kind, given=typed), headers=JSON).json()
    assert sheet_of(entry).given_result == {kind: kept}
    assert answer["message"] == "Saved. Only the result of this sheet is kept."


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"given": "much"}, "&quot;much&quot; is not a points result."),
        ({"given": "101", "given_kind": "percentage"}, "is not a percentage result."),
        ({"given": "52", "mark_1": "7"}, "This sheet has marks and a result without marks."),
    ],
)
def test_a_given_result_with_nonsense_is_refused(desk, url, entry, changes, sentence):
    page = desk.post(url, fields("", **changes)).content.decode()
    assert sentence in page
    assert not entry.sheets.exists()


def test_errors_of_course_are_kept_with_the_ride_and_cost_every_sheet(desk, url, entry, competition):
    answer = desk.post(url, fields("65", errors="1"), headers=JSON).json()
    entry.refresh_from_db()
    assert entry.errors == 1
    assert answer["errors"] == 1
    assert (answer["points"], answer["percentage"]) == ("50", "62.500")  # 52 - 2 of 80
    other = desk.get(reverse("desk-sheet", args=[competition.slug, "1", "1", "B"])).content.decode()
    assert 'name="errors" value="1"' in other
    assert entry.changes.last().reason == "errors of course keyed with sheet C"


def test_the_next_sheet_follows_the_chosen_way_and_is_remembered(desk, url, cls, competition):
    mark_sheet(cls.entries.get(number="2"), "C")
    assert desk.post(url, fields(then="ride"), headers=JSON).json()["next"].endswith("/1/3/C/")
    seat_b = reverse("desk-sheet", args=[competition.slug, "1", "3", "C"])
    assert desk.post(seat_b, fields(then="seat"), headers=JSON).json()["next"].endswith("/1/3/B/")
    page = desk.get(url).content.decode()
    assert 'value="seat" checked' in page


def test_after_the_last_sheet_the_class_desk_comes(desk, url, cls):
    for entry in cls.entries.all():
        for seat in "CB":
            mark_sheet(entry, seat)
    answer = desk.post(url, fields(version=1, then="ride"), headers=JSON).json()
    assert answer["next"] == reverse("desk-class", args=[cls.competition.slug, "1"])


def test_withdrawn_rides_are_passed_over(desk, url, cls):
    set_outcome(cls.entries.get(number="2"), expected_version=None, by=None, status="withdrawn")
    assert desk.post(url, fields(then="ride"), headers=JSON).json()["next"].endswith("/1/3/C/")


# Two keyers on one sheet


def test_the_second_keyer_sees_both_values_and_nothing_is_lost(desk, second_desk, url, entry):
    desk.post(url, fields("7", mark_2="65", remark_1="from the first"))
    response = second_desk.post(url, fields("7", mark_2="6", mark_3="55", overall="from the second"))
    page = response.content.decode()
    assert response.status_code == 409
    assert "Ottilie Brandmair saved this sheet first" in page
    assert "from the first" in page
    assert 'name="mark-3" value="55"' in page
    assert "from the second</textarea>" in page
    assert sheet_of(entry).marks["2"] == 65
    assert sheet_of(entry).version == 1


def test_choosing_field_by_field_saves_what_was_chosen(desk, second_desk, url, entry):
    desk.post(url, fields("7", mark_2="65", remark_1="from the first"))
    mine = fields("7", mark_2="6", mark_3="55", overall="from the second", version=1)
    choices = {"keep-mark-2": "theirs", "keep-mark-3": "mine", "keep-remark-1": "theirs", "keep-overall": "mine"}
    response = second_desk.post(url, mine | choices | {"choose": "mark-2", "opened": "0", "opened_errors": "0"})
    assert response.status_code == 302
    sheet = sheet_of(entry)
    assert (sheet.marks["2"], sheet.marks["3"]) == (65, 55)
    assert (sheet.remarks, sheet.overall_remarks) == ({"1": "from the first"}, "from the second")
    assert sheet.version == 2


def test_without_a_choice_the_question_comes_again(desk, second_desk, url, entry):
    desk.post(url, fields("7", mark_2="65"))
    response = second_desk.post(
        url, fields("7", mark_2="6", version=1) | {"choose": "mark-2", "opened": "0", "opened_errors": "0"}
    )
    assert response.status_code == 409
    assert 'name="keep-mark-2"' in response.content.decode()
    assert sheet_of(entry).marks["2"] == 65


def test_what_only_one_of_them_touched_is_proposed(desk, second_desk, url):
    desk.post(url, fields("7", mark_4=""))
    opened = 1
    desk.post(url, fields("7", mark_4="", version=1, mark_2="65"))
    answer = second_desk.post(url, fields("7", version=opened, mark_4="8"), headers=JSON)
    assert answer.status_code == 409
    html = answer.json()["html"]
    assert html.count('value="theirs" checked') == 1  # movement 2: only the first touched it
    assert html.count('value="mine" checked') == 1  # movement 4: only the second touched it
    assert "choose</span>" not in html
    assert answer.json()["theirs"]["mark-2"] == "6.5"
    assert answer.json()["version"] == 2


def test_two_who_typed_the_same_are_not_bothered(desk, second_desk, url, entry):
    desk.post(url, fields("7"))
    assert second_desk.post(url, fields("7")).status_code == 302
    assert sheet_of(entry).version == 1


def test_errors_of_course_that_both_changed_are_asked_about(desk, second_desk, url, entry):
    set_outcome(entry, expected_version=None, by=None, errors=1)
    answer = desk.post(url, fields("7", errors_base=0, errors="2"), headers=JSON)
    assert answer.status_code == 409
    assert "Errors of course" in answer.json()["html"]
    entry.refresh_from_db()
    assert entry.errors == 1
    assert not entry.sheets.exists()
    assert desk.post(url, fields("7", errors_base=1, errors="2"), headers=JSON).status_code == 200
    entry.refresh_from_db()
    assert entry.errors == 2


def test_errors_that_the_keyer_did_not_touch_stay_as_the_other_left_them(desk, url, entry):
    set_outcome(entry, expected_version=None, by=None, errors=1)
    answer = desk.post(url, fields("7", errors_base=0), headers=JSON)
    assert (answer.status_code, answer.json()["errors"]) == (200, 1)


@pytest.mark.parametrize("version", ["", "x", "-1", "99", "999999999999"])
def test_a_meddled_version_never_overwrites(desk, second_desk, url, entry, version):
    desk.post(url, fields("7"))
    response = second_desk.post(url, fields("6") | {"version": version}, headers=JSON)
    assert response.status_code == 409
    assert set(sheet_of(entry).marks.values()) == {70}


def test_whoever_opens_a_sheet_is_told_who_has_it_open_or_changed_it_just_now(desk, second_desk, url):
    desk.get(url)
    assert "Ottilie Brandmair has this sheet open as well" in second_desk.get(url).content.decode()
    desk.post(url, fields("7", then="ride"), headers=JSON)
    page = second_desk.get(url).content.decode()
    assert "has this sheet open as well" not in page
    assert "Ottilie Brandmair saved this sheet at" in page
    with time_machine.travel(timezone.now() + timedelta(minutes=11), tick=False):
        assert "Ottilie Brandmair saved this sheet at" not in second_desk.get(url).content.decode()


def test_the_state_of_a_sheet_tells_an_open_page_what_happened(desk, second_desk, url, competition):
    state = reverse("desk-sheet-state", args=[competition.slug, "1", "1", "C"])
    assert second_desk.get(state).json() == {"version": 0, "changed_by": "", "changed_at": "", "open_by": []}
    desk.get(url)
    desk.post(url, fields("7"))
    told = second_desk.get(state).json()
    assert (told["version"], told["changed_by"], told["open_by"]) == (1, "Ottilie Brandmair", ["Ottilie Brandmair"])


# Official results


def test_official_marks_are_kept_until_a_correction_is_open(desk, url, cls, entry):
    for other in cls.entries.all():
        for seat in "CB":
            mark_sheet(other, seat)
    make_official(cls, by=None, findings_reason="signed on paper")
    refused = desk.post(url, fields("8", version=1), headers=JSON)
    assert refused.status_code == 403
    assert "The results of class 1 are official" in refused.json()["problems"][0]["sentence"]
    page = desk.post(url, fields("8", version=1))
    assert 'name="mark-1" value="8"' in page.content.decode()
    start_correction(cls, by=None, reason="movement 3 was keyed wrongly")
    assert desk.post(url, fields("8", version=1), headers=JSON).status_code == 200
    revision = sheet_of(entry).revisions.last()
    assert (revision.reason, revision.source) == ("movement 3 was keyed wrongly", "desk")


def test_the_history_says_who_changed_what_when_from_where(desk, second_desk, url, entry, competition):
    desk.post(url, fields("7"))
    second_desk.post(url, fields("7", version=1, mark_2="65", remark_2="more bend"))
    page = desk.get(reverse("desk-sheet-history", args=[competition.slug, "1", "1", "C"])).content.decode()
    assert "Casper Wendt" in page
    assert "Office desk" in page
    assert "Mark, movement 2" in page
    assert page.index("<td>7.0</td><td>6.5</td>") < page.index("<td>nothing</td><td>7.0</td>")
    assert "more bend" in page


def test_remarks_are_escaped(desk, url, competition):
    desk.post(url, fields(remark_1="<b>bold</b>", overall="</textarea><i>"))
    for page in (url, reverse("desk-sheet-history", args=[competition.slug, "1", "1", "C"])):
        text = desk.get(page).content.decode()
        assert "<b>bold</b>" not in text
        assert "</textarea><i>" not in text
