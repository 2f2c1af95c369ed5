"""A judge's marks beside the panel's: worked by hand, and for this judge alone."""

from __future__ import annotations

import pytest
from django.urls import reverse

from competitions.selectors.comparison import panel_comparison
from competitions.services.results import make_official
from tests.builders import make_class, make_competition, make_user, mark_sheet
from tests.competitions.table.conftest import client_of

pytestmark = pytest.mark.django_db
PAGE = ["linden-autumn", "1", "C"]


@pytest.fixture
def judged(office, judge, colleague):
    """Three seats, two rides. C gives 7 and 6 for movement 1; B 6.5 and 6, E 6 and 7.5. All else is 6.5."""
    judges = {"C": judge.judge, "B": colleague.judge}
    cls = make_class(make_competition(office=office), seats="CBE", entries=2, judges=judges)
    first = {"1": {"C": 70, "B": 65, "E": 60}, "2": {"C": 60, "B": 60, "E": 75}}
    for number, by_seat in first.items():
        for seat, mark in by_seat.items():
            marks = dict.fromkeys(["2", "3", "4", "G1", "G2"], 65) | {"1": mark}
            mark_sheet(cls.entries.get(number=number), seat, marks=marks)
    return cls


@pytest.fixture
def official(judged):
    make_official(judged, by=None, findings_reason="looked at")
    return judged


def test_differences_by_movement_and_by_ride(judged):
    found = panel_comparison(judged.seats.get(seat="C"))
    first = found.items[0]
    # own 7, 6; panel (6.5 + 6) / 2 = 6.25 and (6 + 7.5) / 2 = 6.75; differences +0.75 and -0.75; spreads 1 and 1.5
    assert (first.own, first.panel, first.difference, first.furthest, first.spread) == (
        "6.50",
        "6.50",
        "0.00",
        "+0.75",
        "1.25",
    )
    assert (first.rides, found.others) == (2, 2)
    assert {item.difference for item in found.items[1:]} == {"0.00"}
    # one of six items differs by 0.75: 0.75 / 6 = 0.125, half up 0.13
    assert [(ride.number, ride.difference, ride.furthest_at) for ride in found.rides] == [
        ("1", "+0.13", "movement 1"),
        ("2", "-0.13", "movement 1"),
    ]


def test_a_substitute_is_nobodys_mark(judged):
    entry = judged.entries.get(number="1")
    mark_sheet(entry, "E", marks={"1": 60}, substitutes=["1"])
    first = panel_comparison(judged.seats.get(seat="C")).items[0]
    # the panel of ride 1 is B alone: 6.5; mean of 6.5 and 6.75 is 6.625
    assert first.panel == "6.63"


def test_it_is_shown_to_this_judge_alone_once_official(official, judge, colleague, office):
    page = client_of(judge).get(reverse("table-panel", args=PAGE))
    assert page.status_code == 200
    assert "Only you see this page." in page.content.decode()
    for other in (colleague, office, make_user("staff", is_staff=True)):
        assert client_of(other).get(reverse("table-panel", args=PAGE)).status_code == 404


def test_before_the_results_are_official_there_is_nothing(judged, judge):
    assert client_of(judge).get(reverse("table-panel", args=PAGE)).status_code == 404


def test_nobody_sees_it_without_logging_in(official, client):
    assert client.get(reverse("table-panel", args=PAGE)).status_code == 302
