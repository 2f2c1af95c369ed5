"""What visitors who are not logged in may have worked out: one day at a time, and so many in ten minutes."""

from __future__ import annotations

import pytest
from django.core.cache import cache
from django.test import Client

from riders import visits
from riders.models import Season
from tests.builders import make_association, make_season, make_user
from tests.riders.ledger_rows import post, row

pytestmark = pytest.mark.django_db
DAYS = [f"2026-11-{day:02}" for day in range(1, 9)]


@pytest.fixture
def season(monkeypatch) -> Season:
    monkeypatch.setattr(visits, "DAYS_FROM_ONE_ADDRESS", 2)
    cache.clear()
    season = make_season(make_association())
    post(row(1))
    season.refresh_from_db()
    return season


def page(season: Season, day: str, client: Client | None = None):
    return (client or Client()).get(f"/associations/linden/{season.slug}/", {"as_of": day})


def test_day_after_day_is_refused_in_a_sentence_and_a_day_that_is_kept_is_not(season):
    assert [page(season, day).status_code for day in DAYS[:3]] == [200, 200, 429]
    refused = page(season, DAYS[2])
    assert "You have looked at 2 days within ten minutes" in refused.content.decode()
    assert DAYS[2] in refused.content.decode()
    assert refused["Retry-After"] == "600"
    assert page(season, DAYS[0]).status_code == 200


def test_the_api_keeps_the_same_count(season):
    address = f"/api/v1/seasons/{season.pk}/standings/"
    assert [Client().get(address, {"as_of": day}).status_code for day in DAYS[:3]] == [200, 200, 429]
    assert page(season, DAYS[3]).status_code == 429
    refused = Client().get(address, {"as_of": DAYS[4]})
    assert (refused.json()["code"], refused["Retry-After"]) == ("too-many-requests", "600")


def test_another_address_has_its_own(season):
    assert [page(season, day).status_code for day in DAYS[:3]] == [200, 200, 429]
    elsewhere = Client(REMOTE_ADDR="203.0.113.10")
    assert page(season, DAYS[2], elsewhere).status_code == 200


def test_whoever_is_logged_in_may_go_on_also_while_a_visitor_waits(season):
    client = Client()
    client.force_login(make_user())
    cache.add(visits._WORKING, True, 60)
    assert [page(season, day, client).status_code for day in DAYS] == [200] * len(DAYS)


def test_one_day_at_a_time_is_worked_out_for_visitors(season):
    cache.add(visits._WORKING, True, 60)
    refused = page(season, DAYS[0])
    assert refused.status_code == 429
    assert "for somebody else just now. Ask again in a few seconds." in refused.content.decode()
    cache.delete(visits._WORKING)
    assert page(season, DAYS[0]).status_code == 200


def test_a_refused_day_counts_for_nothing_and_work_that_fails_gives_way(season, monkeypatch):
    def broken(*_: object) -> None:
        raise RuntimeError

    with monkeypatch.context() as patched:
        patched.setattr("riders.services.past_standings._tables", broken)
        with pytest.raises(RuntimeError):
            page(season, DAYS[0])
    assert page(season, "no-day").status_code == 400
    assert page(season, DAYS[1]).status_code == 200
