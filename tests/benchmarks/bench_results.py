"""How fast a class of 60 entries, 5 seats and 30 items is computed, beside pandas doing the same arithmetic.

Both sides start from the same class document in memory and work in the same process, one after the other, so that the
ratio holds although absolute figures drift; process time is taken, except of the command line. The pandas side computes
the percentages, the totals, the places and the places under each seat in binary floats; it does without statuses, ties,
checks and working, which ours includes.
"""

from __future__ import annotations

import json
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import pandas as pd

import scoring
from scoring.bundles import bundle_digest, verify_bundle

SEATS = "EHCMB"
MARKS = ("5.5", "6", "6.5", "7", "7.5", "8")


def class_document(*, entries: int = 60, items: int = 30, seed: int = 1) -> dict[str, Any]:
    rnd = random.Random(seed)
    ids = [str(index) for index in range(1, items + 1)]
    test = {
        "format": "test/1",
        "id": "bench",
        "mark": {"min": "0", "max": "10", "step": "0.5"},
        "items": [
            {"id": item, "coefficient": "2" if item in ("5", "9", "14") else "1", "collective": int(item) > items - 4}
            for item in ids
        ],
    }
    rows = [
        {
            "number": str(number),
            "status": "completed",
            "errors": 1 if number % 15 == 0 else 0,
            "sheets": {seat: {"marks": {item: rnd.choice(MARKS) for item in ids}} for seat in SEATS},
        }
        for number in range(1, entries + 1)
    ]
    return {
        "format": "class/1",
        "id": "bench",
        "test": test,
        "rules": scoring.rule_sets()["points-errors-collectives"],
        "panel": [{"seat": seat} for seat in SEATS],
        "entries": rows,
    }


def with_pandas(document: dict[str, Any]) -> object:
    """Compute the class with a data frame of one row a mark, as a script of an association might."""
    test, entries = document["test"], document["entries"]
    coefficients = {item["id"]: float(item["coefficient"]) for item in test["items"]}
    maximum = sum(10 * coefficient for coefficient in coefficients.values())
    frame = pd.DataFrame(
        [
            (entry["number"], seat, item, float(mark))
            for entry in entries
            for seat, sheet in entry["sheets"].items()
            for item, mark in sheet["marks"].items()
        ],
        columns=["number", "seat", "item", "mark"],
    )
    frame["points"] = frame["mark"] * frame["item"].map(coefficients)
    sheets = frame.groupby(["number", "seat"])["points"].sum().unstack()
    errors = pd.Series({entry["number"]: 2.0 * entry["errors"] for entry in entries})
    percentages = (sheets.sub(errors, axis=0) / maximum * 100).round(3)
    totals = percentages.mean(axis=1).round(3)
    places = [frame.rank(ascending=False, method="min") for frame in (percentages, totals)]
    return pd.concat(places, axis=1)


def milliseconds(
    work: Callable[[], object], *, times: int = 30, clock: Callable[[], float] = time.process_time
) -> float:
    work()
    measured = []
    for _ in range(times):
        start = clock()
        work()
        measured.append((clock() - start) * 1000)
    return statistics.median(measured)


def command_line(document: dict[str, Any]) -> float:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "class.json"
        path.write_text(json.dumps(document), encoding="utf-8")
        command = [sys.executable, "-m", "scoring", "results", str(path)]
        root = Path(__file__).resolve().parents[2]
        return milliseconds(
            lambda: subprocess.run(command, cwd=root, capture_output=True, check=True), times=7, clock=time.perf_counter
        )


def kept_memory(document: dict[str, Any], *, times: int = 1000) -> float:
    """Return by how many MB the process has grown after computing so many classes, the first hundred not counted."""
    for round_number in range(times):
        scoring.compute_results(scoring.read_class(document))
        if round_number == 99:
            before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024


def verified(*, classes: int = 40) -> float:
    """Return the milliseconds of verifying a bundle of so many classes."""
    found = []
    for number in range(classes):
        document = class_document(entries=40, seed=number) | {"id": f"bench/{number}"}
        results = scoring.compute_results(scoring.read_class(document)).as_document()
        found.append({"class": document, "results": results, "published_at": "2026-11-15T12:00:00Z", "revision": 1})
    bundle: dict[str, Any] = {"format": "bundle/1", "competition": {"id": "bench"}, "classes": found}
    bundle["digest"] = bundle_digest(bundle)
    start = time.process_time()
    differences = verify_bundle(bundle)
    if differences:
        raise RuntimeError(differences)
    return (time.process_time() - start) * 1000


def run() -> dict[str, float]:
    document = class_document()
    found = scoring.read_class(document)
    ours = milliseconds(lambda: scoring.compute_results(scoring.read_class(document), working=False))
    pandas = milliseconds(lambda: with_pandas(document))
    return {
        "read the document, ms": milliseconds(lambda: scoring.read_class(document)),
        "compute, without working, ms": milliseconds(lambda: scoring.compute_results(found, working=False)),
        "compute, with working, ms": milliseconds(lambda: scoring.compute_results(found)),
        "read and compute, without working, ms": ours,
        "read, compute, with working, ms": milliseconds(lambda: scoring.compute_results(scoring.read_class(document))),
        "alternative: pandas, from the same document, ms": pandas,
        "ratio: ours, read and computed, to pandas": ours / pandas,
        "command line, whole process, ms": command_line(document),
        "1,000 classes in one process: growth, MB": kept_memory(document),
        "verify a bundle of 40 classes of 40 x 5 x 30, ms": verified(),
    }
