"""Standings page by page, and as a file that is written while it is read: tables may have 100,000 rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Any

from riders.csvrows import write_rows
from riders.models import Season, StandingTable
from riders.selectors.places import PlacedRow, rows_from, rows_one_by_one

ROWS_AT_FIRST = 50
ROWS_ON_A_PAGE = 100


@dataclass(frozen=True, slots=True)
class TablePage:
    """Some rows of one table: ``count`` of it in all, on ``page`` of ``pages``."""

    table: int
    group: dict[str, object]
    rows: tuple[PlacedRow, ...]
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
    return [
        TablePage(table.number, table.group, tuple(rows_from(table, first=0, number=ROWS_AT_FIRST)), table.size)
        for table in shown_tables(season)
    ]


def table_page(season: Season, *, table: int, page: str) -> TablePage | None:
    """Return one page of a table, the nearest to the one asked for; None where there is no such table."""
    found = StandingTable.objects.filter(season=season, shown=True, number=table).first()
    if found is None:
        return None
    pages = -(-found.size // ROWS_ON_A_PAGE)
    number = min(max(int(page), 1), pages) if page.isascii() and page.isdigit() and len(page) < 10 else 1
    rows = tuple(rows_from(found, first=(number - 1) * ROWS_ON_A_PAGE, number=ROWS_ON_A_PAGE))
    return TablePage(table, found.group, rows, found.size, number, pages)


def shown_tables(season: Season) -> list[StandingTable]:
    return list(StandingTable.objects.filter(season=season, shown=True).order_by("number"))


def standings_csv(season: Season) -> Iterator[str]:
    """Yield the lines of a CSV file of the standings, a row for each unit in each table, in the order of the tables."""
    tables = shown_tables(season)
    fields = list(tables[0].group) if tables else []
    columns = [*fields, "place", "shared", "unit", "rider", "horse", "value", "qualified", "counted", "missing"]
    rows = chain.from_iterable(map(rows_one_by_one, tables))
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


def _cells(row: PlacedRow, fields: list[str]) -> dict[str, str]:
    return {
        **{field: "" if row.group[field] is None else str(row.group[field]) for field in fields},
        "place": "" if row.placing is None else str(row.placing),
        "shared": "true" if row.shared else "false",
        "unit": row.unit,
        "rider": row.pair.rider.name if row.pair else "",
        "horse": row.pair.horse.name if row.pair else "",
        "value": row.value,
        "qualified": "true" if row.qualified else "false",
        "counted": str(row.counted),
        "missing": "; ".join(missing_words(one) for one in row.requirements if not one["met"]),
    }
