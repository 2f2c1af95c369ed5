"""Keying a sheet twice at the desk: blind, side by side, and what everyone is told."""

from __future__ import annotations

import pytest
from django.urls import reverse

from competitions.models import FirstKeyingSeen, SecondKeying
from competitions.services.classes import update_class
from competitions.services.keyings import choose_sheets
from competitions.services.results import make_official
from tests.builders import mark_sheet

pytestmark = pytest.mark.django_db

ITEMS = ("1", "2", "3", "4", "G1", "G2")
AGAIN = reverse("desk-key-again", args=["linden-autumn", "1", "1", "C"])
SHEET = reverse("desk-sheet", args=["linden-autumn", "1", "1", "C"])
COMPARED = reverse("desk-keyings-compared", args=["linden-autumn", "1", "1", "C"])
LIST = reverse("desk-keyings", args=["linden-autumn", "1"])


@pytest.fixture
def once(cls, office):
    """Class 1, of which all sheets are keyed twice, with sheet C of number 1 keyed once by the office."""
    update_class(cls, expected_version=None, by=None, second_keying="all")
    mark_sheet(cls.entries.get(number="1"), by=office, marks=dict.fromkeys(ITEMS, 65), signed=True, typed_total="52")
    cls.refresh_from_db()
    return cls


def typed(mark="65", **fields):
    values = {f"mark-{item}": mark for item in ITEMS}
    return values | {"total": "52", "signed": "1", "version": "0", "then": "ride"} | fields


def page(client, url):
    return client.get(url, follow=True).content.decode()


def test_the_second_keyer_sees_nothing_of_the_first_keying(once, second_desk):
    response = second_desk.get(SHEET)
    assert (response.status_code, response["Location"]) == (302, AGAIN)
    shown = second_desk.get(AGAIN).content.decode()
    assert 'value="6.5"' not in shown
    assert 'value="52"' not in shown
    assert 'name="signed" value="1">' in shown
    history = reverse("desk-sheet-history", args=["linden-autumn", "1", "1", "C"])
    assert second_desk.get(history)["Location"] == AGAIN


def test_the_first_keyer_is_told_that_someone_else_has_to_key_it(once, desk):
    shown = page(desk, AGAIN)
    assert "the second keying has to be someone else&#x27;s" in shown
    assert "waits for its second keying by someone else" in shown
    response = desk.post(AGAIN, typed())
    assert response.status_code == 403
    assert "someone else&#x27;s" in response.content.decode()
    assert not SecondKeying.objects.exists()


def test_who_opens_the_first_keying_cannot_key_it_blind_any_more(once, second_desk):
    first = reverse("desk-first-keying", args=["linden-autumn", "1", "1", "C"])
    assert second_desk.get(first).status_code == 405
    shown = second_desk.post(first, follow=True).content.decode()
    assert 'value="6.5"' in shown
    assert FirstKeyingSeen.objects.count() == 1
    second_desk.post(first)
    assert FirstKeyingSeen.objects.count() == 1
    assert second_desk.post(AGAIN, typed()).status_code == 403


def test_two_that_agree_make_the_sheet_final_and_the_pile_goes_on(once, second_desk, desk, office):
    mark_sheet(once.entries.get(number="2"), by=office)
    response = second_desk.post(AGAIN, typed())
    assert response["Location"] == AGAIN.replace("/1/C/again", "/2/C/again")
    assert "Both keyings agree: the sheet is final." in page(second_desk, LIST)
    assert "Keyed twice and final" in page(desk, SHEET)


def test_scripts_get_an_answer_that_leads_on(once, second_desk):
    answer = second_desk.post(AGAIN, typed(), headers={"Accept": "application/json"}).json()
    assert answer["next"] == LIST
    assert answer["version"] == SecondKeying.objects.get().pk
    again = second_desk.post(AGAIN, typed(), headers={"Accept": "application/json"})
    assert again.status_code == 403
    assert "a second time already" in again.json()["problems"][0]["sentence"]


def test_of_two_at_once_the_later_is_told_and_may_insist(once, second_desk, people):
    second_desk.post(AGAIN, typed())
    answer = people["staff"].post(AGAIN, typed("70"), headers={"Accept": "application/json"})
    assert answer.status_code == 409
    assert "Casper Wendt has keyed this sheet a second time meanwhile" in answer.json()["problems"][0]["sentence"]
    version = str(answer.json()["version"])
    assert people["staff"].post(AGAIN, typed("70", version=version))["Location"] == COMPARED
    assert SecondKeying.objects.count() == 2


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"mark-1": "10,3"}, "not a step of 0.5"),
        ({"mark-1": "x" * 5000}, "is not a mark"),
        ({"deducted": "two"}, "&quot;two&quot; is not a number"),
        ({"deducted-percent": "-1"}, "&quot;-1&quot; is not a number"),
        ({"errors": "many"}, "is not a number of errors of course"),
        ({"given": "67", "given_kind": "percentage"}, "Clear the marks, or clear the result here"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_typed_is_lost(once, second_desk, fields, says):
    response = second_desk.post(AGAIN, typed(**fields))
    shown = response.content.decode()
    assert response.status_code == 422
    assert says in shown
    assert 'id="mark-2" name="mark-2" value="65"' in shown
    assert not SecondKeying.objects.exists()


@pytest.mark.parametrize("version", ["", "x", "-1", "9" * 40, "\x00", "²"])
def test_a_version_that_is_none_counts_as_none(once, second_desk, version):
    assert second_desk.post(AGAIN, typed(version=version)).status_code == 302


def test_differences_are_side_by_side_and_decided_with_a_reason(once, second_desk, desk):
    response = second_desk.post(AGAIN, typed(**{"mark-1": "7", "mark-2": "6", "errors": "1"}))
    assert response["Location"] == COMPARED
    shown = page(desk, COMPARED)
    for words in ("Mark, movement 1", "6.5", "7.0", "Errors of course", "Casper Wendt", "Ottilie Brandmair"):
        assert words in shown
    keying = str(SecondKeying.objects.get().pk)
    rows = {
        "keying": keying,
        "field": ["mark.1", "mark.2", "errors"],
        "first-mark.1": "6.5",
        "second-mark.1": "7.0",
        "choice-mark.1": "second",
        "first-mark.2": "6.5",
        "second-mark.2": "6.0",
        "choice-mark.2": "other",
        "other-mark.2": "10.3",
        "first-errors": "0",
        "second-errors": "1",
    }
    refused = desk.post(COMPARED, rows)
    assert refused.status_code == 422
    assert "say why the paper is to be read so" in refused.content.decode()
    assert 'value="10.3"' in refused.content.decode()
    rows |= {"other-mark.2": "55", "reason-all": "read again"}
    assert desk.post(COMPARED, rows)["Location"] == COMPARED
    sheet = once.entries.get(number="1").sheets.get()
    assert (sheet.marks["1"], sheet.marks["2"]) == (70, 55)
    assert "1 left." in page(desk, COMPARED)
    rows |= {"choice-errors": "first", "field": ["errors"]}
    desk.post(COMPARED, rows)
    shown = page(desk, COMPARED)
    assert "Both keyings agree, or what differed is decided." in shown
    assert "read again" in shown
    history = page(desk, reverse("desk-sheet-history", args=["linden-autumn", "1", "1", "C"]))
    assert "Keyings compared" in history
    assert "Second keying" in history


def test_a_comparison_that_is_old_is_shown_again(once, second_desk, desk):
    second_desk.post(AGAIN, typed(**{"mark-1": "7"}))
    mark_sheet(once.entries.get(number="1"), marks={"1": 75})
    rows = {"keying": str(SecondKeying.objects.get().pk), "field": "mark.1", "choice-mark.1": "second"}
    rows |= {"first-mark.1": "6.5", "second-mark.1": "7.0", "reason-mark.1": "clear"}
    response = desk.post(COMPARED, rows)
    assert response.status_code == 409
    assert "has changed since you looked" in response.content.decode()
    assert "7.5" in response.content.decode()


def test_the_list_the_desk_and_the_checks_say_what_waits(once, second_desk, desk):
    desk_page = page(desk, reverse("desk-class", args=["linden-autumn", "1"]))
    assert "to be keyed again" in desk_page
    assert "counting provisionally until keyed" in desk_page
    assert "for someone else" in page(desk, LIST)
    assert "1 sheet: 1 waiting for a second keying, 0 to be decided, 0 final." in page(desk, LIST)
    assert "to be keyed again" in page(desk, reverse("desk-entry", args=["linden-autumn", "1", "1"]))
    assert f'href="{AGAIN}"' in page(second_desk, LIST)
    mark_sheet(once.entries.get(number="1"), "B", by=None)
    checks = page(desk, reverse("desk-official", args=["linden-autumn", "1"]))
    assert "waits for its second keying by another person" in checks
    second_desk.post(AGAIN, typed(**{"mark-1": "7"}))
    assert "two keyings differ" in page(desk, reverse("desk-class", args=["linden-autumn", "1"]))
    assert COMPARED in page(desk, reverse("desk-differences", args=["linden-autumn", "1"]))


def test_sheets_are_chosen_where_the_class_says_so(once, desk, second_desk):
    update_class(once, expected_version=None, by=None, second_keying="chosen")
    entry, seat = once.entries.get(number="1"), once.seats.get(seat="C")
    assert "No sheet is to be keyed twice yet." in page(desk, LIST)
    assert desk.post(LIST, {"sheet": f"{entry.pk}-{seat.pk}"}).status_code == 302
    assert f'value="{entry.pk}-{seat.pk}" checked' in page(desk, LIST)
    assert f'href="{AGAIN}"' in page(second_desk, LIST)
    for nonsense in ("", "x", "1-", "-1", "9" * 30 + "-1", "1-2-3", "²-1"):
        assert desk.post(LIST, {"sheet": nonsense}).status_code == 422
    assert desk.post(LIST, {}).status_code == 302
    assert "No sheet is to be keyed twice yet." in page(desk, LIST)


def test_the_file_holds_every_difference(once, second_desk, desk):
    second_desk.post(AGAIN, typed(**{"mark-1": "7", "mark-2": "6"}))
    rows = {"keying": str(SecondKeying.objects.get().pk), "field": "mark.1", "choice-mark.1": "second"}
    rows |= {"first-mark.1": "6.5", "second-mark.1": "7.0", "reason-mark.1": "=clear"}
    desk.post(COMPARED, rows)
    response = desk.get(reverse("desk-keyings-file", args=["linden-autumn", "1"]))
    lines = response.getvalue().decode().splitlines()
    assert lines[0].startswith("class,number,rider,horse,seat,field,what,first,second,state,value,reason")
    assert lines[1].startswith('1,1,Rider 1,Horse 1,C,mark.1,"Mark, movement 1",6.5,7.0,decided,7.0,\'=clear,')
    assert lines[2].startswith('1,1,Rider 1,Horse 1,C,mark.2,"Mark, movement 2",6.5,6.0,open,,')


def test_official_results_are_not_keyed_again(once, second_desk, desk):
    for entry in once.entries.exclude(number="1"):
        entry.status = "withdrawn"
        entry.save()
    mark_sheet(once.entries.get(number="1"), "B", by=None)
    make_official(once, by=None, findings_reason="nobody else is there")
    response = second_desk.post(AGAIN, typed())
    assert response.status_code == 403
    assert "are official" in response.content.decode()
    with pytest.raises(Exception, match="are official"):
        choose_sheets(once, places=set(), by=None)


def test_the_setting_is_on_both_forms_and_in_the_histories(once, desk, competition):
    form = page(desk, reverse("desk-class-edit", args=["linden-autumn", "1"]))
    assert '<option value="all" selected>all sheets</option>' in form
    assert "Sheets of paper keyed twice" in page(desk, reverse("desk-competition-edit", args=["linden-autumn"]))
    history = page(desk, reverse("desk-results-history", args=["linden-autumn", "1"]))
    assert "Sheets of paper keyed twice" in history
