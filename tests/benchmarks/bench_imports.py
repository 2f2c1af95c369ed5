"""How long writers wait while a file of scores is taken in: new rows, the same corrected, a bundle of 5,000 rides.

Compared in the same run with writing the same rows of the ledger, ready as tuples, by a plain ``executemany`` and with
one note each, by which nothing is read, compared, matched or kept of what stood before.
"""

from __future__ import annotations

import copy
import os
import time
from random import Random
from typing import Any

HEADER = "score_id,pair,rider,horse,level,date,competition,class,judges,percentage,status,hors_concours"
RIDES_OF_A_PAIR = 20
BUNDLE_CLASSES, BUNDLE_ENTRIES = 100, 50


def run() -> dict[str, float | str]:
    from riders import transactions
    from riders.services.direct_imports import import_bundle, import_scores
    from tests.builders import make_association

    held, before = _Held(), transactions._threads
    transactions._threads = held
    found: dict[str, float | str] = {"load of the machine": " ".join(f"{one:.1f}" for one in os.getloadavg())}
    try:
        for rows, tag in ((10_000, "ten"), (50_000, "fifty")):
            start = time.perf_counter()
            import_scores(_file(rows, tag, "60."), by=None)
            whole, locked = time.perf_counter() - start, held.taken()
            plain = _plain(rows, tag)
            found[f"{rows:,} new rows, lock held, s"] = locked
            found[f"{rows:,} new rows, whole import, s"] = whole
            found[f"{rows:,} rows by executemany, lock held, s"] = plain
            found[f"{rows:,} new rows, lock to executemany"] = locked / plain
        held.taken()
        import_scores(_file(10_000, "ten", "61."), by=None)
        found["10,000 corrections, lock held, s"] = held.taken()
        bundle = _bundle()
        association = make_association("benchmark-imports")
        held.taken()
        start = time.perf_counter()
        posted = import_bundle(bundle, association=association, by=None).posted
        found[f"bundle of {posted:,} new rides, lock held, s"] = held.taken()
        found[f"bundle of {posted:,} new rides, whole import, s"] = time.perf_counter() - start
    finally:
        transactions._threads = before
    return found


class _Held:
    """Stands in the place of the lock on which the threads of a process queue, and says how long it was held."""

    def __init__(self) -> None:
        self.times: list[float] = []

    def __enter__(self) -> None:
        self.start = time.perf_counter()

    def __exit__(self, *_: object) -> None:
        self.times.append(time.perf_counter() - self.start)

    def taken(self) -> float:
        """Return the longest time since the last call."""
        longest = max(self.times, default=0.0)
        self.times.clear()
        return longest


def _name(seed: str) -> str:
    random = Random(seed)
    return "".join(random.choice("abcdefghijklmnopqrstuvwxyz") for _ in range(18)).title()


def _file(rows: int, tag: str, percentage: str) -> str:
    pairs = rows // RIDES_OF_A_PAIR
    names = [(_name(f"{tag} rider {n}"), _name(f"{tag} horse {n}")) for n in range(pairs)]
    lines = [
        f"{tag}-{n % 40}/{n},{tag}P{n % pairs},{names[n % pairs][0]},{names[n % pairs][1]},novice,"
        f"2026-{11 + n % 2}-{1 + n % 28:02},{tag}-{n % 40},{n % 97},Ann Orde;Bo Rask,{percentage}{n % 1000:03},"
        "completed,false"
        for n in range(rows)
    ]
    return "\n".join((HEADER, *lines)) + "\n"


def _plain(rows: int, tag: str) -> float:
    """Write copies of the rows of a file, under other keys, and undo that."""
    from django.db import connection, transaction

    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM riders_score WHERE key LIKE %s", [f"{tag}-%"])
        names = [column[0] for column in cursor.description]
        copies = [
            [
                f"plain-{value}" if name == "key" else value
                for name, value in zip(names, row, strict=True)
                if name != "id"
            ]
            for row in cursor.fetchall()
        ]
    columns = [name for name in names if name != "id"]
    places = ", ".join(["%s"] * len(columns))
    with transaction.atomic(), connection.cursor() as cursor:
        start = time.perf_counter()
        cursor.executemany(f"INSERT INTO riders_score ({', '.join(columns)}) VALUES ({places})", copies)
        cursor.execute("SELECT id FROM riders_score WHERE key LIKE 'plain-%%' ORDER BY id")
        notes = [(number, "posted", "2027-01-01 12:00:00", "plain") for (number,) in cursor.fetchall()]
        cursor.executemany(
            "INSERT INTO riders_scorechange (score_id, action, at, reason) VALUES (%s, %s, %s, %s)", notes
        )
        taken = time.perf_counter() - start
        transaction.set_rollback(True)
    assert len(notes) == rows
    return taken


def _bundle() -> dict[str, Any]:
    """Return a bundle of a show elsewhere: one class that is run here, a hundred times with other people."""
    from competitions.services.bundles import bundle_document
    from competitions.services.results import make_official
    from scoring.bundles import bundle_digest
    from tests.benchmarks.bench_sheet_saved import fill
    from tests.builders import make_class, make_competition, make_rule_set, make_test

    make_test(items=4)
    make_rule_set()
    competition = make_competition("bench-imports")
    one_class = make_class(competition, seats="C", entries=BUNDLE_ENTRIES)
    fill(one_class)
    one_class.refresh_from_db()
    make_official(one_class, by=None)
    document = bundle_document(competition)
    document["competition"]["id"] = "bench-elsewhere"
    document["classes"] = [_renumbered(document["classes"][0], number) for number in range(1, BUNDLE_CLASSES + 1)]
    return document | {"digest": bundle_digest(document)}


def _renumbered(claim: dict[str, Any], number: int) -> dict[str, Any]:
    found = copy.deepcopy(claim)
    found["class"] |= {"id": f"bench-elsewhere/{number}", "x-number": str(number)}
    found["results"]["class"] = found["class"]["id"]
    for entry in found["class"]["entries"]:
        seed = f"{number} {entry['number']}"
        entry |= {"x-rider": _name(f"rider {seed}"), "x-horse": _name(f"horse {seed}"), "x-pair": f"elsewhere {seed}"}
        for key in ("x-rider-registration", "x-horse-registration"):
            entry.pop(key, None)
    return found
