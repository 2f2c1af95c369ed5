"""Standings of a large ledger in SQLite: rebuilt whole, brought up to date after a class, and the same with pandas.

The rule: the median of a pair's best eight by level, from eight scores before four judges at four competitions. pandas
works in binary floats and explains nothing; its figures are compared with ours, so that both did the same work.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import date, timedelta
from random import Random
from typing import Any

SCORES = 200_000
SCORES_OF_A_PAIR = 10
TOUCHED = 60
_AT_ONCE = 2_000
_SEED = 20_270_901

SCHEME: dict[str, Any] = {
    "format": "scheme/1",
    "id": "benchmark-median",
    "title": "Median of the best eight",
    "unit": "pair",
    "group_by": ["level"],
    "season": {"from": "2026-10-01", "to": "2027-09-30"},
    "eligible": [{"field": "hors_concours", "is": False}],
    "require": [
        {"count": "scores", "at_least": 8},
        {"count": "judges", "at_least": 4},
        {"count": "competitions", "at_least": 4},
    ],
    "value": {"take": {"best": 8}, "aggregate": "median"},
    "ties": [{"by": "best-score"}],
}


def run(scores: int = SCORES) -> dict[str, float | str]:
    from riders.services.standings import store_standings, store_touched
    from riders.transactions import write_transaction

    season = _fill(scores)
    whole, _ = _timed(lambda: _inside(write_transaction, lambda: store_standings(season)))
    season.refresh_from_db()
    pairs = list(season.rows.order_by("?").values_list("pair_id", flat=True)[:TOUCHED])
    touched, short = _timed(lambda: _inside(write_transaction, lambda: store_touched(season, pairs=pairs)))
    _with_pandas()  # its import and the first reading of the file are not what is measured
    alike, found = _timed(_with_pandas)
    differing = _differing(season, found)
    return {
        "scores": str(scores),
        "rows of the standings": str(season.rows.count()),
        "whole rebuild, s": whole,
        f"{TOUCHED} touched units among them, s": touched,
        "touched units took the short way": str(short),
        "pandas, figures only, s": alike,
        "whole rebuild to pandas": whole / alike,
        "whole rebuild to touched units": whole / touched,
        "values that differ from pandas by 0.001 or more": str(differing),
    }


def _inside(transaction: Callable[[], Any], act: Callable[[], Any]) -> Any:
    with transaction():
        return act()


def _timed(act: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    found = act()
    return time.perf_counter() - start, found


def _fill(scores: int) -> Any:
    from riders.models import Association, Horse, Pair, Rider, Scheme, Score, Season

    random, pairs = Random(_SEED), max(scores // SCORES_OF_A_PAIR, 1)
    numbers = range(pairs)
    riders = Rider.objects.bulk_create([Rider(name=f"Rider {n}") for n in numbers], batch_size=_AT_ONCE)
    horses = Horse.objects.bulk_create([Horse(name=f"Horse {n}") for n in numbers], batch_size=_AT_ONCE)
    made = Pair.objects.bulk_create(
        [Pair(key=f"B{n}", rider=riders[n], horse=horses[n]) for n in numbers], batch_size=_AT_ONCE
    )
    first = date(2026, 10, 1)
    posted = f"{first}T12:00:00Z"
    for start in range(0, scores, _AT_ONCE):
        Score.objects.bulk_create(
            Score(
                key=f"b{n}",
                source=Score.Source.IMPORT,
                pair=made[n % pairs],
                level=("novice", "elementary", "medium")[n % pairs % 3],
                date=first + timedelta(days=random.randrange(360)),
                competition=f"show-{random.randrange(40)}",
                judges=[f"Judge {random.randrange(60)}"],
                percentage=f"{random.randrange(52_000, 76_000) / 1000:.3f}",
                status="completed",
                hors_concours=random.random() < 0.02,
                posted_at=posted,
            )
            for n in range(start, min(start + _AT_ONCE, scores))
        )
    association, _ = Association.objects.get_or_create(slug="benchmark", defaults={"title": "Benchmark"})
    scheme = Scheme.objects.create(key=SCHEME["id"], title=SCHEME["title"], document=SCHEME)
    return Season.objects.create(
        association=association, slug="2027", title="2027", starts_on=first, ends_on=date(2027, 9, 30), scheme=scheme
    )


def _with_pandas() -> Any:
    """Read the ledger from SQLite into columns and work out the same figures and places."""
    import sqlite3

    import pandas as pd
    from django.conf import settings

    with sqlite3.connect(settings.DATABASES["default"]["NAME"]) as connection:
        ledger = pd.read_sql_query(
            "SELECT p.key AS unit, s.level, s.competition, s.judges, CAST(s.percentage AS REAL) AS percentage "
            "FROM riders_score s JOIN riders_pair p ON p.id = s.pair_id "
            "WHERE s.retracted_at IS NULL AND s.hors_concours = 0 AND s.date BETWEEN '2026-10-01' AND '2027-09-30'",
            connection,
        )
    by = ["level", "unit"]
    counted = ledger.groupby(by).agg(
        scores=("percentage", "size"), judges=("judges", "nunique"), competitions=("competition", "nunique")
    )
    best = ledger.sort_values("percentage", ascending=False).groupby(by).head(8).groupby(by)["percentage"]
    table = counted.join(best.agg(value="median", top="max"))
    met = (table.scores >= 8) & (table.judges >= 4) & (table.competitions >= 4)
    placed = table[met].sort_values(["value", "top"], ascending=False)
    table["placing"] = placed.groupby("level").cumcount() + 1
    return table


def _differing(season: Any, table: Any) -> int:
    ours = season.rows.values_list("table__group__level", "unit", "value")
    return sum(abs(float(value) - table.at[(level, unit), "value"]) >= 0.001 for level, unit, value in ours)
