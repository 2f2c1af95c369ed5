"""Rides before the first day of a season: rolling days and a lifetime count them, fixed days never do."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
import time_machine

from riders.models import Scheme, Season
from riders.selectors.ledger import season_records
from riders.selectors.outlooks import pair_outlook
from riders.selectors.seasons import pair_statement
from riders.services import rebuilds, standings
from riders.services.ledger import post_scores, retract_scores
from riders.services.merges import seasons_of
from riders.services.past_standings import standings_as_of
from riders.services.rebuilds import request_rebuild, run_rebuild
from riders.services.scheme_effects import effect_of
from riders.services.scheme_switches import switch_season
from riders.services.standings import rebuild_standings
from riders.transactions import write_transaction
from tests.builders import make_pair, make_season, qualifying_scheme
from tests.riders.ledger_rows import post, row

pytestmark = pytest.mark.django_db(transaction=True)

NOW = datetime(2026, 11, 15, 12, tzinfo=UTC)
FIXED = {"from": "2026-10-01", "to": "2027-09-30"}
LIFETIME = {"lifetime": True}
YEAR = {"rolling_months": 12}


@pytest.fixture(autouse=True)
def _in_november():
    with time_machine.travel(NOW, tick=False):
        yield


def best_ride(days: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return qualifying_scheme(season=days, require=[], value={"take": {"best": 1}, "aggregate": "mean"}, **changes)


def ride_on(day: date, percentage: str, n: int = 1) -> None:
    post(row(n, key=f"{n}-{day}", date=day, percentage=percentage))


def values(season: Season) -> dict[str, str]:
    return dict(season.rows.values_list("unit", "value"))


@pytest.mark.parametrize("path", ["columns", "exact"])
@pytest.mark.parametrize(
    ("days", "value"),
    [
        pytest.param(FIXED, "61.000", id="fixed"),
        pytest.param(YEAR, "63.000", id="twelve months"),
        pytest.param({"rolling_days": 365}, "63.000", id="365 days"),
        pytest.param({"rolling_months": 24}, "64.000", id="two years"),
        pytest.param(LIFETIME, "65.000", id="a lifetime"),
    ],
)
@pytest.mark.parametrize("first", ["season", "rides"])
def test_rides_before_the_season(days, value, path, first, monkeypatch):
    """Contract, section 6: twelve months before the as-of date, 15 November 2026, begin on 16 November 2025."""
    if path == "exact":
        monkeypatch.setattr(standings, "is_columnar", lambda _scheme: False)
    season = make_season(scheme=best_ride(days)) if first == "season" else None
    ride_on(date(2026, 11, 1), "61.000")
    ride_on(date(2025, 11, 16), "63.000")
    ride_on(date(2025, 11, 15), "64.000")
    ride_on(date(2019, 5, 4), "65.000")
    if season is None:
        season = make_season(scheme=best_ride(days))
        rebuild_standings(season)
    pair = make_pair(1)
    assert values(season) == {pair.key: value}
    season.refresh_from_db()
    said = {one.score.percentage: one.outcome for one in pair_statement(pair, season).scores}
    assert said[value] == "counted"
    assert [one.value for one in standings_as_of(season, "2026-11-15")[0].rows] == [value]
    assert [one.outlook.value for one in pair_outlook(pair, season).groups] == [value]
    assert seasons_of(pair) == {season.pk}


def test_an_old_ride_withdrawn_is_taken_off():
    season = make_season(scheme=best_ride(LIFETIME))
    ride_on(date(2026, 11, 1), "61.000")
    ride_on(date(2019, 5, 4), "65.000")
    with write_transaction():
        retract_scores([f"1-{date(2019, 5, 4)}"], by=None, reason="the horse was not registered")
    assert values(season) == {make_pair(1).key: "61.000"}


@pytest.mark.parametrize("days", [LIFETIME, YEAR, {"rolling_days": 400}])
def test_a_draft_and_a_switch_read_as_far_back_as_the_new_rule(days):
    season = make_season(scheme=best_ride(FIXED))
    ride_on(date(2026, 11, 1), "61.000")
    ride_on(date(2025, 12, 24), "63.000")
    season.refresh_from_db()
    assert values(season) == {make_pair(1).key: "61.000"}
    rule = best_ride(days, id="reaching-back")
    effect = effect_of(rule, season)
    assert [(one.before.value, one.after.value) for one in effect.rows] == [("61.000", "63.000")]
    before = season.scheme
    after = Scheme.objects.create(key=rule["id"], version=1, title="Reaching back", document=rule)
    switch_season(season, to=after, instead_of=before, by=None, reason="decided")
    season.refresh_from_db()
    assert values(season) == {make_pair(1).key: "63.000"}
    assert [record["percentage"] for record in season_records(season)] == ["63.000", "61.000"]
    ride_on(date(2025, 12, 26), "64.000")
    assert values(season) == {make_pair(1).key: "64.000"}
    season.refresh_from_db()
    switch_season(season, to=before, instead_of=after, by=None, reason="decided again")
    season.refresh_from_db()
    assert (season.reads_from, values(season)) == (None, {make_pair(1).key: "61.000"})


def test_an_old_ride_that_arrives_while_a_lifetime_is_worked_out_is_in_it(monkeypatch):
    season = make_season(scheme=best_ride(FIXED))
    ride_on(date(2026, 11, 1), "61.000")
    rule = best_ride(LIFETIME, id="lifetime")
    scheme = Scheme.objects.create(key=rule["id"], version=1, title="Lifetime", document=rule)
    rebuild = request_rebuild(season, by=None, scheme=scheme, reason="decided")
    write = rebuilds._write

    def write_while_scores_arrive(*given: Any) -> list[int]:
        tables = write(*given)
        with write_transaction():
            post_scores([row(1, key="late", date=date(2019, 5, 4), percentage="65.000")], by=None)
        return tables

    monkeypatch.setattr(rebuilds, "_write", write_while_scores_arrive)
    run_rebuild(rebuild.pk)
    season.refresh_from_db()
    assert season.scheme == scheme
    assert values(season) == {make_pair(1).key: "65.000"}
