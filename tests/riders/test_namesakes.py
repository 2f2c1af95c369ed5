"""Two riders or horses of one name are two: each has a row of its own wherever riders or horses are ranked.

Standing for a common expectation of any list of people: the name alone is no identity (DEVELOPERS.md, riders.services.
people). Figures here are single scores, so each value is the score itself.
"""

from __future__ import annotations

import importlib
from typing import Any

import pytest
from django.apps import apps

from riders.models import Horse, Pair, Rider, Season, StandingRow
from riders.selectors.seasons import pair_statement
from riders.services.direct_imports import import_scores
from riders.services.merges import merge, undo_merge
from riders.services.people import find_or_create_horse, find_or_create_rider
from riders.services.renames import rename
from riders.services.standings import compute_rows, compute_rows_exactly, rebuild_standings
from scoring import season as season_rules
from tests.builders import make_association, make_season
from tests.riders.ledger_rows import post, row

pytestmark = pytest.mark.django_db

VALUE = {"take": {"best": 1}, "aggregate": "mean"}


def scheme(unit: str, **more: Any) -> dict[str, Any]:
    return {
        "format": "scheme/1",
        "id": f"best-of-{unit}",
        "title": "Best",
        "unit": unit,
        "group_by": [],
        "value": VALUE,
    } | more


def season_of(unit: str, **more: Any) -> Season:
    return make_season(make_association(), scheme=scheme(unit, **more))


def pair_of(rider: Rider, horse: Horse) -> Pair:
    return Pair.objects.create(key=f"k{rider.pk}-{horse.pk}", rider=rider, horse=horse)


def two_of_one_name(**registrations: str) -> tuple[Pair, Pair]:
    return tuple(  # type: ignore[return-value]
        pair_of(
            find_or_create_rider(name="Una Lind", registration=registrations.get(horse, "")),
            find_or_create_horse(name=horse),
        )
        for horse in ("Fen", "Moor")
    )


def ridden(*pairs: Pair) -> None:
    """Post a ride each: the first with 70, the next with 60 per cent."""
    post(*(row(n, key=f"s{n}", pair=pair, percentage=f"{8 - n}0.000") for n, pair in enumerate(pairs, start=1)))


def rows(season: Season) -> list[tuple[str, str]]:
    return list(StandingRow.objects.filter(table__season=season).order_by("unit").values_list("unit", "value"))


def test_riders_of_one_name_have_rows_of_their_own():
    season = season_of("rider")
    ridden(*two_of_one_name())
    assert rows(season) == [("Una Lind", "70.000"), ("Una Lind (2)", "60.000")]
    rebuild_standings(season)
    assert rows(season) == [("Una Lind", "70.000"), ("Una Lind (2)", "60.000")]


def test_public_standings_do_not_tell_a_registration():
    season = season_of("rider")
    ridden(*two_of_one_name(Fen="R1", Moor="R2"))
    assert [unit for unit, _ in rows(season)] == ["Una Lind", "Una Lind (2)"]


def test_both_ways_of_counting_know_them_apart():
    season = season_of("rider")
    ridden(*two_of_one_name())
    read = season_rules.read_scheme(season.scheme.document)
    fast, exact = compute_rows(season, read), compute_rows_exactly(season, read)
    assert sorted(one.unit for one in fast) == sorted(one.unit for one in exact) == ["Una Lind", "Una Lind (2)"]


def test_horses_of_one_name_have_rows_of_their_own():
    season = season_of("horse")
    horses = [find_or_create_horse(name="Fen") for _ in range(2)]
    ridden(*(pair_of(find_or_create_rider(name=name), horse) for name, horse in zip("AB", horses, strict=True)))
    assert rows(season) == [("Fen", "70.000"), ("Fen (2)", "60.000")]


def test_the_best_horse_of_each_rider_is_left_to_both():
    season = season_of("pair", after=[{"one_per": "rider"}])
    ridden(*two_of_one_name())
    assert set(StandingRow.objects.filter(table__season=season).values_list("note", flat=True)) == {""}


def test_a_change_of_the_second_leaves_the_first_as_it_was():
    season = season_of("rider")
    first, second = two_of_one_name()
    ridden(first, second)
    post(row(3, key="s3", pair=second, percentage="72.000"))
    assert rows(season) == [("Una Lind", "70.000"), ("Una Lind (2)", "72.000")]


def test_each_finds_their_own_scores():
    season = season_of("rider")
    pairs = two_of_one_name()
    ridden(*pairs)
    season.refresh_from_db()
    for number, pair in enumerate(pairs, start=1):
        found = pair_statement(Pair.objects.get(pk=pair.pk), season)
        assert [one.score.key for one in found.scores] == [f"s{number}"]
        assert [one.value for one in found.rows] == [f"{8 - number}0.000"]


def test_a_name_that_another_bears_already_is_told_apart_and_given_back():
    season = season_of("rider")
    first, second = find_or_create_rider(name="Una Lind"), find_or_create_rider(name="Una Lindt")
    ridden(pair_of(first, find_or_create_horse(name="Fen")), pair_of(second, find_or_create_horse(name="Moor")))
    rename(second, name="Una Lind", before="Una Lindt", by=None, reason="misspelt")
    assert rows(season) == [("Una Lind", "70.000"), ("Una Lind (2)", "60.000")]
    second.refresh_from_db()
    rename(second, name="Una Lindt", before="Una Lind", by=None, reason="it was right")
    assert rows(season) == [("Una Lind", "70.000"), ("Una Lindt", "60.000")]


def test_whoever_is_left_of_a_merge_bears_the_plain_name_and_undoing_gives_both_back():
    season = season_of("rider")
    first, second = two_of_one_name()
    ridden(first, second)
    done = merge(second.rider, first.rider, by=None, reason="one person")
    assert rows(season) == [("Una Lind", "70.000")]
    undo_merge(done, by=None, reason="two after all")
    assert rows(season) == [("Una Lind", "70.000"), ("Una Lind (2)", "60.000")]


def test_a_file_may_go_on_giving_the_name_alone():
    first, second = two_of_one_name()
    ridden(first, second)
    line = f"s9,{second.key},Una Lind,Moor,novice,2026-11-02,far,1,64.500,completed\n"
    import_scores(f"score_id,pair,rider,horse,level,date,competition,class,percentage,status\n{line}".encode(), by=None)
    assert second.scores.count() == 2


def test_those_of_before_are_told_apart_by_the_migration():
    season = season_of("rider")
    riders = [Rider.objects.create(name="Una Lind", registration=number) for number in ("", "R7", "")]
    ridden(*(pair_of(rider, Horse.objects.create(name=f"Horse {rider.pk}")) for rider in riders))
    assert rows(season) == [("Una Lind", "70.000")]
    importlib.import_module("riders.migrations.0009_namesakes").tell_apart(apps, None)
    season.refresh_from_db()
    assert season.computed_at is None
    rebuild_standings(season)
    assert [unit for unit, _ in rows(season)] == ["Una Lind", "Una Lind (2)", "Una Lind (3)"]


def test_who_is_called_as_another_is_listed_is_told_apart_too():
    for _ in range(2):
        find_or_create_rider(name="Una Lind")
    for _ in range(2):
        find_or_create_rider(name="Una Lind (2)")
    find_or_create_rider(name="Ida Moss (2)")
    for _ in range(2):
        find_or_create_rider(name="Ida Moss")
    listed = list(Rider.objects.order_by("pk").values_list("listed", flat=True))
    assert listed[:4] == ["Una Lind", "Una Lind (2)", "Una Lind (2) (2)", "Una Lind (2) (3)"]
    assert listed[4:] == ["Ida Moss (2)", "Ida Moss", "Ida Moss (3)"]
