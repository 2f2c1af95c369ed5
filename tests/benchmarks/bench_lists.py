"""A list of 5,000 rows as a workbook and as a PDF: seconds, memory at its most, and the other ways to write them.

Run it: ``python tests/benchmarks/bench_lists.py``. Each measurement runs in a process of its own, since memory at its
most is of a process. The alternatives: the same workbook written with all rows in memory, and by openpyxl.
"""

from __future__ import annotations

import io
import resource
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
ROWS = 5000


def run() -> dict[str, float | str]:
    found = {way: measured(way) for way in ("workbook", "in_memory", "openpyxl", "csv", "pdf")}
    seconds, megabytes = ({way: one[part] for way, one in found.items()} for part in (0, 1))
    return {
        "workbook, s": seconds["workbook"],
        "workbook, MB more": megabytes["workbook"],
        "workbook / the same kept in memory, time": seconds["workbook"] / seconds["in_memory"],
        "workbook / the same kept in memory, memory": megabytes["workbook"] / max(megabytes["in_memory"], 0.1),
        "workbook / openpyxl, time": seconds["workbook"] / seconds["openpyxl"],
        "workbook / openpyxl, memory": megabytes["workbook"] / max(megabytes["openpyxl"], 0.1),
        "CSV, s": seconds["csv"],
        "PDF, s": seconds["pdf"],
        "PDF, MB more": megabytes["pdf"],
    }


def measured(way: str) -> tuple[float, float]:
    done = subprocess.run([sys.executable, __file__, way], capture_output=True, text=True, check=True, cwd=ROOT)
    seconds, megabytes = map(float, done.stdout.split())
    return seconds, megabytes


def measure(way: str) -> None:
    import xlsxwriter

    from reports.lists import csv_file, workbook
    from reports.pdf import season_list
    from tests.reports import season_shapes as shapes

    data = shapes.season_list(tables=(shapes.list_table(rows=ROWS, unplaced=0),))
    small = shapes.season_list(tables=(shapes.list_table(rows=3, unplaced=0),))
    if way == "in_memory":
        real = xlsxwriter.Workbook
        workbook.xlsxwriter.Workbook = lambda out, options: real(out, options | {"constant_memory": False})
    build = {"csv": csv_file.build, "pdf": season_list.build, "openpyxl": by_openpyxl}.get(way, workbook.build)
    build(small)
    before, start = most(), time.perf_counter()
    build(data)
    print(time.perf_counter() - start, most() - before)


def by_openpyxl(data) -> bytes:
    from openpyxl import Workbook

    from reports.lists.workbook import _cells

    book, out = Workbook(), io.BytesIO()
    for row in data.tables[0].rows:
        book.active.append(_cells(row, data))
    book.save(out)
    return out.getvalue()


def most() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    if len(sys.argv) > 1:
        measure(sys.argv[1])
    else:
        for label, value in run().items():
            print(f"{label:<50} {value:.2f}")
