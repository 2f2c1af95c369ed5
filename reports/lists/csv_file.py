"""A list of a season as a CSV file, a row for each unit in each table."""

from __future__ import annotations

from collections.abc import Iterator

from reports.pdf.season_data import ListRow, ListTable, SeasonListData
from riders.csvrows import write_rows


def build(data: SeasonListData) -> bytes:
    """Return the file; the columns of the standings are those of the file on the page of the season."""
    fields = list(data.tables[0].group) if data.tables else []
    tier = ["tier"] if data.tiered else []
    columns = [*fields, "place", "shared", "unit", "rider", "horse", "value", *tier, "qualified", "counted", "missing"]
    return "".join(write_rows(columns, _rows(data))).encode()


def _rows(data: SeasonListData) -> Iterator[dict[str, str]]:
    for table in data.tables:
        for row in table.rows:
            yield _cells(row, table)


def _cells(row: ListRow, table: ListTable) -> dict[str, str]:
    group = {field: "" if value is None else str(value) for field, value in table.group.items()}
    return group | {
        "place": "" if row.placing is None else str(row.placing),
        "shared": "true" if row.shared else "false",
        "unit": row.unit,
        "rider": row.rider,
        "horse": row.horse,
        "value": row.value,
        "tier": row.tier,
        "qualified": "true" if row.qualified else "false",
        "counted": str(row.counted),
        "missing": "; ".join(row.missing),
    }
