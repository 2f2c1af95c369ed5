"""Ranking some units anew among the stored rows of the others, and writing only what has changed."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from django.db import connection

from riders.models import Season, StandingRow
from riders.services.standing_rows import Placed, group_key, new_row, pairs_of, plain_row, ranked_row, write_rows
from scoring.season import GroupKey, Row, Scheme, place_rows

_READ_AT_ONCE = 500
_KEPT = ("pk", "table", "position", "unit", "placing", "shared", "value", "qualified", "ranking")


class TablesChanged(Exception):  # noqa: N818 - no fault: the caller takes the long way
    """A table has appeared or gone, so that the others are counted anew."""


def merge_rows(season: Season, scheme: Scheme, fresh: Sequence[Row], *, units: frozenset[str]) -> None:
    """Put the fresh rows of ``units`` in the place of their stored ones, or raise :class:`TablesChanged`."""
    first = StandingRow.objects.filter(season=season).order_by("pk").first()
    if first is None or not first.ranking:
        raise TablesChanged
    tables = _tables(season, scheme)
    rows = [plain_row(scheme, row) for row in fresh]
    if any(row.group not in tables for row in rows):
        raise TablesChanged
    own = StandingRow.objects.filter(season=season, unit__in=units)
    touched = {tables[row.group] for row in rows} | set(own.values_list("table", flat=True))
    if scheme.ranks_across_tables:
        touched = set(tables.values())
    groups = {table: group for group, table in tables.items() if table in touched}
    stored = _stored(season, touched, without=units)
    others = [
        ranked_row(unit=one["unit"], group=groups[one["table"]], value=one["value"], ranking=one["ranking"])
        for one in stored
    ]
    placed = place_rows(scheme, [*others, *rows])
    if {group for group, _ in placed} != set(groups.values()):
        raise TablesChanged
    own.delete()
    _write(season, scheme, placed, tables=tables, stored=stored, units=units)


def _tables(season: Season, scheme: Scheme) -> dict[GroupKey, int]:
    """Return the number of each table by its group."""
    first = StandingRow.objects.filter(season=season, position=0).values_list("group", "table")
    return {group_key(scheme, group): table for group, table in first}


def _stored(season: Season, tables: set[int], *, without: frozenset[str]) -> list[dict[str, Any]]:
    rows = StandingRow.objects.filter(season=season, table__in=tables).exclude(unit__in=without)
    return [dict(one) for one in rows.values(*_KEPT).order_by("pk")]


def _write(
    season: Season,
    scheme: Scheme,
    placed: Placed,
    *,
    tables: dict[GroupKey, int],
    stored: Sequence[dict[str, Any]],
    units: frozenset[str],
) -> None:
    before = {(one["table"], one["unit"]): one for one in stored}
    pairs = pairs_of(scheme, sorted(units))
    fresh: list[StandingRow] = []
    moved: list[tuple[dict[str, Any], Row, int]] = []
    for group, rows in placed:
        table = tables[group]
        for position, row in enumerate(rows):
            old = before.get((table, row.unit))
            if old is None:
                fresh.append(new_row(season, scheme, row, table=table, position=position, pair=pairs.get(row.unit)))
            elif _differs(old, row, position):
                moved.append((old, row, position))
    write_rows(fresh)
    _move(moved, with_tier=scheme.mode == "achieve")


def _differs(old: dict[str, Any], row: Row, position: int) -> bool:
    return (old["position"], old["placing"], old["shared"], old["qualified"], old["ranking"]["note"]) != (
        position,
        row.placing,
        row.shared,
        row.qualified,
        row.note,
    )


# "placing" is a word of PostgreSQL's own; both databases take names in double quotes.
_MOVE = (
    'UPDATE riders_standingrow SET "position" = %s, "placing" = %s, "shared" = %s, "qualified" = %s, '
    '"document" = %s, "ranking" = %s WHERE "id" = %s'
)


def _move(moved: Sequence[tuple[dict[str, Any], Row, int]], *, with_tier: bool) -> None:
    """Write new places: one statement for many rows, since saving them one by one costs far more."""
    for start in range(0, len(moved), _READ_AT_ONCE):
        part = moved[start : start + _READ_AT_ONCE]
        documents = dict(
            StandingRow.objects.filter(pk__in=[old["pk"] for old, _, _ in part]).values_list("pk", "document")
        )
        values = []
        for old, row, position in part:
            document = documents[old["pk"]] | {
                "placing": row.placing, "shared": row.shared, "qualified": row.qualified,
            }  # fmt: skip
            if with_tier:
                document["tier"] = row.tier
            ranking = old["ranking"] | {"note": row.note}
            values.append(
                (position, row.placing, row.shared, row.qualified, json.dumps(document), json.dumps(ranking), old["pk"])
            )
        with connection.cursor() as cursor:
            cursor.executemany(_MOVE, values)
