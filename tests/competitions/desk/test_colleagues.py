"""The people of an office and the accounts of its judges, and the histories of a competition and its classes."""

from __future__ import annotations

from datetime import time
from html import unescape

import pytest
from django.urls import reverse

from competitions.models import CompetitionClass
from competitions.services.classes import update_class, update_competition
from competitions.services.documents import save_test
from competitions.services.entries import remove_entry, set_running_order
from competitions.services.team_rules import set_team_rules
from riders.models import Association
from tests.builders import make_class, make_competition, make_test_document, make_user
from tests.competitions.desk.test_differences import text

pytestmark = pytest.mark.django_db

PAGE = reverse("desk-colleagues", args=["linden-autumn"])
HISTORY = reverse("desk-competition-history", args=["linden-autumn"])


def test_a_colleague_is_added_and_removed(desk, competition, cls):
    make_user("casper", first_name="Casper", last_name="Wendt")
    page = desk.post(PAGE, {"do": "add", "account": "casper"}, follow=True).content.decode()
    assert "Casper Wendt works in this office now." in page
    page = desk.post(PAGE, {"do": "remove", "account": "casper"}, follow=True).content.decode()
    assert "Casper Wendt does not work in this office any more." in page
    assert "the last one stays" in page


def test_an_unknown_name_is_said_and_stays_in_its_field(desk, cls):
    response = desk.post(PAGE, {"do": "add", "account": "<capser>"})
    assert response.status_code == 422
    page = response.content.decode()
    assert "There is no account &quot;&lt;capser&gt;&quot;. Check the spelling" in page
    assert 'value="&lt;capser&gt;"' in page


def test_who_removes_themselves_leaves_the_desk_of_this_competition(desk, office, competition):
    make_competition("another", office=office)
    competition.office_roles.create(user=make_user("casper"))
    response = desk.post(PAGE, {"do": "remove", "account": "office"}, follow=True)
    assert response.redirect_chain[-1][0] == reverse("desk")
    assert "does not work in this office any more" in response.content.decode()
    assert desk.get(PAGE).status_code == 403


def test_the_last_one_cannot_be_removed_by_a_form_that_was_left_open(desk, cls):
    response = desk.post(PAGE, {"do": "remove", "account": "office"})
    assert response.status_code == 422
    assert "is the last person of this office" in response.content.decode()


def test_a_judge_gets_an_account(desk, cls):
    seat = cls.seats.select_related("judge").get(seat="C")
    make_user("solstrand")
    page = desk.get(PAGE).content.decode()
    assert "class 1 at C" in page
    page = desk.post(PAGE, {"do": "link", "judge": seat.judge.pk, "account": "solstrand"}, follow=True).content.decode()
    assert "Ingvild Solstrand logs in as solstrand" in page
    response = desk.post(PAGE, {"do": "link", "judge": seat.judge.pk, "account": "solstrnd"})
    page = response.content.decode()
    assert response.status_code == 422
    assert 'value="solstrnd" aria-invalid="true"' in page
    page = desk.post(PAGE, {"do": "link", "judge": seat.judge.pk, "account": ""}, follow=True).content.decode()
    assert "Ingvild Solstrand has no account here any more." in page


@pytest.mark.parametrize("judge", ["", "nonsense", "-1", "9" * 40, "0"])
def test_nonsense_for_a_judge_is_refused(desk, cls, judge):
    response = desk.post(PAGE, {"do": "link", "judge": judge, "account": "office"})
    assert response.status_code == 422
    assert "This judge is on no panel" in response.content.decode()


def test_a_judge_of_another_office_too_has_no_field_here(desk, cls):
    judge = cls.seats.get(seat="C").judge
    make_class(make_competition("elsewhere", office=make_user("stranger")), judges={"C": judge})
    page = desk.get(PAGE).content.decode()
    assert "logs in as judge; also judges for another office" in page
    response = desk.post(PAGE, {"do": "link", "judge": judge.pk, "account": ""})
    assert response.status_code == 422
    assert "Ask the administrators" in response.content.decode()


def test_the_history_of_a_competition_says_what_was_there_before(desk, office, competition, cls):
    association = Association.objects.create(slug="linden", title="Linden Dressage Association")
    update_competition(
        competition,
        expected_version=competition.version,
        by=office,
        title="Linden Late Autumn",
        association=association,
        recognised=True,
        starts_on="2026-11-13",
        movement_limit="",
    )
    make_user("casper")
    desk.post(PAGE, {"do": "add", "account": "casper"})
    judge = cls.seats.get(seat="C").judge
    desk.post(PAGE, {"do": "link", "judge": judge.pk, "account": "casper"})
    said = text(desk.get(HISTORY).content.decode())
    for wanted in (
        "Set up , ",
        "Linden Autumn Days, Lindenhof, 14 November 2026 to 15 November 2026.",
        "Title Linden Autumn Days Linden Late Autumn",
        "Association nothing Linden Dressage Association",
        "Recognised no yes",
        "First day 14 November 2026 13 November 2026",
        "Marks may differ by 2 nothing",
        "Account casper not in it in the office",
        "Ingvild Solstrand logs in as judge casper",
        "Ottilie Brandmair",
        "Class 1: Novice",
    ):
        assert wanted in said, wanted
    assert "{" not in said


def test_the_history_of_a_class_is_in_words(desk, office, cls):
    cls = CompetitionClass.objects.get(pk=cls.pk)
    other = save_test(make_test_document(id="linden-novice-2", title="Linden Novice 2"))
    seats = {seat.seat: seat for seat in cls.seats.all()}
    update_class(
        cls,
        expected_version=None,
        by=office,
        test=other,
        starts_at=time(10, 30),
        interval_seconds=450,
        breaks=[{"after": 2, "minutes": 15}],
        panel=[{"seat": "B", "judge": seats["C"].judge}, {"seat": "E", "judge": None, "parts": []}],
    )
    cls = CompetitionClass.objects.get(pk=cls.pk)
    set_team_rules(cls, {"counting": 3, "method": "sum", "of": "percentage", "drop_out": "25"}, by=office)
    one, two, three = (cls.entries.get(number=number) for number in "123")
    set_running_order(cls, entry_ids=[three.pk, one.pk, two.pk], by=office)
    remove_entry(two, by=office)
    page = desk.get(reverse("desk-results-history", args=["linden-autumn", "1"])).content.decode()
    said = text(page)
    for wanted in (
        "Class 1: Novice, Linden Novice 1, House rules, 14 November 2026, first ride at 09:00.",
        "Panel: C, Ingvild Solstrand; B, no judge named.",
        "Test Linden Novice 1 Linden Novice 2",
        "First ride at 09:00 10:30",
        "Time from ride to ride 8 minutes 7 minutes 30 seconds",
        "Breaks nothing 15 minutes after ride 2",
        "Seat B no judge named Ingvild Solstrand",
        "Seat E no such seat no judge named",
        "Seat C Ingvild Solstrand no such seat",
        "Teams nothing best 3 of each team, their sum, of total percentages; a member without a total counts with 25",
        "Order of the rides 1, 2, 3 3, 1, 2",
        "Number 2, Rider 2 with Horse 2, was taken out.",
    ):
        assert wanted in said, wanted
    assert "interval_seconds" not in page
    assert "{" not in unescape(said)
