"""Standings of a large ledger: rebuilt whole, brought up to date after a class, read page by page, as CSV, an outlook.

The rule: the median of a pair's best eight by level, from eight scores before four judges at four competitions. Beside
ours stand polars, pandas and plain SQL over the same file: they work in binary floats, explain nothing and store
nothing, unless a line says so; their figures are compared with ours, so that all did the same work. Each runs in a
process of its own, whose largest memory is told. ``SCORES=2000000 make bench ARGS=standings`` takes a larger ledger.
"""

from __future__ import annotations

import json
import os
import resource
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

SCORES = int(os.environ.get("SCORES", "200000"))
TOUCHED = 60
_ROOT = Path(__file__).resolve().parents[2]
_LEDGER = (
    "SELECT pair_id, level, competition, judges, percentage FROM riders_score "
    "WHERE retracted_at IS NULL AND hors_concours = 0 AND date BETWEEN '2026-10-01' AND '2027-09-30'"
)
_SQL = f"""
WITH ledger AS (SELECT pair_id, level, competition, judges, CAST(percentage AS REAL) AS p FROM ({_LEDGER})),
counted AS (
    SELECT pair_id, level, count(*) AS scores, count(DISTINCT judges) AS judges,
           count(DISTINCT competition) AS competitions
    FROM ledger GROUP BY pair_id, level
),
best AS (SELECT pair_id, level, p, row_number() OVER (PARTITION BY pair_id, level ORDER BY p DESC) AS n FROM ledger),
taken AS (
    SELECT pair_id, level, p, n, min(8, count(*) OVER (PARTITION BY pair_id, level)) AS many FROM best WHERE n <= 8
),
figures AS (
    SELECT pair_id, level, avg(CASE WHEN n IN ((many + 1) / 2, many / 2 + 1) THEN p END) AS value, max(p) AS top
    FROM taken GROUP BY pair_id, level
)
SELECT pair_id, level, value, scores >= 8 AND judges >= 4 AND competitions >= 4 AS qualified,
       rank() OVER (
           PARTITION BY level, scores >= 8 AND judges >= 4 AND competitions >= 4 ORDER BY value DESC, top DESC
       ) AS place
FROM figures JOIN counted USING (pair_id, level)
"""


def run(scores: int = SCORES) -> dict[str, float | str]:
    from tests.benchmarks.ledgers import fill

    season = fill(scores)
    rest = [_in_a_process(name) for name in ("polars", "pandas", "sql")]
    ours = _in_a_process("rebuilt")
    differing = _differing(season, rest[0]["values"])
    ours |= _in_a_process("served")  # it changes the ledger
    return {
        "load of the machine": " ".join(f"{one:.1f}" for one in os.getloadavg()),
        "scores": str(scores),
        "rows of the standings": str(season.rows.count()),
        "whole rebuild into stored rows, s": ours["seconds"],
        "whole rebuild, s of processor": ours["seconds of processor"],
        "whole rebuild over another, s": ours["again"],
        "whole rebuild, largest memory, MB": ours["memory"],
        "polars, figures and places only, s": rest[0]["seconds"],
        "polars, s of processor": rest[0]["processor"],
        "polars, written into a plain table, s": rest[0]["written"],
        "pandas, figures and places only, s": rest[1]["seconds"],
        "plain SQL, figures and places only, s": rest[2]["seconds"],
        "whole rebuild to polars": ours["seconds"] / rest[0]["seconds"],
        "whole rebuild to polars, of processor": ours["seconds of processor"] / rest[0]["processor"],
        "whole rebuild to polars written": ours["seconds"] / rest[0]["written"],
        "whole rebuild to pandas": ours["seconds"] / rest[1]["seconds"],
        "whole rebuild to plain SQL": ours["seconds"] / rest[2]["seconds"],
        "values that differ from polars by 0.001 or more": str(differing),
        f"{TOUCHED} touched units, ms (best of 5)": ours["touched"],
        f"{TOUCHED} touched units, ms of processor": ours["touched processor"],
        "plain SQL for the same units, figures only, ms": ours["touched by SQL"],
        f"first page of a table of {ours['page rows']} rows, ms (best of 5)": ours["page"],
        "first page, ms of processor": ours["page processor"],
        "plain SQL with rank() over the table for its rows, ms": ours["page by SQL"],
        "standings as CSV, s": ours["file"],
        "standings as CSV, memory more at the end, MB": ours["file memory"],
        "outlook of one pair, ms (best of 5)": ours["outlook"],
        "outlook, ms of processor": ours["outlook processor"],
    }


def _in_a_process(part: str) -> Any:
    command = [sys.executable, "-W", "ignore", str(Path(__file__)), part]
    done = subprocess.run(
        command, cwd=_ROOT, env={**os.environ, "PYTHONPATH": str(_ROOT)}, stdout=subprocess.PIPE, check=True
    )
    return json.loads(done.stdout.splitlines()[-1])


def _timed(act: Callable[[], Any]) -> tuple[float, float, Any]:
    """Return seconds by the clock, seconds of this processor, and what came of it."""
    start, worked = time.perf_counter(), time.process_time()
    found = act()
    return time.perf_counter() - start, time.process_time() - worked, found


def _best(act: Callable[[], Any], times: int = 5) -> tuple[float, float]:
    """Return the best of some runs in milliseconds, by the clock and of this processor."""
    runs = [_timed(act)[:2] for _ in range(times)]
    return 1000 * min(run[0] for run in runs), 1000 * min(run[1] for run in runs)


def _memory() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _rebuilt() -> dict[str, float]:
    """Have it rebuilt as the queue's worker does; the first time nothing stands there yet."""
    from riders.models import Season
    from riders.services.rebuilds import request_rebuild, run_rebuild

    season = Season.objects.get()
    figures: dict[str, float] = {}
    for name in ("seconds", "again"):
        rebuild = request_rebuild(season, by=None)
        figures[name], figures[f"{name} of processor"], done = _timed(lambda: run_rebuild(rebuild.pk))  # noqa: B023
        assert done is not None
        assert done.state == "done"
    figures["memory"] = _memory()
    return figures


def _served() -> dict[str, float]:
    from django.core.cache import cache
    from django.db import connection

    from riders.models import Pair, Score, Season
    from riders.selectors.outlooks import pair_outlook
    from riders.selectors.season_lists import standings_csv
    from riders.services.standings import store_touched
    from riders.transactions import write_transaction

    season = Season.objects.select_related("association", "scheme").get()
    figures: dict[str, float] = {}
    season.refresh_from_db()
    pairs = list(Pair.objects.order_by("?").values_list("pk", flat=True)[:TOUCHED])
    # Any change of a score will do: each run finds other figures than are stored, and writes them.
    own = list(Score.objects.filter(pair__in=pairs).values_list("pk", flat=True))[::5]
    figures["touched"] = figures["touched processor"] = float("inf")
    for turn in range(5):
        Score.objects.filter(pk__in=own).update(percentage=f"7{turn}.125")

        def touch() -> None:
            with write_transaction():
                assert store_touched(season, pairs=pairs)

        seconds, worked, _ = _timed(touch)
        figures["touched"] = min(figures["touched"], 1000 * seconds)
        figures["touched processor"] = min(figures["touched processor"], 1000 * worked)
    only = f"({_LEDGER} AND pair_id IN ({', '.join(map(str, pairs))}))"
    figures["touched by SQL"], _ = _best(lambda: _fetched(connection, _SQL.replace(f"({_LEDGER})", only)))
    before = _memory()
    figures["file"], _, _ = _timed(lambda: sum(map(len, standings_csv(season))))
    figures["file memory"] = _memory() - before
    pair = Pair.objects.select_related("rider", "horse").get(pk=pairs[0])

    def outlook() -> None:
        cache.clear()
        pair_outlook(pair, season)

    figures["outlook"], figures["outlook processor"] = _best(outlook)
    return figures | _first_page(season)


def _first_page(season: Any) -> dict[str, float]:
    """Open the first page of one table that all pairs stand in together."""
    from django.conf import settings
    from django.db import connection
    from django.test import Client

    from riders.models import Scheme
    from riders.services.standings import rebuild_standings

    document = {**season.scheme.document, "id": "benchmark-together", "group_by": []}
    season.scheme = Scheme.objects.create(key=document["id"], title=document["title"], document=document)
    season.save(update_fields=["scheme"])
    rebuild_standings(season)
    settings.STORAGES["staticfiles"]["BACKEND"] = "django.contrib.staticfiles.storage.StaticFilesStorage"
    client = Client()
    page, processor = _best(lambda: client.get("/associations/benchmark/2027/?table=0"))
    table = season.tables.get(shown=True)
    ranked = (
        "SELECT r.*, rank() OVER (ORDER BY r.rank) AS place FROM riders_standingrow r "
        f"WHERE r.table_id = {table.pk} ORDER BY r.rank, r.name_order LIMIT 100"
    )
    by_sql, _ = _best(lambda: _fetched(connection, ranked))
    return {"page rows": table.size, "page": page, "page processor": processor, "page by SQL": by_sql}


def _fetched(connection: Any, query: str) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(query)
        return list(cursor.fetchall())


def _database() -> sqlite3.Connection:
    from django.conf import settings

    return sqlite3.connect(settings.DATABASES["default"]["NAME"])


def _with_polars() -> dict[str, Any]:
    import polars as pl

    def compute() -> Any:
        with _database() as connection:
            ledger = pl.read_database(_LEDGER, connection)
        ledger = ledger.with_columns(pl.col("percentage").cast(pl.Float64))
        met = (pl.col("scores") >= 8) & (pl.col("judges") >= 4) & (pl.col("competitions") >= 4)
        table = (
            ledger.lazy()
            .group_by("level", "pair_id")
            .agg(
                pl.len().alias("scores"),
                pl.col("judges").n_unique(),
                pl.col("competition").n_unique().alias("competitions"),
                pl.col("percentage").top_k(8).median().alias("value"),
                pl.col("percentage").max().alias("top"),
            )
            .with_columns(met.alias("qualified"))
            .sort("level", "qualified", "value", "top", descending=[False, True, True, True])
            .with_columns(
                pl.struct("value", "top").rank("min", descending=True).over("level", "qualified").alias("place")
            )
        )
        return table.collect()

    def write(table: Any) -> None:
        with _database() as connection:
            connection.execute("CREATE TABLE plain_standings (level, pair_id, value, qualified, place)")
            rows = table.select("level", "pair_id", "value", "qualified", "place").iter_rows()
            connection.executemany("INSERT INTO plain_standings VALUES (?, ?, ?, ?, ?)", rows)
            connection.execute("CREATE INDEX plain_standings_in_order ON plain_standings (level, place)")
        with _database() as connection:
            connection.execute("DROP TABLE plain_standings")

    pl.DataFrame({"one": [1]}).lazy().group_by("one").agg(pl.len()).collect()
    seconds, processor, table = _timed(compute)
    wrote, _, _ = _timed(lambda: write(table))
    values = {f"{level} {pair}": value for level, pair, value in table.select("level", "pair_id", "value").iter_rows()}
    return {"seconds": seconds, "processor": processor, "written": seconds + wrote, "values": values}


def _with_pandas() -> dict[str, Any]:
    import pandas as pd

    def compute() -> Any:
        with _database() as connection:
            ledger = pd.read_sql_query(_LEDGER, connection)
        ledger["percentage"] = ledger.percentage.astype(float)
        by = ["level", "pair_id"]
        counted = ledger.groupby(by).agg(
            scores=("percentage", "size"), judges=("judges", "nunique"), competitions=("competition", "nunique")
        )
        best = ledger.sort_values("percentage", ascending=False).groupby(by).head(8).groupby(by)["percentage"]
        table = counted.join(best.agg(value="median", top="max"))
        met = (table.scores >= 8) & (table.judges >= 4) & (table.competitions >= 4)
        placed = table[met].sort_values(["value", "top"], ascending=False)
        table["placing"] = placed.groupby("level").cumcount() + 1
        return table

    return {"seconds": _timed(compute)[0]}


def _with_sql() -> dict[str, Any]:
    def compute() -> list[Any]:
        with _database() as connection:
            return connection.execute(_SQL).fetchall()

    return {"seconds": _timed(compute)[0]}


def _differing(season: Any, values: dict[str, float]) -> int:
    ours = season.rows.values_list("table__group__level", "pair_id", "value")
    return sum(abs(float(value) - values[f"{level} {pair}"]) >= 0.001 for level, pair, value in ours)


_PARTS = {"polars": _with_polars, "pandas": _with_pandas, "sql": _with_sql, "rebuilt": _rebuilt, "served": _served}


if __name__ == "__main__":
    import django

    django.setup()
    print(json.dumps(_PARTS[sys.argv[1]]()))
