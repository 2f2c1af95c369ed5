"""How fast a class of 60 entries, 5 seats and 30 items is computed, beside pandas doing the same arithmetic.

Run it: ``python tests/benchmarks/bench_results.py``. Both sides start from the same class document in memory and work
in the same process, one after the other, so that the ratio holds although absolute figures drift. The pandas side
computes the percentages, the totals, the places and the places under each seat in binary floats; it does without
statuses, ties, checks and working, which ours includes.
"""

from __future__ import annotations

import json
import random
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


def milliseconds(work: Callable[[], object], *, times: int = 30) -> float:
    work()
    measured = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        measured.append((time.perf_counter() - start) * 1000)
    return statistics.median(measured)


def command_line(document: dict[str, Any]) -> float:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "class.json"
        path.write_text(json.dumps(document), encoding="utf-8")
        command = [sys.executable, "-m", "scoring", "results", str(path)]
        root = Path(__file__).resolve().parents[2]
        return milliseconds(lambda: subprocess.run(command, cwd=root, capture_output=True, check=True), times=7)


def main() -> None:
    document = class_document()
    found = scoring.read_class(document)
    ours = milliseconds(lambda: scoring.compute_results(scoring.read_class(document), working=False))
    rows = [
        ("read the document", milliseconds(lambda: scoring.read_class(document))),
        ("compute, without working", milliseconds(lambda: scoring.compute_results(found, working=False))),
        ("compute, with working", milliseconds(lambda: scoring.compute_results(found))),
        ("read and compute, without working", ours),
        ("read, compute, with working", milliseconds(lambda: scoring.compute_results(scoring.read_class(document)))),
        ("pandas, from the same document", pandas := milliseconds(lambda: with_pandas(document))),
        ("command line, whole process", command_line(document)),
    ]
    lines = ["60 entries x 5 seats x 30 items, medians in ms"]
    lines.extend(f"  {name:36} {value:8.2f}" for name, value in rows)
    lines.append(f"  {'pandas / read and compute':36} {pandas / ours:8.2f}")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
