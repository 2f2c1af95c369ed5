"""Standings whose days roll, or whose rows are compared: brought up to date as if rebuilt as a whole."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from random import Random
from typing import Any

import pytest
import time_machine
from django.test import Client

from riders.models import Pair, Score, Season, StandingsRebuild
from riders.selectors.details import details_of
from riders.selectors.places import rows_one_by_one
from riders.selectors.seasons import pair_statement
from riders.services import rebuilds, standings
from riders.services.closing import close_season
from riders.services.ledger import ScoreRow, post_scores, retract_scores
from riders.services.rebuilds import request_rebuild, run_rebuild, sweep_rebuilds
from riders.services.standings import rebuild_standings
from riders.transactions import write_transaction
from tests.builders import make_pair, make_season, qualifying_scheme
from tests.riders.ledger_rows import post, row
from tests.riders.test_touched_standings import random_row, stored

pytestmark = pytest.mark.django_db(transaction=True)

ROLLING: dict[str, Any] = {"season": {"rolling_days": 40}, "require": []}
LEVELS = ["novice", "elementary", "medium"]
KEEP = {"keep": "highest", "of": "level", "order": LEVELS}
AFTER: dict[str, list[dict[str, Any]]] = {
    "best horse": [{"one_per": "rider"}],
    "best of an owner": [{"one_per": "owner"}],
    "best of a team, best horse": [{"one_per": "team"}, {"one_per": "rider"}],
    "one title": [KEEP],
    "two titles": [KEEP | {"number": 2, "not_consecutive": [["novice", "elementary"]]}],
    "one title of a winner": [KEEP | {"winners_only": True}],
    "shut out, one title, best horse": [{"exclude": ["R2/H2"]}, KEEP, {"one_per": "rider"}],
    "best horse, one title": [{"one_per": "rider"}, KEEP],
    "places": [{"places": 2}],
    "least units": [{"minimum_units": 3}],
    "best horse, least units, places": [{"one_per": "rider"}, {"minimum_units": 3}, {"places": 2}],
    "places, least units": [{"places": 3}, {"minimum_units": 2}],
    "places, best horse": [{"places": 3}, {"one_per": "rider"}],
    "one title, places": [KEEP, {"places": 1}],
}


def at(day: date) -> time_machine.travel:
    return time_machine.travel(datetime(day.year, day.month, day.day, 12, tzinfo=UTC), tick=False)


@contextmanager
def never_as_a_whole(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    def refuse(*_given: object, **_options: object) -> None:
        raise AssertionError("The standings were worked out as a whole.")

    with monkeypatch.context() as patch:
        patch.setattr(standings, "store_standings", refuse)
        patch.setattr(rebuilds, "ask_for_rebuild", refuse)
        yield


def ride(random: Random, n: int) -> ScoreRow:
    """Return a ride of one of nine horses, which four riders share."""
    horse = make_pair(random.randint(1, 9)).horse
    rider = make_pair(1 + horse.pk % 4).rider
    pair, _ = Pair.objects.get_or_create(
        rider=rider, horse=horse, defaults={"key": f"{rider.registration}/{horse.registration}"}
    )
    return replace(random_row(random, n), pair=pair, owner=random.choice(["Owner Ash", "Owner Elm", ""]))


def act(random: Random, step: int) -> None:
    """Do to the ledger what shows do: new scores, corrected ones, some withdrawn."""
    first = random.randint(0, 60)
    with write_transaction():
        rows = [ride(random, n) for n in range(first, first + random.randint(1, 3))]
        post_scores(rows, by=None)
        if step % 3 == 2:
            retract_scores([f"s{random.randint(0, 60)}"], by=None, reason="withdrawn")


def assert_as_rebuilt(season: Season, said: object) -> None:
    season.refresh_from_db()
    touched = stored(season), season.stands_on
    rebuild_standings(season)
    season.refresh_from_db()
    assert touched == (stored(season), season.stands_on), said


@pytest.mark.parametrize("path", ["columns", "exact"])
@pytest.mark.parametrize(
    "changes",
    [
        pytest.param(ROLLING, id="days"),
        pytest.param(ROLLING | {"season": {"rolling_months": 2}}, id="months"),
        pytest.param(ROLLING | {"require": [{"count": "scores", "at_least": 2}], "unit": "rider"}, id="riders"),
        *(pytest.param({"after": after, "require": []}, id=name) for name, after in AFTER.items()),
        *(pytest.param(ROLLING | {"after": after}, id=f"days, {name}") for name, after in list(AFTER.items())[::3]),
        pytest.param({"mode": "qualify", "after": AFTER["best horse, least units, places"]}, id="no places given"),
        pytest.param(ROLLING | {"mode": "qualify", "after": AFTER["places, least units"]}, id="days, no places given"),
    ],
)
def test_any_course_of_a_ledger_gives_what_a_whole_rebuild_gives(
    changes: dict[str, Any], path: str, monkeypatch: pytest.MonkeyPatch
):
    if path == "exact":
        monkeypatch.setattr(standings, "is_columnar", lambda _scheme: False)
    random, day = Random(f"{path}{changes}"), date(2026, 12, 1)
    season = make_season(scheme=qualifying_scheme(**changes))
    with at(day):
        post(*(ride(random, n) for n in range(40)))
        season.refresh_from_db()
    for step in range(10):
        day += timedelta(days=random.choice([0, 0, 1, 9, 50]))
        with at(day):
            for what in (sweep_rebuilds, partial(act, random, step)):
                with never_as_a_whole(monkeypatch):
                    what()
                assert_as_rebuilt(season, (step, what))


@pytest.mark.parametrize(
    "after",
    [
        pytest.param([{"places": 5}], id="places"),
        pytest.param([{"minimum_units": 3}, {"places": 4}], id="least units, places"),
        pytest.param([{"one_per": "rider"}, {"places": 6}], id="best horse, places"),
    ],
)
def test_places_set_free_go_to_the_next_of_a_long_table(after: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch):
    """Sixty rows of which few are ranked, some of them equal: what is read is the edge, and the edge is enough."""
    random = Random(f"{after}")
    season = make_season(scheme=qualifying_scheme(after=after, require=[], group_by=[]))
    pairs = [make_pair(number) for number in range(1, 61)]

    def some(number: int) -> list[ScoreRow]:
        chosen = random.sample(range(60), number)
        return [
            row(1, pair=pairs[n], key=f"p{n}", percentage=f"7{random.randint(0, 9)}.{random.randint(0, 9)}")
            for n in chosen
        ]

    post(*some(60))
    for step in range(25):
        with write_transaction(), never_as_a_whole(monkeypatch):
            post_scores(some(random.randint(1, 6)), by=None)
            if step % 4 == 3:
                best = season.rows.filter(note="").order_by("rank")[:3].values_list("pair_id", flat=True)
                retract_scores([f"p{pair - pairs[0].pk}" for pair in best], by=None, reason="withdrawn")
        assert_as_rebuilt(season, step)


def rolling_season() -> Season:
    season = make_season(scheme=qualifying_scheme(**ROLLING))
    with at(date(2026, 11, 20)):
        post(row(1, key="a", percentage="70", date=date(2026, 11, 1)), row(2, key="b", date=date(2026, 11, 20)))
    season.refresh_from_db()
    return season


def test_a_score_lapses_on_its_day_though_no_score_comes(client: Client):
    season = rolling_season()
    assert season.stands_on == date(2026, 11, 20)
    with at(date(2026, 12, 10)):
        sweep_rebuilds()
    assert {one.unit for one in season.rows} == {"R1/H1", "R2/H2"}
    with at(date(2026, 12, 11)):
        sweep_rebuilds()
    season.refresh_from_db()
    assert season.stands_on == date(2026, 12, 11)
    assert {one.unit for one in season.rows} == {"R2/H2"}
    page = client.get("/associations/linden/2027/").content.decode()
    assert "the days that count end on 11 December 2026" in page
    assert client.get(f"/api/v1/seasons/{season.pk}/standings/").json()["as_of"] == "2026-12-11"


def test_a_sweep_of_the_same_day_changes_nothing():
    season = rolling_season()
    version = season.version
    with at(date(2026, 11, 20)):
        sweep_rebuilds()
    season.refresh_from_db()
    assert season.version == version


def test_days_stand_still_at_the_end_of_the_season():
    season = rolling_season()
    with at(date(2028, 1, 1)):
        sweep_rebuilds()
        season.refresh_from_db()
        assert season.stands_on == season.ends_on
        version = season.version
        sweep_rebuilds()
    season.refresh_from_db()
    assert season.version == version


def test_what_is_said_of_a_score_is_said_on_the_day_of_the_standings():
    season = rolling_season()
    with at(date(2026, 12, 30)):
        sweep_rebuilds()
        post(row(1, key="c", percentage="60", date=date(2026, 12, 1)))
    season.refresh_from_db()
    one = next(placed.row for placed in rows_one_by_one(season.tables.get(shown=True)) if placed.unit == "R1/H1")
    (lapsed, _) = details_of(season, [one])[one.pk].explanations
    assert lapsed[:2] == ("a", "not eligible")
    assert "before the first day that counts, 21 November 2026" in lapsed[2]
    (told,) = [said for said in pair_statement(make_pair(2), season).scores if said.score.key == "b"]
    assert "before the first day that counts, 21 November 2026" in told.sentence


def test_a_rolling_rule_that_compares_rides_is_left_to_the_queue():
    season = make_season(scheme=qualifying_scheme(**ROLLING, rerank=["class"]))
    with at(date(2026, 11, 20)):
        post(row(1, key="a", date=date(2026, 11, 1)), row(2, key="b", date=date(2026, 11, 20)))
    with at(date(2026, 12, 20)):
        sweep_rebuilds()
        run_rebuild(StandingsRebuild.objects.get().pk)
    season.refresh_from_db()
    assert season.stands_on == date(2026, 12, 20)
    assert {one.unit for one in season.rows} == {"R2/H2"}


def test_what_changes_while_days_move_elsewhere_is_not_lost(monkeypatch: pytest.MonkeyPatch):
    season = rolling_season()
    write = rebuilds._write

    def written(*given: Any) -> list[int]:
        found = write(*given)
        with at(date(2026, 12, 11)):
            post(row(3, key="c", date=date(2026, 12, 11)))
        return found

    monkeypatch.setattr(rebuilds, "_write", written)
    with at(date(2026, 11, 20)):
        asked = request_rebuild(season, by=None)
        assert run_rebuild(asked.pk).state == "done"
    with at(date(2026, 12, 11)):
        assert_as_rebuilt(season, "shown")
    assert {one.unit for one in season.rows} == {"R2/H2", "R3/H3"}


def test_a_season_closed_on_a_day_says_which_and_stays():
    season = rolling_season()
    with at(date(2026, 12, 11)):
        edition = close_season(season, expected_version=season.version, by=None, reason="over")
    assert edition.head["as_of"] == "2026-12-11"
    assert edition.head["tables"][0]["rows"] == 1
    with at(date(2027, 2, 1)):
        sweep_rebuilds()
    season.refresh_from_db()
    assert season.stands_on == date(2026, 12, 11)
    (told,) = pair_statement(make_pair(1), season).scores
    assert "before the first day that counts, 2 November 2026" in told.sentence
    assert Score.objects.count() == 2
