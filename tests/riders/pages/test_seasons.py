from __future__ import annotations

from datetime import date

import pytest
from django.test import Client
from django.utils.http import urlencode

from competitions.services.results import make_official
from riders.models import Association, Pair, StandingRow
from riders.selectors.details import details_of
from riders.services.standings import rebuild_standings
from tests.builders import (
    make_association,
    make_class,
    make_competition,
    make_pair,
    make_season,
    make_user,
    mark_sheet,
    qualifying_scheme,
)

pytestmark = pytest.mark.django_db

SEASON = "/associations/linden/2027/"
SCORES = f"{SEASON}scores/"


def ride_two_shows(*marks: int) -> None:
    """Two shows at which entry n gets the same mark on every item: official, so that the ledger has them."""
    for slug, day in (("first", 10), ("second", 20)):
        show = make_competition(slug, starts_on=date(2026, 11, day), ends_on=date(2026, 11, day))
        competition_class = make_class(show, entries=len(marks))
        for entry, mark in zip(competition_class.entries.order_by("number"), marks, strict=True):
            mark_sheet(entry, mark=mark)
        make_official(competition_class, by=None)


def test_the_standings_show_place_value_and_what_counts(client: Client):
    make_season()
    ride_two_shows(60, 70)
    page = client.get(SEASON).content.decode()
    assert page.index("70.000") < page.index("60.000")
    assert page.index("Rider 2") < page.index("Rider 1")
    assert "novice" in page
    assert "To qualify" in page


def test_who_is_not_qualified_yet_is_listed_with_what_is_missing(client: Client):
    make_season(scheme=qualifying_scheme(require=[{"count": "scores", "at_least": 8}]))
    ride_two_shows(60)
    assert "2 of 8 scores" in client.get(SEASON).content.decode()


def test_a_row_opens_to_scores_counted_dropped_and_not_eligible_with_the_reason(client: Client):
    make_season(scheme=qualifying_scheme(require=[], value={"take": {"best": 1}, "aggregate": "mean"}))
    ride_two_shows(60)
    show = make_competition("third", starts_on=date(2026, 11, 25), ends_on=date(2026, 11, 25))
    outside = make_class(show, entries=2)
    for entry in outside.entries.order_by("-number"):
        mark_sheet(entry, mark=90)
    type(entry).objects.filter(pk=entry.pk).update(hors_concours=True)
    make_official(outside, by=None)
    address = f"{SCORES}?{urlencode({'unit': 'R1/H1'})}"
    page = client.get(address).content.decode()
    assert page.count(">counted</span>") == 1
    assert page.count(">dropped</span>") == 1
    assert page.count(">not eligible</span>") == 1
    row = StandingRow.objects.select_related("table").get(unit="R1/H1")
    explanations = details_of(row.table.season, [row])[row.pk].explanations
    assert len(explanations) == 3
    for _, _, sentence in explanations:
        assert sentence
        assert sentence.replace("'", "&#x27;") in page
    assert "/competitions/first/1/1/" in page
    part = client.get(address, headers={"x-part": "scores"}).content.decode()
    assert part.count(">counted</span>") == 1
    assert "<html" not in part


def test_the_statement_is_offered_to_the_rider_and_the_keeper_only(client: Client):
    rider, keeper = make_user("rider"), make_user("keeper")
    make_pair(1, user=rider)
    make_season(make_association(keeper=keeper))
    ride_two_shows(60)
    address = f"{SCORES}?{urlencode({'unit': 'R1/H1'})}"
    for user, offered in ((None, False), (make_user("other"), False), (rider, True), (keeper, True)):
        client.logout()
        if user is not None:
            client.force_login(user)
        assert ("Season statement" in client.get(address).content.decode()) is offered, user


@pytest.mark.parametrize(
    "path",
    [
        "/associations/none/",
        "/associations/none/2027/",
        "/associations/linden/1999/",
        "/associations/other/2027/",
        f"{SCORES}?unit=nobody",
        SCORES,
        "/pairs/0/",
        "/pairs/999999/",
    ],
)
def test_what_does_not_exist_is_not_found(client: Client, path: str):
    make_season()
    Association.objects.create(slug="other", title="Other")
    assert client.get(path).status_code == 404


def test_an_association_lists_its_seasons(client: Client):
    make_season()
    page = client.get("/associations/linden/").content.decode()
    assert SEASON in page
    assert ">open</span>" in page


def test_a_pair_shows_official_figures_and_nothing_private(client: Client):
    make_pair(1, user=make_user("rider"))
    make_season()
    ride_two_shows(60)
    provisional = make_class(make_competition("third"), entries=1)
    mark_sheet(provisional.entries.get(), mark=90, remarks={"1": "PRIVATE-WORDS"})
    pair = Pair.objects.get(key="R1/H1")
    page = client.get(f"/pairs/{pair.pk}/").content.decode()
    assert page.count("60.000&nbsp;%") == 2
    assert "90.000" not in page
    assert "rider1@example.org" not in page
    assert "PRIVATE-WORDS" not in page
    assert "/competitions/second/1/1/" in page
    assert "Season 2027" in page


def test_rides_hors_concours_are_shown_to_the_rider_only(client: Client):
    rider = make_user("rider")
    make_pair(1, user=rider)
    competition_class = make_class(entries=1)
    entry = competition_class.entries.get()
    mark_sheet(entry, mark=65)
    type(entry).objects.filter(pk=entry.pk).update(hors_concours=True)
    make_official(competition_class, by=None)
    address = f"/pairs/{Pair.objects.get(key='R1/H1').pk}/"
    assert "65.000" not in client.get(address).content.decode()
    client.force_login(make_user("other"))
    assert "65.000" not in client.get(address).content.decode()
    client.force_login(rider)
    assert "65.000" in client.get(address).content.decode()


def test_hostile_names_are_escaped(client: Client):
    hostile = '<script>alert("x")</script>'
    pair = make_pair(1, rider=hostile, horse=f"{hostile} horse")
    make_season(title=f"{hostile} season")
    ride_two_shows(60)
    for path in (SEASON, f"{SCORES}?{urlencode({'unit': 'R1/H1'})}", f"/pairs/{pair.pk}/", "/associations/linden/"):
        page = client.get(path).content.decode()
        assert "&lt;script&gt;" in page
        assert "<script>alert" not in page


def test_the_number_of_queries_does_not_grow_with_the_rows(client: Client, django_assert_max_num_queries):
    def queries_of(path: str) -> int:
        with django_assert_max_num_queries(20) as counted:
            assert client.get(path).status_code == 200
        return len(counted)

    season = make_season()
    address = f"{SCORES}?{urlencode({'unit': 'R1/H1'})}"
    pair_page = f"/pairs/{make_pair(1).pk}/"
    ride_two_shows(60)
    before = [queries_of(path) for path in (SEASON, address, pair_page)]
    for slug, day in (("third", 21), ("fourth", 22), ("fifth", 23)):
        show = make_competition(slug, starts_on=date(2026, 11, day), ends_on=date(2026, 11, day))
        competition_class = make_class(show, entries=6)
        for entry in competition_class.entries.all():
            mark_sheet(entry, mark=60)
        make_official(competition_class, by=None)
    rebuild_standings(season)
    assert [queries_of(path) for path in (SEASON, address, pair_page)] == before
