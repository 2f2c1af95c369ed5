from __future__ import annotations

from datetime import time

import pytest
from django.urls import reverse

from competitions.desk.ridegaps import short_changes
from competitions.desk.views.order import moved
from competitions.services.entries import add_entry, set_outcome
from riders.models import Horse, Pair
from tests.builders import make_class, make_pair, mark_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def url(competition, cls):
    return reverse("desk-order", args=[competition.slug, "1"])


def numbers(cls) -> list[str]:
    return list(cls.entries.order_by("order").values_list("number", flat=True))


def ids(cls, *wanted: str) -> list[int]:
    by_number = dict(cls.entries.values_list("number", "pk"))
    return [by_number[number] for number in wanted]


def test_the_order_is_stored_as_sent_and_times_follow(desk, url, cls):
    assert desk.post(url, {"entry": ids(cls, "3", "1", "2")}).status_code == 302
    assert numbers(cls) == ["3", "1", "2"]
    page = desk.get(url).content.decode()
    assert page.index(">09:00<") < page.index(">09:08<") < page.index(">09:16<")


@pytest.mark.parametrize(("move", "expected"), [("up-3", ["1", "3", "2"]), ("down-1", ["2", "1", "3"])])
def test_one_button_moves_one_ride_without_script(desk, url, cls, move, expected):
    direction, number = move.split("-")
    move = f"{direction}-{ids(cls, number)[0]}"
    desk.post(url, {"entry": ids(cls, "1", "2", "3"), "move": move})
    assert numbers(cls) == expected


@pytest.mark.parametrize(
    ("move", "expected"),
    [("up-1", [1, 2, 3]), ("down-3", [1, 2, 3]), ("sideways-2", [1, 2, 3]), ("up-9", [1, 2, 3]), ("", [1, 2, 3]),
     ("up-x", [1, 2, 3]), ("up-2", [2, 1, 3])],
)  # fmt: skip
def test_moves_that_lead_nowhere_change_nothing(move, expected):
    assert moved([1, 2, 3], move) == expected


@pytest.mark.parametrize("sent", [[], ["1"], ["x", "y"], ["1", "1", "1"]])
def test_an_order_that_leaves_entries_out_is_refused(desk, url, cls, sent):
    response = desk.post(url, {"entry": sent})
    assert response.status_code == 409
    assert "must name every entry of the class once" in response.content.decode()
    assert numbers(cls) == ["1", "2", "3"]


def test_a_draw_is_kept_with_its_seed_and_can_be_repeated(desk, competition):
    cls = make_class(competition, number="2", entries=8)
    url = reverse("desk-draw", args=[competition.slug, "2"])
    desk.post(url, {"seed": "maple"})
    drawn = numbers(cls)
    desk.post(url, {"seed": "birch"})
    assert numbers(cls) != drawn
    desk.post(url, {"seed": "maple"})
    assert numbers(cls) == drawn
    page = desk.get(reverse("desk-order", args=[competition.slug, "2"])).content.decode()
    assert "seed maple" in page
    assert "seed birch" in page


def test_a_draw_without_a_seed_or_after_the_start_is_refused_in_words(desk, url, cls, competition):
    draw = reverse("desk-draw", args=[competition.slug, "1"])
    assert "A draw needs a seed." in desk.post(draw, {"seed": " "}, follow=True).content.decode()
    mark_sheet(cls.entries.get(number="1"))
    page = desk.post(draw, {"seed": "maple"}, follow=True).content.decode()
    assert "The class has started" in page


def test_breaks_stand_between_the_rides_they_part(desk, competition):
    make_class(competition, number="2", entries=3, breaks=[{"after": 2, "minutes": 15}])
    page = desk.get(reverse("desk-order", args=[competition.slug, "2"])).content.decode()
    assert page.index(">09:08<") < page.index("Break of 15 minutes") < page.index(">09:31<")


def test_a_rider_with_little_time_between_two_rides_is_pointed_out(desk, url, cls, competition):
    first = make_pair(1)
    other_horse = Horse.objects.create(name="Second String", registration="H77")
    pair = Pair.objects.create(rider=first.rider, horse=other_horse, key="second")
    late = make_class(competition, number="2", starts_at=time(9, 35))
    entry = add_entry(late, number="77", pair=pair, by=None)
    (found,) = short_changes(competition)
    assert found.minutes == 35
    sentence = "Rider 1 rides number 1 in class 1 at 09:00 and number 77 in class 2 at 09:35: 35 minutes"
    assert sentence in desk.get(url).content.decode()
    assert "with a change of horse" in found.sentence
    set_outcome(entry, expected_version=None, by=None, status="withdrawn")
    assert short_changes(competition) == []


def test_the_same_horse_needs_half_an_hour(competition):
    make_class(competition, number="1", entries=1)
    second = make_class(competition, number="2", starts_at=time(9, 30))
    add_entry(second, number="5", pair=make_pair(1), by=None)
    assert short_changes(competition) == []
    third = make_class(competition, number="3", starts_at=time(9, 59))
    add_entry(third, number="5", pair=make_pair(1), by=None)
    assert [change.minutes for change in short_changes(competition)] == [29]
