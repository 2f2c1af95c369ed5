"""A large ledger of our own invention, written with as little between it and the database as there can be."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, timedelta
from random import Random
from typing import Any

SCORES_OF_A_PAIR = 20
SEED = 20_270_901
FIRST_DAY = date(2026, 10, 1)

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
"""The median of a pair's best eight by level, from eight scores before four judges at four competitions."""

_SCORE = (
    "key", "source", "pair_id", "division", "level", "test", "kind", "date", "competition", "class_name", "judges",
    "percentage", "collectives", "status", "hors_concours", "region", "team", "venue", "owner", "posted_at",
)  # fmt: skip


def fill(scores: int) -> Any:
    """Write riders, horses, pairs and scores, and return a season over them whose standings are not worked out yet."""
    from django.db import connection, transaction

    from riders.models import Association, Scheme, Season

    pairs = max(scores // SCORES_OF_A_PAIR, 1)
    with transaction.atomic(), connection.cursor() as cursor:
        people = range(1, pairs + 1)
        cursor.executemany(
            "INSERT INTO riders_rider (id, name, apart, registration, email) VALUES (%s, %s, '', %s, '')",
            ((n, f"Rider {n}", f"R{n}") for n in people),
        )
        cursor.executemany(
            "INSERT INTO riders_horse (id, name, apart, registration) VALUES (%s, %s, '', %s)",
            ((n, f"Horse {n}", f"H{n}") for n in people),
        )
        cursor.executemany(
            "INSERT INTO riders_pair (id, key, rider_id, horse_id) VALUES (%s, %s, %s, %s)",
            ((n, f"R{n}/H{n}", n, n) for n in people),
        )
        marks = ", ".join(["%s"] * len(_SCORE))
        cursor.executemany(f"INSERT INTO riders_score ({', '.join(_SCORE)}) VALUES ({marks})", _scores(scores, pairs))
    association = Association.objects.create(slug="benchmark", title="Benchmark")
    scheme = Scheme.objects.create(key=SCHEME["id"], title=SCHEME["title"], document=SCHEME)
    return Season.objects.create(
        association=association,
        slug="2027",
        title="2027",
        starts_on=FIRST_DAY,
        ends_on=date(2027, 9, 30),
        scheme=scheme,
    )


def _scores(scores: int, pairs: int) -> Iterator[tuple[Any, ...]]:
    """Yield the scores in the order of their days, as a ledger grows."""
    random = Random(SEED)
    days = [(FIRST_DAY + timedelta(days=number)).isoformat() for number in range(360)]
    judges = [json.dumps([f"Judge {number}"]) for number in range(60)]
    for n in range(scores):
        pair, show = random.randrange(pairs), random.randrange(40)
        yield (
            f"show-{show}/{n % 40}/{n}", "import", pair + 1, "open", ("novice", "elementary", "medium")[pair % 3], "t1",
            "set", days[n * 360 // scores], f"show-{show}", str(n % 40), random.choice(judges),
            f"{random.randrange(52_000, 76_000) / 1000:.3f}", "", "completed", random.random() < 0.02, "north", "", "",
            "", "2027-09-30 12:00:00",
        )  # fmt: skip
