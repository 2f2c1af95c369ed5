"""Standings page by page, and as a file that is written while it is read: tables may have 100,000 rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db.models import Count, QuerySet

from riders.csvrows import write_rows
from riders.models import Season, StandingRow

ROWS_AT_FIRST = 50
ROWS_ON_A_PAGE = 100
_READ_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class TablePage:
    """Some rows of one table: ``count`` of it in all, on ``page`` of ``pages``."""

    table: int
    group: dict[str, object]
    rows: tuple[StandingRow, ...]
    count: int
    page: int = 1
    pages: int = 1

    @property
    def title(self) -> str:
        return group_title(self.group)

    @property
    def more(self) -> int:
        return self.count - len(self.rows)


def group_title(group: dict[str, object]) -> str:
    """Return the values of a group as a title."""
    return ", ".join("not stated" if value in (None, "") else str(value) for value in group.values()) or "All"


def table_overview(season: Season) -> list[TablePage]:
    """Return the first rows of every table."""
    counts = _counts(season)
    rows = _shown(season).filter(position__lt=ROWS_AT_FIRST)
    tables = []
    for table, members in groupby(rows, key=lambda row: row.table):
        shown = tuple(members)
        tables.append(TablePage(table, shown[0].group, shown, counts[table]))
    return tables


def table_page(season: Season, *, table: int, page: str) -> TablePage | None:
    """Return one page of a table, the nearest to the one asked for; None where there is no such table."""
    count = _shown(season).filter(table=table).count()
    if not count:
        return None
    pages = -(-count // ROWS_ON_A_PAGE)
    number = min(max(int(page), 1), pages) if page.isascii() and page.isdigit() and len(page) < 10 else 1
    first = (number - 1) * ROWS_ON_A_PAGE
    rows = tuple(_shown(season).filter(table=table, position__gte=first, position__lt=first + ROWS_ON_A_PAGE))
    return TablePage(table, rows[0].group, rows, count, number, pages)


def _counts(season: Season) -> dict[int, int]:
    counted = StandingRow.objects.filter(season=season).order_by().values("table").annotate(rows=Count("pk"))
    return {one["table"]: one["rows"] for one in counted}


def _shown(season: Season) -> QuerySet[StandingRow]:
    """Select rows without what only a look behind one of them needs."""
    rows = StandingRow.objects.filter(season=season).select_related("pair__rider", "pair__horse")
    return rows.defer("explanations", "ranking").order_by("table", "position")


def standings_csv(season: Season) -> Iterator[str]:
    """Yield the lines of a CSV file of the standings, a row for each unit in each table, in the order of the tables."""
    first = StandingRow.objects.filter(season=season).order_by("table", "position").first()
    fields = list(first.group) if first else []
    columns = [*fields, "place", "shared", "unit", "rider", "horse", "value", "qualified", "counted", "missing"]
    rows = _shown(season).iterator(chunk_size=_READ_AT_ONCE)
    return write_rows(columns, (_cells(row, fields) for row in rows))


def missing_words(requirement: Mapping[str, Any]) -> str:
    """Say how far a requirement is met, as it stands in ``standings/1``."""
    for key, joined in (("any_of", " or "), ("all_of", " and ")):
        if key in requirement:
            return joined.join(missing_words(option) for option in requirement[key])
    count = str(requirement["count"]).replace("_", " ")
    if "at_most" in requirement:
        return f"{requirement['have']} {count}, at most {requirement['at_most']}"
    return f"{requirement['have']} of {requirement['need']} {count}"


def _cells(row: StandingRow, fields: list[str]) -> dict[str, str]:
    document = row.document
    return {
        **{field: "" if row.group[field] is None else str(row.group[field]) for field in fields},
        "place": "" if row.placing is None else str(row.placing),
        "shared": "true" if row.shared else "false",
        "unit": row.unit,
        "rider": row.pair.rider.name if row.pair else "",
        "horse": row.pair.horse.name if row.pair else "",
        "value": row.value,
        "qualified": "true" if row.qualified else "false",
        "counted": str(len(document["counted"])),
        "missing": "; ".join(missing_words(one) for one in document["requirements"] if not one["met"]),
    }
