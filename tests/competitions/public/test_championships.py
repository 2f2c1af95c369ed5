from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from competitions.models import Championship, CompetitionClass
from competitions.services.championships import update_championship
from competitions.services.entries import set_outcome
from competitions.services.results import make_official
from competitions.services.team_rules import set_team_rules
from tests.builders import make_championship, make_class, make_competition, make_pair, make_user, mark_sheet

pytestmark = pytest.mark.django_db

ADDRESS = "/competitions/linden-autumn/championships/small-tour/"


@pytest.fixture
def championship() -> Championship:
    """Two classes, ridden by pairs 1 to 3: the second is eliminated in class 2."""
    competition = make_competition(office=make_user("office"))
    for number, marks in (("1", (60, 70, 65)), ("2", (70, None, 65))):
        found = make_class(competition, number=number, title=f"Test of class {number}", entries=3)
        for entry, mark in zip(found.entries.order_by("number"), marks, strict=True):
            if mark is None:
                set_outcome(entry, expected_version=None, by=None, status="eliminated", reason="lame")
            else:
                mark_sheet(entry, mark=mark)
    rules = {"method": "mean", "decimals": 3, "ties": [{"by": "total", "class": 2}], "sources": ["the schedule, 4"]}
    return make_championship(competition, rules=rules)


def page_of(client: Client) -> str:
    response = client.get(ADDRESS)
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def test_the_address_is_that_of_the_championship(championship):
    assert reverse("championship", args=["linden-autumn", "small-tour"]) == ADDRESS


def test_places_figures_working_and_rule_stand_on_the_page(client: Client, championship):
    page = page_of(client)
    first, second, third = (page.index(f"Rider {n}</a>") for n in (1, 3, 2))
    assert first < second < third
    assert page.count("65.000&nbsp;%") == 2
    assert "Class 2: eliminated." in page
    assert "Mean: (60.000 + 70.000) / 2 = 65.000 %" in page
    assert "Total of Class 2: 70, against 65 of Rider 3 with Horse 3; the higher is placed first." in page
    assert "The mean of the total in Class 1 and Class 2 decides, to 3 decimals" in page
    assert "Source: the schedule, 4." in page
    assert "does not count" not in page
    assert 'value="championship"' in page


def test_it_says_provisional_until_every_class_is_official(client: Client, championship):
    first, second = CompetitionClass.objects.order_by("number")
    make_official(first, by=None)
    assert "Class 1: official, Class 2: provisional." in page_of(client)
    make_official(second, by=None)
    page = page_of(client)
    assert '<span class="status is-official">official</span>' in page
    assert "The results of all its classes are official." in page


@pytest.mark.parametrize("source", ["classes", "units"])
def test_teams_stand_with_what_counts(client: Client, championship, source):
    rules = {"method": "total", "decimals": 3, "teams": {"from": source, "method": "sum"}}
    if source == "units":
        rules["teams"] |= {"counting": 1, "members": {make_pair(n).key: "Green" for n in (1, 3)}}
    for found in CompetitionClass.objects.all():
        found.entries.update(team="Green")
        set_team_rules(found, {"counting": 2, "method": "sum"}, by=None)
    update_championship(championship, expected_version=1, by=None, rules=rules)
    teams = page_of(client).partition("<h2>Teams</h2>")[2].partition("<h2>The rule</h2>")[0]
    assert "Green" in teams
    if source == "units":
        assert "Rider 1 with Horse 1" in teams
        assert "(does not count)" in teams
        assert '<span class="total">130.000</span>' in teams
    else:
        assert '<span class="total">270.000</span>' in teams


def test_a_drop_out_and_a_class_that_does_not_count_are_said(client: Client, championship):
    rules = {"method": "total", "decimals": 3, "counting": 1, "drop_out": "40"}
    update_championship(championship, expected_version=1, by=None, rules=rules)
    page = page_of(client)
    assert "eliminated: counts so" in page
    assert "does not count" in page


def test_an_open_page_gets_new_rows_only_when_something_has_changed(client: Client, championship):
    answer = client.get(f"{ADDRESS}rows/")
    etag = answer["ETag"]
    assert f'data-etag="{etag.replace(chr(34), "&quot;")}"' in client.get(ADDRESS).content.decode()
    assert client.get(f"{ADDRESS}rows/", headers={"If-None-Match": etag}).status_code == 304
    mark_sheet(CompetitionClass.objects.get(number="2").entries.get(number="3"), mark=90)
    fresh = client.get(f"{ADDRESS}rows/", headers={"If-None-Match": etag})
    assert fresh.status_code == 200
    assert fresh["ETag"] != etag
    assert "77.500" in fresh.content.decode()


def test_polling_an_unchanged_championship_takes_few_queries(
    client: Client, championship, django_assert_max_num_queries
):
    etag = client.get(f"{ADDRESS}rows/")["ETag"]
    with django_assert_max_num_queries(2):
        assert client.get(f"{ADDRESS}rows/", headers={"If-None-Match": etag}).status_code == 304


def test_only_the_office_reads_why_it_cannot_be_worked_out(client: Client, championship):
    update_championship(
        championship, expected_version=1, by=None, rules={"method": "total", "of": "penalty", "decimals": 1}
    )
    assert "has no penalty" not in page_of(client)
    assert "cannot be worked out" in page_of(client)
    client.force_login(championship.competition.office_roles.get().user)
    assert "has no penalty" in page_of(client)


def test_of_a_planned_competition_nobody_else_sees_it(client: Client, championship):
    type(championship.competition).objects.update(state="planned")
    for path in (ADDRESS, f"{ADDRESS}rows/"):
        assert client.get(path).status_code == 404
    client.force_login(championship.competition.office_roles.get().user)
    assert client.get(ADDRESS).status_code == 200
    assert "private" in client.get(f"{ADDRESS}rows/")["Cache-Control"]


def test_competition_and_board_lead_to_it(client: Client, championship):
    link = f'href="{ADDRESS}"'
    competition = client.get("/competitions/linden-autumn/").content.decode()
    assert link in competition
    assert "classes 1 and 2" in competition
    assert link in client.get("/competitions/linden-autumn/1/").content.decode()


def test_the_same_tag_is_drawn_once(client: Client, championship, monkeypatch):
    first = client.get(f"{ADDRESS}rows/").content
    monkeypatch.setattr("competitions.public.championships.championship_for", None)
    assert client.get(f"{ADDRESS}rows/").content == first
