"""Keyed sheet saved, class recomputed, board changed: 60 entries, 5 judges, 30 items, on the database of the settings.

The alternative in the same run is saving the same marks one row a mark through the ORM, with no results worked out:
what a plain application would do for the storing alone.
"""

from __future__ import annotations

import statistics
import time
from contextlib import contextmanager

from django.db import connection, models


def run(*, entries: int = 60, seats: str = "EHCMB", items: int = 28, rounds: int = 40) -> dict[str, float]:
    from competitions.selectors.board import board_for
    from tests.builders import make_class, make_competition, make_rule_set, make_test, mark_sheet

    make_test(items=items)
    make_rule_set()
    competition_class = make_class(make_competition("bench"), seats=seats, entries=entries)
    fill(competition_class)
    entry = competition_class.entries.order_by("pk")[entries // 2]
    saved, shown = [], []
    for n in range(rounds):
        start = time.perf_counter()
        mark_sheet(entry, "C", mark=55 + 5 * (n % 2))
        middle = time.perf_counter()
        competition_class.refresh_from_db()
        board_for(competition_class)
        saved.append(middle - start)
        shown.append(time.perf_counter() - start)
    plain = row_per_mark(items + 2, rounds=rounds)
    return {
        "saved and recomputed, ms": statistics.median(saved) * 1000,
        "with the board read anew, ms": statistics.median(shown) * 1000,
        "worst, ms": max(shown) * 1000,
        "alternative: a row a mark through the ORM, ms": plain * 1000,
        "ratio to the alternative": statistics.median(shown) / plain,
    }


def fill(competition_class) -> None:
    """Mark everybody through the services, with the results worked out once at the end."""
    from competitions.models import SheetRevision
    from competitions.services.results import recompute_class
    from competitions.services.sheets import SheetChanges, settle_status, write_sheet
    from riders.transactions import write_transaction

    item_ids = [item["id"] for item in competition_class.test.document["items"]]
    with write_transaction():
        for number, entry in enumerate(competition_class.entries.all()):
            for offset, seat in enumerate(competition_class.seats.all()):
                marks = {item: 50 + 5 * ((number + offset + place) % 6) for place, item in enumerate(item_ids)}
                write_sheet(
                    competition_class,
                    entry=entry,
                    seat=seat,
                    expected_version=0,
                    changes=SheetChanges(marks=marks),
                    by=None,
                    source=SheetRevision.Source.IMPORT,
                )
            settle_status(competition_class, entry)
        recompute_class(competition_class)


def row_per_mark(items: int, *, rounds: int) -> float:
    class PlainMark(models.Model):
        item = models.CharField(max_length=10)
        tenths = models.IntegerField()

        class Meta:
            app_label = "competitions"
            db_table = "bench_plain_mark"

    with schema_of(PlainMark):
        rows = PlainMark.objects.bulk_create(PlainMark(item=str(n), tenths=60) for n in range(items))
        times = []
        for n in range(rounds):
            start = time.perf_counter()
            for row in rows:
                row.tenths = 55 + 5 * (n % 2)
                row.save()
            times.append(time.perf_counter() - start)
    return statistics.median(times)


@contextmanager
def schema_of(model):
    with connection.schema_editor() as editor:
        editor.create_model(model)
    try:
        yield
    finally:
        with connection.schema_editor() as editor:
            editor.delete_model(model)


__all__ = ["fill", "run"]
