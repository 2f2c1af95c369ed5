from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.test import Client

from competitions.models import Competition, Judge
from competitions.public.competitions import PAST_ON_A_PAGE
from competitions.services.entries import set_in_ring
from competitions.services.results import make_official
from tests.builders import make_association, make_class, make_competition, make_user, mark_sheet

pytestmark = pytest.mark.django_db


def section(page: str, name: str) -> str:
    return page.partition(f'id="{name}">')[2].partition("</section>")[0]


def competition(slug: str, starts_on: date, ends_on: date, **fields) -> Competition:
    return make_competition(slug, title=f"Show {slug}", starts_on=starts_on, ends_on=ends_on, **fields)


@time_machine.travel(datetime(2026, 11, 14, 12, tzinfo=UTC), tick=False)
def test_competitions_are_sorted_into_now_coming_and_past(client: Client):
    competition("a", date(2026, 11, 13), date(2026, 11, 14))
    competition("b", date(2026, 11, 15), date(2026, 11, 15))
    competition("c", date(2026, 11, 12), date(2026, 11, 13))
    page = client.get("/").content.decode()
    assert "Show a" in section(page, "now")
    assert "Show b" in section(page, "coming")
    assert "Show c" in section(page, "past")
    assert page.count("Show a") == page.count("Show b") == page.count("Show c") == 1


def test_the_day_is_that_of_the_venue(client: Client):
    competition("east", date(2026, 11, 15), date(2026, 11, 15), time_zone="Pacific/Auckland")
    competition("west", date(2026, 11, 14), date(2026, 11, 14), time_zone="America/Los_Angeles")
    with time_machine.travel(datetime(2026, 11, 14, 12, tzinfo=UTC), tick=False):  # 15 November in Auckland
        page = client.get("/").content.decode()
        assert "Show east" in section(page, "now")
        assert "Show west" in section(page, "now")
    with time_machine.travel(datetime(2026, 11, 15, 9, tzinfo=UTC), tick=False):  # 14 November in Los Angeles
        page = client.get("/").content.decode()
        assert "Show west" not in section(page, "now")
    with time_machine.travel(datetime(2026, 11, 15, 7, tzinfo=UTC), tick=False):
        assert "Show west" in section(client.get("/").content.decode(), "now")


def test_only_the_office_and_the_judges_know_of_a_planned_competition(client: Client):
    office, judge, other = make_user("office"), make_user("judge"), make_user("other")
    planned = make_competition(office=office, state=Competition.State.PLANNED)
    make_class(planned, judges={"C": Judge.objects.create(name="Judge C", user=judge)})
    for user, status in ((None, 404), (other, 404), (office, 200), (judge, 200)):
        client.logout()
        if user is not None:
            client.force_login(user)
        assert ("Linden Autumn Days" in client.get("/").content.decode()) == (status == 200)
        for path in ("", "1/", "1/rows/", "1/running-order/"):
            assert client.get(f"/competitions/linden-autumn/{path}").status_code == status, (user, path)


def test_past_competitions_come_in_pages(client: Client):
    for n in range(PAST_ON_A_PAGE + 2):
        competition(f"old-{n:02}", date(2020, 1, 1), date(2020, 1, 2))
    assert client.get("/").content.decode().count("Show old-") == PAST_ON_A_PAGE
    assert client.get("/?page=2").content.decode().count("Show old-") == 2
    assert client.get("/?page=nonsense").status_code == 200


def test_classes_stand_by_day_with_the_word_for_how_far_they_are(client: Client):
    show = make_competition(association=make_association(), recognised=True)
    make_class(show, number="1", entries=1, date=date(2026, 11, 15))
    live = make_class(show, number="2", entries=1)
    provisional = make_class(show, number="3", entries=1, starts_at=None)
    official = make_class(show, number="4", entries=1, arena="B")
    set_in_ring(live, entry=live.entries.get(), by=None)
    for competition_class in (provisional, official):
        mark_sheet(competition_class.entries.get(), mark=60)
    make_official(official, by=None)
    page = client.get("/competitions/linden-autumn/").content.decode()
    assert page.index("Saturday, 14 November 2026") < page.index("Class 4") < page.index("Sunday, 15 November 2026")
    assert page.index("Sunday, 15 November 2026") < page.index("Class 1")
    for number, word in (("1", "to come"), ("2", "in the ring now"), ("3", "provisional"), ("4", "official")):
        line = page.partition(f"Class {number}:")[2].partition("</li>")[0]
        assert f">{word}</span>" in line
    assert "Linden Dressage Association" in page


def test_the_desk_is_offered_to_the_office_only(client: Client):
    office = make_user("office")
    make_competition(office=office)
    assert "Office desk" not in client.get("/competitions/linden-autumn/").content.decode()
    client.force_login(make_user("other"))
    assert "Office desk" not in client.get("/competitions/linden-autumn/").content.decode()
    client.force_login(office)
    assert "/desk/linden-autumn/" in client.get("/competitions/linden-autumn/").content.decode()


def test_queries_do_not_grow_with_competitions_or_classes(client: Client, django_assert_max_num_queries):
    def queries_of(path: str) -> int:
        with django_assert_max_num_queries(20) as counted:
            assert client.get(path).status_code == 200
        return len(counted)

    few = competition("few", date(2026, 11, 14), date(2026, 11, 15))
    make_class(few, entries=1)
    home_before, page_before = queries_of("/"), queries_of("/competitions/few/")
    for n in range(2, 8):
        make_class(few, number=str(n), entries=2)
        competition(f"more-{n}", date(2030, 1, n), date(2030, 1, n))
    assert (queries_of("/"), queries_of("/competitions/few/")) == (home_before, page_before)


@pytest.mark.parametrize("method", ["post", "put", "delete"])
@pytest.mark.parametrize("path", ["/", "/competitions/linden-autumn/", "/competitions/linden-autumn/1/"])
def test_public_pages_are_for_reading_only(client: Client, method: str, path: str):
    make_class()
    assert getattr(client, method)(path).status_code == 405


@pytest.mark.parametrize(
    "path",
    [
        "/competitions/none/",
        "/competitions/linden-autumn/9/",
        "/competitions/linden-autumn/9/rows/",
        "/competitions/linden-autumn/9/running-order/",
        "/competitions/linden-autumn/1/99/",
        "/competitions/linden-autumn/1/99/sheets/",
        "/rule-sets/none/",
        "/tests/none/",
    ],
)
def test_what_does_not_exist_is_not_found_and_says_so_in_a_sentence(client: Client, path: str):
    make_class(entries=1)
    answer = client.get(path)
    assert answer.status_code == 404
    assert "Nothing is shown at this address." in answer.content.decode()
