"""What a judge opens of the own comparison: to whom, what it shows, and that it ends when it is taken back."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from competitions.models import Judge, PanelShare
from competitions.services.results import make_official, start_correction
from tests.builders import make_class, make_competition, make_user, mark_sheet
from tests.competitions.table.conftest import client_of

pytestmark = pytest.mark.django_db
PAGE = reverse("table-panel", args=["linden-autumn", "1", "C"])


@pytest.fixture
def official(office, judge, colleague):
    judges = {"C": judge.judge, "B": colleague.judge}
    cls = make_class(make_competition(office=office), seats="CB", entries=3, judges=judges)
    for entry in cls.entries.all():
        mark_sheet(entry, "C", marks=dict.fromkeys(["1", "2", "3", "4", "G1", "G2"], 70))
        mark_sheet(entry, "B", marks=dict.fromkeys(["1", "2", "3", "4", "G1", "G2"], 65))
    make_official(cls, by=None, findings_reason="looked at")
    return cls


@pytest.fixture
def mentor():
    return make_user("mentor", first_name="Marit", last_name="Aasen")


def _link(page: str) -> str:
    begin = page.index("/table/shared/")
    return page[begin : page.index("<", begin)]


def test_a_link_shows_means_by_movement_without_anybody_else(official, judge):
    address = _link(client_of(judge).post(PAGE, {"kind": "link"}).content.decode())
    response = Client().get(address)
    page = response.content.decode()
    assert response.status_code == 200
    # by hand: 7.0 against 6.5 in every ride
    assert "+0.50" in page
    assert "Ingvild Solstrand" in page
    assert not [name for name in ("Rider 1", "Horse 1", "Vesely", "Furthest") if name in page]
    assert "no-store" in response["Cache-Control"]
    assert response["X-Robots-Tag"] == "noindex, nofollow"
    assert address.split("/")[-2] not in str(list(PanelShare.objects.values()))


def test_a_link_ends_when_it_is_taken_back(official, judge, colleague):
    client = client_of(judge)
    address = _link(client.post(PAGE, {"kind": "link"}).content.decode())
    share = PanelShare.objects.get()
    back = reverse("table-share-back", args=[share.pk])
    assert client_of(colleague).post(back).status_code == 404
    assert Client().get(address).status_code == 200
    assert client.post(back).status_code == 302
    assert client.post(back).status_code == 302
    assert Client().get(address).status_code == 404
    assert "Nobody, not the office either." in client.get(PAGE).content.decode()


def test_a_link_holds_only_while_the_judge_sees_it_too(official, judge, colleague, office):
    address = _link(client_of(judge).post(PAGE, {"kind": "link"}).content.decode())
    start_correction(official, by=office, reason="typing error")
    assert Client().get(address).status_code == 404
    make_official(official, by=office, findings_reason="looked at")
    assert Client().get(address).status_code == 200
    Judge.objects.filter(user=judge).update(user=None)
    assert Client().get(address).status_code == 404


def test_an_account_sees_it_and_no_other(official, judge, colleague, mentor, office):
    client = client_of(judge)
    assert client.post(PAGE, {"kind": "account", "account": "Mentor"}).status_code == 302
    assert client.post(PAGE, {"kind": "account", "account": "mentor"}).status_code == 302
    share = PanelShare.objects.get()
    address = reverse("table-shared-with-me", args=[share.pk])
    assert client_of(mentor).get(address).status_code == 200
    assert address in client_of(mentor).get(reverse("table-judging")).content.decode()
    for other in (colleague, office, judge):
        assert client_of(other).get(address).status_code == 404
    assert Client().get(address).status_code == 302
    client.post(reverse("table-share-back", args=[share.pk]))
    assert client_of(mentor).get(address).status_code == 404
    assert client.post(PAGE, {"kind": "account", "account": "mentor"}).status_code == 302
    assert PanelShare.objects.count() == 2


@pytest.mark.parametrize("account", ["", "nobody", "judge", "x" * 500, "a\x00b", "<b>"])
def test_an_account_that_cannot_be_meant_is_refused_in_a_sentence_and_stays_in_the_field(official, judge, account):
    response = client_of(judge).post(PAGE, {"kind": "account", "account": account})
    assert response.status_code == 422
    assert "field-error" in response.content.decode()
    assert not PanelShare.objects.exists()


def test_only_the_judge_of_the_seat_shares(official, colleague, office):
    for other in (colleague, office, make_user("staff", is_staff=True)):
        assert client_of(other).post(PAGE, {"kind": "link"}).status_code == 404
    assert not PanelShare.objects.exists()


def test_more_shares_than_anyone_needs_are_refused(official, judge):
    client = client_of(judge)
    answers = [client.post(PAGE, {"kind": "link"}).status_code for _ in range(21)]
    assert answers == [200] * 20 + [422]


@pytest.mark.parametrize("link", ["x", "a" * 500, "%00", "..", "1"])
def test_a_link_that_nobody_made_leads_nowhere(official, link):
    assert Client().get(f"/table/shared/{link}/").status_code == 404


@pytest.mark.parametrize("pk", ["0", "99999999999999999999999"])
def test_shares_that_are_not_there(official, judge, pk):
    assert client_of(judge).get(f"/table/shared-with-me/{pk}/").status_code == 404
    assert client_of(judge).post(f"/table/shares/{pk}/back/").status_code == 404


def test_movements_of_fewer_than_three_rides_are_not_shown_to_others(office, judge, colleague):
    judges = {"C": judge.judge, "B": colleague.judge}
    cls = make_class(make_competition(office=office), seats="CB", entries=2, judges=judges)
    for entry in cls.entries.all():
        for seat in "CB":
            mark_sheet(entry, seat, mark=65)
    make_official(cls, by=None, findings_reason="looked at")
    address = _link(client_of(judge).post(PAGE, {"kind": "link"}).content.decode())
    page = Client().get(address).content.decode()
    assert "nothing is shown" in page
    assert "6.50" not in page


def test_the_own_view_lists_what_is_to_finish_and_what_is_compared(official, judge, office, colleague):
    other = make_class(official.competition, number="2", seats="C", entries=2, judges={"C": judge.judge})
    mark_sheet(other.entries.get(number="1"), "C", signed=True)
    page = client_of(judge).get(reverse("table-judging")).content.decode()
    assert "1 of 2 signed" in page
    assert "+0.50" in page
    assert PAGE in page
    assert client_of(office).get(reverse("table-judging")).content.decode().count("+0.50") == 0
    assert Client().get(reverse("table-judging")).status_code == 302
    mark_sheet(other.entries.get(number="2"), "C", signed=True)
    assert (
        "every sheet of your open classes is signed" in client_of(judge).get(reverse("table-judging")).content.decode()
    )
