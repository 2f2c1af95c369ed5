"""Standings whose days roll, or whose rows are compared with each other, after a class and on a new day.

Beside each short way stands what it replaces: the whole rebuild, and for ``after`` reading every row of the tables.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any

import time_machine

from tests.benchmarks.ledgers import SCHEME, fill

SCORES = int(os.environ.get("SCORES", "200000"))
TOUCHED = 60
_TURNS = count()
_ROLLING = {"season": {"rolling_months": 6}}
_LEVELS = ["novice", "elementary", "medium"]
_KEEP = {"keep": "highest", "of": "level", "order": _LEVELS}
_AFTER: dict[str, list[dict[str, Any]]] = {
    "best horse": [{"one_per": "rider"}],
    "best of an owner": [{"one_per": "owner"}],
    "one title": [_KEEP],
    "first 20 places": [{"places": 20}],
    "least 3 units": [{"minimum_units": 3}],
    "one title of a winner": [_KEEP | {"winners_only": True}],
}


def run(scores: int = SCORES) -> dict[str, float | str]:
    from riders.services import standings

    season = fill(scores)
    figures: dict[str, float | str] = {"scores": str(scores)}
    season = _counted(season, SCHEME | _ROLLING)
    figures["rolling days, whole rebuild, s"] = _seconds(lambda: standings.rebuild_standings(season))
    figures["rolling days, same day, 60 pairs, s"] = _seconds(lambda: _touch(season))
    with time_machine.travel(datetime.combine(season.stands_on + timedelta(days=1), datetime.min.time(), UTC)):
        figures["rolling days, next day, s"] = _seconds(lambda: _move(season))
    for name, after in _AFTER.items():
        season = _counted(season, SCHEME | {"after": after, "require": []})
        figures[f"{name}, whole rebuild, s"] = _seconds(lambda: standings.rebuild_standings(season))  # noqa: B023
        figures[f"{name}, 60 pairs, s"] = _seconds(lambda: _touch(season))  # noqa: B023
        figures[f"{name}, 60 pairs, every row read, s"] = _every_row_read(lambda: _touch(season))  # noqa: B023
    figures["rows"] = str(season.rows.count())
    return figures


def _counted(season: Any, document: dict[str, Any]) -> Any:
    season.scheme.document = document
    season.scheme.save()
    from riders.services.standings import rebuild_standings

    rebuild_standings(season)
    season.refresh_from_db()
    return season


def _touch(season: Any) -> None:
    from riders.models import Pair, Score
    from riders.services.standings import store_units_of
    from riders.transactions import write_transaction

    pairs = list(Pair.objects.order_by("key").values_list("pk", flat=True)[:TOUCHED])
    with write_transaction():
        Score.objects.filter(pair__in=pairs).update(percentage=f"7{next(_TURNS) % 9}.5")
        assert store_units_of(season, pairs=pairs)


def _move(season: Any) -> None:
    from riders.services.rebuilds import move_rolling_days

    move_rolling_days()
    before = season.stands_on
    season.refresh_from_db()
    assert season.stands_on > before


def _every_row_read(act: Callable[[], None]) -> float:
    from riders.services import compared_rows

    kept = compared_rows._rows_that_matter
    compared_rows._rows_that_matter = lambda *_given: None
    try:
        return _seconds(act)
    finally:
        compared_rows._rows_that_matter = kept


def _seconds(act: Callable[[], None]) -> float:
    start = time.perf_counter()
    act()
    return time.perf_counter() - start
