"""What the lists of a season show, row by row: of a season as it stands, and frozen in an edition."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from riders.csvrows import write_rows
from riders.models import Season, SeasonEdition, StandingTable
from riders.ranks import FIRST_WITHOUT_A_PLACE
from riders.selectors.editions import edition_in_force, frozen_rows
from riders.selectors.ledger import days_read, scores_in_force
from riders.selectors.places import PlacedRow, rows_one_by_one
from riders.selectors.seasons import rule_sentences
from riders.selectors.standings_tables import group_title, missing_words, shown_tables


def list_head(season: Season) -> dict[str, Any]:
    """Return what stands above every list: whose it is, the rule in sentences, and the tables with their counts."""
    scheme = season.scheme
    return {
        "association": {"id": season.association.slug, "title": season.association.title},
        "season": {"id": season.slug, "title": season.title},
        "starts_on": season.starts_on.isoformat(),
        "ends_on": season.ends_on.isoformat(),
        **({"as_of": season.stands_on.isoformat()} if season.stands_on else {}),
        "scheme": {"id": scheme.key, "version": scheme.version, "title": scheme.title},
        "mode": scheme.document.get("mode", "rank"),
        "unit": scheme.document.get("unit", "pair"),
        "tiers": [tier["name"] for tier in scheme.document.get("tiers", [])],
        "rule": list(rule_sentences(season)),
        "scores": scores_in_force().filter(date__range=days_read(season)).count(),
        "tables": _tables(season),
    }


def list_row(placed: PlacedRow) -> dict[str, Any]:
    """Return one row as every list shows it, with the names as they are now."""
    return {
        "unit": placed.unit,
        "rider": placed.pair.rider.name if placed.pair else "",
        "horse": placed.pair.horse.name if placed.pair else "",
        "placing": placed.placing,
        "shared": placed.shared,
        "value": placed.value,
        "qualified": placed.qualified,
        "tier": placed.tier,
        "counted": placed.counted,
        "missing": [missing_words(one) for one in placed.requirements if not one["met"]],
    }


def list_rows(season: Season, *, table: int) -> Iterator[dict[str, Any]]:
    """Yield the rows of a table of the stored standings, in their order."""
    shown = StandingTable.objects.get(season=season, shown=True, number=table)
    return map(list_row, rows_one_by_one(shown))


def standings_csv(season: Season, *, edition: SeasonEdition | None = None) -> Iterator[str]:
    """Yield the lines of a CSV file of the standings, a row for each unit in each table, in the order of the tables.

    They are those of ``edition``, else of the one in force, else as they stand.
    """
    edition = edition or edition_in_force(season)
    head = list_head(season) if edition is None else edition.head
    tables = head["tables"]
    fields = list(tables[0]["group"]) if tables else []
    tier = ["tier"] if head["tiers"] else []
    columns = [*fields, "place", "shared", "unit", "rider", "horse", "value", *tier, "qualified", "counted", "missing"]
    return write_rows(columns, _csv_rows(season, edition, tables))


def _csv_rows(
    season: Season, edition: SeasonEdition | None, tables: Sequence[Mapping[str, Any]]
) -> Iterator[dict[str, str]]:
    for number, table in enumerate(tables):
        group = {field: "" if value is None else str(value) for field, value in table["group"].items()}
        rows = list_rows(season, table=number) if edition is None else frozen_rows(edition, table=number)
        for row in rows:
            yield group | {
                **{name: str(row[name]) for name in ("unit", "rider", "horse", "value", "tier", "counted")},
                "place": "" if row["placing"] is None else str(row["placing"]),
                "shared": "true" if row["shared"] else "false",
                "qualified": "true" if row["qualified"] else "false",
                "missing": "; ".join(row["missing"]),
            }


def _tables(season: Season) -> list[dict[str, Any]]:
    return [
        {
            "group": table.group,
            "title": group_title(table.group),
            "rows": table.size,
            "placed": table.rows.filter(rank__lt=FIRST_WITHOUT_A_PLACE).count(),
            "qualified": table.rows.filter(qualified=True).count(),
        }
        for table in shown_tables(season)
    ]
