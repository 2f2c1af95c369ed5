from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.test import Client

from competitions.models import Judge
from competitions.services.results import make_official
from tests.builders import make_association, make_class, make_competition, make_pair, make_season, make_user, mark_sheet

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_the_show")]


@pytest.fixture
def at_the_show():
    with time_machine.travel(datetime(2026, 11, 14, 7, tzinfo=UTC), tick=False):
        yield


def test_one_has_to_log_in(client: Client):
    answer = client.get("/me/")
    assert answer.status_code == 302
    assert answer.headers["Location"] == "/login/?next=/me/"


def test_a_rider_finds_rides_pairs_what_is_missing_and_released_sheets(client: Client):
    rider = make_user("rider")
    make_pair(1, user=rider)
    season = make_season()
    show = make_competition()
    ridden = make_class(show, number="1", entries=2)
    make_class(show, number="2", title="Second", entries=2)
    mark_sheet(ridden.entries.get(number="1"), mark=60)
    mark_sheet(ridden.entries.get(number="2"), mark=70)
    client.force_login(rider)
    page = client.get("/me/").content.decode()
    assert "Class 2: Second" in page.partition("My next rides")[2].partition("</section>")[0]
    assert "None yet." in page
    make_official(ridden, by=None)
    page = client.get("/me/").content.decode()
    released = page.partition("Sheets released to me")[2].partition("</section>")[0]
    assert "/competitions/linden-autumn/1/1/sheets/" in released
    assert "60.000" in released
    assert "/1/2/sheets/" not in page
    pairs = page.partition("My pairs")[2].partition("</section>")[0]
    assert "1 of 2 scores" in pairs
    assert "1 of 2 competitions" in pairs
    assert season.title in pairs
    assert "Horse 2" not in page


def test_a_judge_finds_the_seats_with_how_many_sheets_are_signed(client: Client):
    judge = make_user("judge")
    competition_class = make_class(
        seats="CB", entries=2, judges={"B": Judge.objects.create(name="Judge B", user=judge)}
    )
    mark_sheet(competition_class.entries.get(number="1"), "B", mark=60, signed=True)
    mark_sheet(competition_class.entries.get(number="1"), "C", mark=60, signed=True)
    client.force_login(judge)
    page = client.get("/me/").content.decode()
    assert "B in class 1" in page
    assert "C in class 1" not in page
    assert "1 of 2 sheets signed" in page


def test_an_office_and_an_association_find_what_they_run_and_keep(client: Client):
    office, keeper = make_user("office"), make_user("keeper")
    make_competition(office=office)
    make_season(make_association(keeper=keeper))
    client.force_login(office)
    page = client.get("/me/").content.decode()
    assert "/desk/linden-autumn/" in page
    assert "My associations" not in page
    client.force_login(keeper)
    page = client.get("/me/").content.decode()
    assert "/associations/linden/2027/" in page
    assert "My show offices" not in page


def test_an_account_without_a_role_is_told_what_to_do(client: Client):
    client.force_login(make_user())
    assert "Nothing is linked to your account yet." in client.get("/me/").content.decode()


def test_the_number_of_queries_does_not_grow_with_what_a_person_has(client: Client, django_assert_max_num_queries):
    person = make_user("person")
    judge = Judge.objects.create(name="Judge C", user=person)
    make_pair(1, user=person)
    association = make_association(keeper=person)
    make_season(association)

    def add_show(n: int) -> None:
        show = make_competition(f"show-{n}", office=person, starts_on=date(2026, 11, n), ends_on=date(2026, 11, n))
        ridden = make_class(show, number="1", entries=1, judges={"C": judge})
        make_class(show, number="2", entries=1, judges={"C": judge})
        mark_sheet(ridden.entries.get(), mark=60)
        make_official(ridden, by=None)

    def queries() -> int:
        with django_assert_max_num_queries(40) as counted:
            assert client.get("/me/").status_code == 200
        return len(counted)

    client.force_login(person)
    add_show(14)
    before = queries()
    for n in (15, 16, 17):
        add_show(n)
    assert queries() == before
