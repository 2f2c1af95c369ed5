"""Invented lists of a season, in several shapes."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from reports.pdf.certificates import Certificate, CertificatesData
from reports.pdf.season_data import ListRow, ListTable, SeasonListData
from tests.reports.shapes import HORSES, RIDERS, percentage

RULE = ("Each pair is ranked, in one table for each level.", "The value is the mean of the scores that count.")


def list_row(index: int, **changes: Any) -> ListRow:
    fields: dict[str, Any] = {
        "unit": f"R-{2000 + index}-H-{3000 + index}",
        "rider": RIDERS[index % len(RIDERS)],
        "horse": HORSES[index % len(HORSES)],
        "placing": index + 1,
        "shared": False,
        "value": percentage(index % 60, 0),
        "qualified": True,
        "tier": "",
        "counted": 4,
        "missing": (),
    }
    return ListRow(**(fields | changes))


def list_table(title: str = "novice", *, rows: int = 12, unplaced: int = 3) -> ListTable:
    missing = {"placing": None, "qualified": False, "missing": ("3 of 4 scores", "2 of 3 judges")}
    lines = [
        *(list_row(index) for index in range(rows)),
        *(list_row(rows + index, **missing) for index in range(unplaced)),
    ]
    return ListTable(title, {"level": title}, tuple(lines))


def season_list(**changes: Any) -> SeasonListData:
    fields: dict[str, Any] = {
        "name": "standings",
        "format": "pdf",
        "association": "Valdemoor Dressage Association",
        "season": "Season 2026",
        "starts_on": date(2025, 10, 1),
        "ends_on": date(2026, 9, 30),
        "scheme": "Qualifying average",
        "scheme_version": 2,
        "ranked": True,
        "unit": "pair",
        "tiered": False,
        "edition": 1,
        "version": 14,
        "digest": "5f0c2c1d7f0f4a62b54a1e7a0b3f0a8a6a5d6f1c9d8e7b6a5f4e3d2c1b0a9f8e",
        "as_of": datetime(2026, 10, 3, 18, 5, tzinfo=UTC),
        "rule": RULE,
        "tables": (list_table("elementary"), list_table("novice")),
    }
    return SeasonListData(**(fields | changes))


def tiers() -> SeasonListData:
    """A lifetime scheme that has tiers in place of places."""
    rows = [list_row(n, placing=None, tier=("gold", "silver", "")[n % 3], qualified=n % 3 < 2) for n in range(9)]
    return season_list(name="awards", ranked=False, tiered=True, tables=(ListTable("All", {}, tuple(rows)),))


def certificates(names: tuple[tuple[str, str], ...] = ((RIDERS[2], HORSES[5]),), **changes: Any) -> CertificatesData:
    fields: dict[str, Any] = {
        "association": "Valdemoor Dressage Association",
        "season": "Season 2026",
        "starts_on": date(2025, 10, 1),
        "ends_on": date(2026, 9, 30),
        "edition": 1,
        "digest": "5f0c2c1d7f0f4a62b54a1e7a0b3f0a8a6a5d6f1c9d8e7b6a5f4e3d2c1b0a9f8e",
        "certificates": tuple(
            Certificate(rider, horse, "1st place", "Novice", ("value 70.112 · 4 scores counted",))
            for rider, horse in names
        ),
    }
    return CertificatesData(**(fields | changes))
